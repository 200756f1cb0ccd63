"""Colour profiles against LittleCMS as Pillow calls it."""

import io

import numpy as np
import pytest
import pyvips
from PIL import Image, ImageCms

from imaging.compute.colour.profiles import SrgbTransform, profile_name, srgb_profile
from imaging.compute.masters.source import ArraySource
from imaging.compute.render.display_tone import DisplayTone
from imaging.compute.render.shown_pixels import ShownPixels
from imaging.errors import UnusableProfileError
from tests.imaging.pictures import painted

WIDE = bytes(pyvips.Operation.call("profile_load", "p3"))


def by_pillow(pixels, profile):
    return np.asarray(
        ImageCms.profileToProfile(
            Image.fromarray(pixels),
            ImageCms.ImageCmsProfile(io.BytesIO(profile)),
            ImageCms.ImageCmsProfile(io.BytesIO(srgb_profile())),
            renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
            flags=ImageCms.Flags.BLACKPOINTCOMPENSATION | ImageCms.Flags.HIGHRESPRECALC,
        )
    )


def test_a_wide_space_becomes_the_srgb_of_pillow():
    pixels = painted((60, 80, 3), noise=0.2)
    shown = SrgbTransform(WIDE, channels=3, dtype=np.dtype(np.uint8)).apply(pixels)
    expected = by_pillow(pixels, WIDE)
    assert np.abs(expected.astype(int) - pixels).max() > 20
    assert np.abs(shown.astype(int) - expected).max() <= 1


def test_sixteen_bits_agree_with_eight():
    # Colours that both spaces hold: LittleCMS clips others differently in its 8-bit short cut.
    pixels = 128 + (painted((60, 80, 3), noise=0.2) - 128.0) / 3
    pixels = pixels.astype(np.uint8)
    deep = SrgbTransform(WIDE, channels=3, dtype=np.dtype(np.uint16)).apply(pixels.astype(np.uint16) * 257)
    assert deep.dtype == np.uint16
    assert np.abs(deep / 257 - by_pillow(pixels, WIDE)).max() <= 1.5


@pytest.mark.parametrize("dtype", ["uint8", "uint16"])
def test_white_stays_white_and_black_black(dtype):
    full = np.iinfo(dtype).max
    ends = np.array([[[full] * 3, [0] * 3]], dtype)
    shown = SrgbTransform(WIDE, channels=3, dtype=np.dtype(dtype)).apply(ends)
    # Half an 8-bit step at most, for the white points of profiles are rounded (ISO 15076-1, 4.13).
    assert np.abs(shown.astype(int) - ends).max() <= full / 510


def test_greys_stay_grey_in_a_wide_space():
    greys = np.arange(256, dtype=np.uint8).repeat(3).reshape(1, 256, 3)
    shown = SrgbTransform(WIDE, channels=3, dtype=np.dtype(np.uint8)).apply(greys).astype(int)
    assert (shown.max(axis=2) - shown.min(axis=2)).max() <= 1


def test_srgb_itself_changes_nothing():
    transform = SrgbTransform(srgb_profile(), channels=3, dtype=np.dtype(np.uint8))
    pixels = painted((20, 30, 3), noise=0.2)
    assert transform.is_identity
    assert transform.apply(pixels) is pixels


def test_the_profile_of_published_tiles_names_itself_and_is_always_the_same():
    assert "sRGB" in profile_name(srgb_profile())
    assert srgb_profile() == srgb_profile()
    assert profile_name(None) == ""


def test_a_picture_is_converted_before_it_is_toned():
    pixels = painted((30, 40, 3), noise=0.2)
    source = ArraySource(pixels, icc_profile=WIDE)
    tone = DisplayTone.whole_range(source.dtype, channels=(0, 1, 2), is_colour_managed=True)
    out = np.empty(pixels.shape, np.uint8)
    shown = ShownPixels(source, tone)
    shown.show(shown.select(pixels), out)
    assert np.abs(out.astype(int) - by_pillow(pixels, WIDE)).max() <= 1
    assert not shown.is_passthrough


@pytest.mark.parametrize(
    ("profile", "channels", "message"),
    [
        (b"", 3, r"plate\.tif cannot be applied: it is no ICC profile"),
        (b"x" * 500, 3, "it is no ICC profile"),
        (WIDE, 1, r"it is for RGB, the pixels have 1 channel\(s\)"),
        (WIDE[:200], 3, r"The colour profile of plate\.tif cannot be applied"),
    ],
)
def test_a_profile_that_does_not_fit_is_refused(profile, channels, message):
    with pytest.raises(UnusableProfileError, match=message):
        SrgbTransform(profile, channels=channels, dtype=np.dtype(np.uint8), name="plate.tif")
