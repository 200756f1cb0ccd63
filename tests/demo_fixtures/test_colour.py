"""Pigments, their mixtures and the profile of the masters."""

import io

import numpy as np
import pytest
from PIL import Image, ImageCms

from demo_fixtures.painter.icc import PROFILE_NAME, profile_bytes, profile_from_linear_srgb
from demo_fixtures.painter.pigments import PIGMENTS, film_of, lab_from_linear, palette_of


def test_an_unmixed_film_is_its_pigment():
    film = film_of(lead_white=1.0)
    assert film[:4] == pytest.approx(PIGMENTS["lead white"].reflectance, rel=1e-5)
    assert film[4:8] == pytest.approx(PIGMENTS["lead white"].extinction_per_um, rel=1e-5)


def test_black_takes_more_light_from_white_than_its_share():
    # Kubelka-Munk (K and S add): the mixture is darker than the mean of the two.
    film = film_of(lead_white=0.9, bone_black=0.1)
    assert film[1] < 0.9 * 0.90 + 0.1 * 0.010 - 0.02


def test_a_palette_finds_the_mixture_of_a_colour():
    palette = palette_of(["lead white", "bone black", "azurite"])
    wanted = palette.films[37, :3]
    _, index = palette.tree.query(lab_from_linear(wanted))
    assert palette.films[index, :3] == pytest.approx(wanted, abs=1e-6)


def test_white_is_l_100():
    # CIE 15: L* of the reference white.
    assert lab_from_linear(np.ones(3)) == pytest.approx([100.0, 0.0, 0.0], abs=0.1)


def test_little_colour_management_reads_the_profile_back_to_srgb():
    # Reference library: LittleCMS through Pillow; primaries of ITU-R BT.2020, gamma 2.2.
    profile = ImageCms.ImageCmsProfile(io.BytesIO(profile_bytes()))
    assert PROFILE_NAME in ImageCms.getProfileDescription(profile)
    linear = np.array([[0.05, 0.20, 0.60], [0.5, 0.5, 0.5], [0.7, 0.3, 0.1]])
    encoded = np.rint(255 * (linear @ profile_from_linear_srgb().T).clip(0, 1) ** (1 / 2.2)).astype(np.uint8)
    picture = Image.fromarray(encoded[None], "RGB")
    shown = ImageCms.profileToProfile(picture, profile, ImageCms.createProfile("sRGB"), renderingIntent=1)
    expected = np.where(linear < 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055) * 255
    assert np.asarray(shown)[0] == pytest.approx(expected, abs=3.0)
