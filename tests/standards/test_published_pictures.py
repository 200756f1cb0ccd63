"""Published numbers for colour and for the form of pyramid files."""

from typing import Any

import numpy as np
import pytest
import pyvips
import tifffile

from imaging.compute.colour.profiles import SrgbTransform
from imaging.compute.frames import CanvasGrid
from imaging.compute.masters.source import ArraySource
from imaging.compute.pyramid.build import PyramidPlan, build_pyramid
from imaging.compute.pyramid.tile_encoding import JpegEncoder, WebpEncoder
from imaging.compute.render.display_tone import DisplayTone
from imaging.compute.render.shown_pixels import FILL_GREY
from tests.imaging.pictures import painted


def _pages_of(tiff: Any) -> list[Any]:
    """Return the full size and its reduced versions."""
    return [tiff.pages[0], *tiff.pages[0].pages]


# x, y of red, green, blue and white: SMPTE EG 432-1:2010 with the white of IEC 61966-2-1,
# as in the space known as Display P3; and IEC 61966-2-1:1999 for sRGB.
P3 = [(0.680, 0.320), (0.265, 0.690), (0.150, 0.060), (0.3127, 0.3290)]
SRGB = [(0.64, 0.33), (0.30, 0.60), (0.15, 0.06), (0.3127, 0.3290)]


def xyz_from_rgb(chromaticities):
    """Matrix of a colour space from its chromaticities, SMPTE RP 177-1993, 3.3."""
    xyz = np.array([[x / y, 1.0, (1 - x - y) / y] for x, y in chromaticities])
    return xyz[:3].T * np.linalg.solve(xyz[:3].T, xyz[3])


def linear(encoded):
    """IEC 61966-2-1:1999, 5.2."""
    return np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)


def encoded(light):
    return np.where(light <= 0.0031308, light * 12.92, 1.055 * np.maximum(light, 0) ** (1 / 2.4) - 0.055)


@pytest.mark.parametrize(("dtype", "tolerance"), [("uint8", 1.5), ("uint16", 1.2)])
def test_a_wide_space_is_converted_by_its_published_primaries(dtype, tolerance):
    rng = np.random.default_rng(8)
    pixels = rng.integers(60, 200, (1, 500, 3)) * (np.iinfo(dtype).max // 255)
    pixels = pixels.astype(dtype)
    light = linear(pixels / np.iinfo(dtype).max) @ (np.linalg.inv(xyz_from_rgb(SRGB)) @ xyz_from_rgb(P3)).T
    # Nearer to the border of sRGB the five decimals of a profile's numbers show.
    is_in_gamut = ((light > 0.02) & (light < 0.98)).all(axis=2)
    assert is_in_gamut.sum() > 300
    profile = bytes(pyvips.Operation.call("profile_load", "p3"))
    shown = SrgbTransform(profile, channels=3, dtype=np.dtype(dtype)).apply(pixels)
    difference = shown * (255 / np.iinfo(dtype).max) - 255 * encoded(light)
    assert np.abs(difference[is_in_gamut]).max() <= tolerance
    assert np.abs(difference[is_in_gamut]).mean() <= tolerance / 4


def test_the_fill_is_the_middle_of_the_lightness_scale():
    """CIE 15:2004, 8.2.1: L* = 116 (Y/Yn)^(1/3) - 16."""
    luminance = ((50 + 16) / 116) ** 3
    assert round(float(encoded(luminance)) * 255) == FILL_GREY


@pytest.mark.parametrize(
    ("bands", "encoder", "compression", "photometric"),
    [
        # TIFF Technical Note 2 (1995): 7 is JPEG, colours as YCbCr (6), grey as 1.
        (3, JpegEncoder(), 7, 6),
        (1, JpegEncoder(), 7, 1),
        # 50001 is WebP in libtiff's list of compression schemes, always RGB (2).
        (3, WebpEncoder(), 50001, 2),
        (1, WebpEncoder(), 50001, 2),
    ],
)
def test_pyramid_files_use_the_registered_numbers(tmp_path, bands, encoder, compression, photometric):
    source = ArraySource(painted((300, 400, bands)))
    tone = DisplayTone(0.0, 255.0, channels=(0, 1, 2) if bands == 3 else (0,))
    plan = PyramidPlan(CanvasGrid(0.0, 0.0, 0.1, 400, 300), None, tone, encoder)
    build_pyramid(source, tmp_path / "p.tif", plan=plan)
    with tifffile.TiffFile(tmp_path / "p.tif") as tiff:
        assert tiff.is_bigtiff
        for page in _pages_of(tiff):
            assert (page.compression, page.photometric) == (compression, photometric)
            assert (page.tilewidth, page.tilelength) == (256, 256)
            assert "JPEGTables" not in page.tags
        # TIFF 6.0, tag 254: bit 0 marks a reduced version.
        assert [page.subfiletype for page in _pages_of(tiff)] == [0, 1]
