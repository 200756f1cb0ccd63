"""Reading levels are exact means in the type of the master."""

import numpy as np
import pytest
import pyvips
import tifffile
from PIL import Image

from imaging.compute.masters.source import ArraySource, open_master
from imaging.compute.pyramid.levels import build_reading_levels, with_levels
from imaging.errors import DamagedPyramidError, WorkCancelledError
from tests.imaging.pictures import painted

SHAPES = [(1, 1), (1, 900), (900, 1, 3), (257, 513), (513, 1030, 3), (300, 301, 5), (512, 512, 2)]


def halved(pixels):
    """Mean of 2 x 2, edges repeated, halves rounded up: written out in plain numpy."""
    rows, columns = pixels.shape[:2]
    even = np.pad(pixels, ((0, rows % 2), (0, columns % 2), (0, 0)), mode="edge")
    sums = even.astype(np.float64).reshape(-(-rows // 2), 2, -(-columns // 2), 2, -1).sum(axis=(1, 3))
    return (sums / 4).astype(np.float32) if pixels.dtype == np.float32 else ((sums + 2) // 4).astype(pixels.dtype)


@pytest.mark.parametrize("dtype", ["uint8", "uint16", "float32"])
@pytest.mark.parametrize("shape", SHAPES, ids=str)
def test_each_level_is_the_exact_mean_of_the_one_before(tmp_path, shape, dtype):
    source = ArraySource(painted(shape, dtype, noise=0.1))
    build_reading_levels(source, tmp_path / "levels.tif")
    levelled = with_levels(source, tmp_path / "levels.tif")
    expected = source.pixels
    for scale_factor in levelled.scale_factors:
        if scale_factor > 1:
            expected = halved(expected)
        rows, columns = expected.shape[:2]
        level = levelled.read_window(0, 0, columns, rows, scale_factor=scale_factor)
        assert level.dtype == dtype
        np.testing.assert_allclose(level, expected, rtol=1e-6 if dtype == "float32" else 0)
    assert max(expected.shape[:2]) <= 256


def test_a_window_of_a_level_equals_the_same_part_of_the_whole(tmp_path):
    source = ArraySource(painted((700, 1100, 3), "uint16", noise=0.1))
    build_reading_levels(source, tmp_path / "levels.tif")
    levelled = with_levels(source, tmp_path / "levels.tif")
    whole = levelled.read_window(0, 0, 550, 350, scale_factor=2)
    for x, y, width, height in [(0, 0, 1, 1), (255, 255, 2, 2), (200, 100, 300, 200), (549, 349, 1, 1)]:
        window = levelled.read_window(x, y, width, height, scale_factor=2)
        assert np.array_equal(window, whole[y : y + height, x : x + width])


def test_full_size_is_stored_only_of_masters_that_serve_no_windows(tmp_path):
    pixels = painted((300, 600, 3), "uint16", noise=0.1)
    for name, options in {"plain": {}, "packed": {"compression": "zlib"}}.items():
        tifffile.imwrite(tmp_path / f"{name}.tif", pixels, photometric="rgb", **options)
    plain, packed = (open_master(tmp_path / f"{name}.tif") for name in ("plain", "packed"))
    assert build_reading_levels(plain, tmp_path / "plain_levels.tif") == (2, 4)
    assert build_reading_levels(packed, tmp_path / "packed_levels.tif") == (1, 2, 4)
    window = with_levels(packed, tmp_path / "packed_levels.tif").read_window(17, 33, 400, 200)
    assert np.array_equal(window, pixels[33:233, 17:417])


def test_levels_open_in_tifffile_and_libvips(tmp_path):
    source = ArraySource(painted((300, 700, 3), "uint16", noise=0.1), icc_profile=b"profile")
    build_reading_levels(source, tmp_path / "levels.tif")
    half = halved(source.pixels)
    with tifffile.TiffFile(tmp_path / "levels.tif") as tiff:
        assert [level.shape for level in tiff.series[0].levels] == [(150, 350, 3), (75, 175, 3)]
        assert np.array_equal(tiff.pages[0].asarray(), half)
        assert tiff.pages[0].iccprofile == b"profile"
    assert np.array_equal(pyvips.Image.new_from_file(str(tmp_path / "levels.tif")).numpy(), half)


def test_levels_of_another_picture_are_refused(tmp_path):
    build_reading_levels(ArraySource(painted((30, 40))), tmp_path / "levels.tif")
    with pytest.raises(DamagedPyramidError, match="its reading levels are of"):
        with_levels(ArraySource(painted((40, 30))), tmp_path / "levels.tif")


def test_a_cancelled_build_leaves_nothing(folder):
    source = ArraySource(painted((900, 40)))
    with pytest.raises(WorkCancelledError, match="was stopped on request"):
        build_reading_levels(source, folder / "levels.tif", is_cancelled=lambda: True)
    assert list(folder.iterdir()) == []


def test_a_damaged_master_leaves_no_levels(folder):
    Image.fromarray(painted((600, 600, 3), noise=0.1)).save(folder / "master.png")
    data = (folder / "master.png").read_bytes()
    (folder / "master.png").write_bytes(data[: len(data) // 2])
    with pytest.raises(Exception, match=r"master\.png is damaged"):
        build_reading_levels(open_master(folder / "master.png"), folder / "levels.tif")
    assert [path.name for path in folder.iterdir()] == ["master.png"]
