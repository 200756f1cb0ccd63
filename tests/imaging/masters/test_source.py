"""Pixels of masters, read in strips and in windows, against tifffile and Pillow."""

from typing import Any

import numpy as np
import pillow_heif
import pytest
import tifffile
from PIL import Image

from imaging.compute.masters.decoded_source import DecodedSource
from imaging.compute.masters.mapped_source import MappedSource
from imaging.compute.masters.source import ArraySource, open_master
from imaging.errors import DamagedFileError, NoRandomAccessError, TruncatedFileError, UnsupportedSampleError
from tests.imaging.pictures import painted

STRIPS_PX = 64


def whole(source):
    return np.concatenate([strip.copy() for _, strip in source.strips(STRIPS_PX)])


@pytest.mark.parametrize("dtype", ["uint8", "uint16", "float32"])
@pytest.mark.parametrize("shape", [(1, 1), (1, 700), (700, 1), (257, 513), (130, 70, 3), (65, 66, 7)])
def test_uncompressed_strips_give_the_pixels_of_tifffile(tmp_path, shape, dtype):
    pixels = painted(shape, dtype, noise=0.1)
    photometric = "rgb" if shape[2:] == (3,) and dtype != "float32" else "minisblack"
    tifffile.imwrite(tmp_path / "master.tif", pixels, photometric=photometric, planarconfig="contig")
    source = open_master(tmp_path / "master.tif")
    assert isinstance(source, MappedSource)
    assert source.dtype == dtype
    assert np.array_equal(whole(source).reshape(shape), pixels)


@pytest.mark.parametrize(
    "options",
    [
        {"byteorder": ">", "rowsperstrip": 7},
        {"bigtiff": True, "rowsperstrip": 1},
        {"planarconfig": "separate", "rowsperstrip": 50},
        {"compression": "zlib", "predictor": True},
        {"compression": "lzw", "rowsperstrip": 16},
        {"tile": (64, 32)},
        {"tile": (64, 64), "compression": "zlib"},
    ],
    ids=str,
)
@pytest.mark.parametrize("dtype", ["uint8", "uint16"])
def test_every_way_of_storing_gives_the_same_pixels(tmp_path, options, dtype):
    pixels = painted((130, 203, 3), dtype, noise=0.1)
    is_planar = options.get("planarconfig") == "separate"
    stored = np.moveaxis(pixels, 2, 0).copy() if is_planar else pixels
    tifffile.imwrite(tmp_path / "master.tif", stored, photometric="rgb", **options)
    assert np.array_equal(whole(open_master(tmp_path / "master.tif")), pixels)


def test_a_window_of_strips_far_apart_in_the_file_is_put_together(tmp_path):
    pixels = painted((100, 80), "uint16", noise=0.1)
    # Written page by page, the strips of one page do not follow on each other.
    with tifffile.TiffWriter(tmp_path / "master.tif") as tiff:
        tiff.write(pixels, rowsperstrip=10)
    source: Any = open_master(tmp_path / "master.tif")
    plane = source._planes[0]
    offsets = list(plane.offsets)
    assert plane.is_contiguous
    data = bytearray((tmp_path / "master.tif").read_bytes())
    moved = len(data)
    data += data[offsets[3] : offsets[3] + 10 * plane.row_bytes]
    data = data.replace(offsets[3].to_bytes(4, "little"), moved.to_bytes(4, "little"), 1)
    (tmp_path / "moved.tif").write_bytes(data)
    source = open_master(tmp_path / "moved.tif")
    assert not source._planes[0].is_contiguous
    window = source.read_window(5, 22, 30, 40)
    assert np.array_equal(window[..., 0], pixels[22:62, 5:35])


@pytest.mark.parametrize("tile", [None, (64, 64)])
def test_pages_of_one_size_become_bands(tmp_path, tile):
    bands = [painted((90, 70), "uint16", seed=seed, noise=0.1) for seed in range(4)]
    with tifffile.TiffWriter(tmp_path / "bands.tif") as tiff:
        for band in bands:
            tiff.write(band, photometric="minisblack", tile=tile)
    source = open_master(tmp_path / "bands.tif", pages=(3, 0, 2))
    assert source.bands == 3
    assert np.array_equal(whole(source), np.stack([bands[3], bands[0], bands[2]], axis=-1))
    assert np.array_equal(source.read_window(10, 20, 30, 40)[..., 1], bands[0][20:60, 10:40])


def test_white_is_zero_is_turned_round_as_by_pillow(tmp_path):
    tifffile.imwrite(tmp_path / "plate.tif", painted((40, 50), noise=0.1), photometric="miniswhite")
    source = open_master(tmp_path / "plate.tif")
    assert np.array_equal(whole(source)[..., 0], np.asarray(Image.open(tmp_path / "plate.tif")))


@pytest.mark.parametrize("name", ["master.png", "master.jpg"])
def test_png_and_jpeg_give_the_pixels_of_pillow(tmp_path, name):
    Image.fromarray(painted((140, 90, 3), noise=0.05)).save(tmp_path / name)
    source = open_master(tmp_path / name)
    assert isinstance(source, DecodedSource)
    expected = np.asarray(Image.open(tmp_path / name)).astype(int)
    # Decoders of JPEG may differ by rounding, ITU-T T.83.
    assert np.abs(whole(source).astype(int) - expected).max() <= (0 if name.endswith("png") else 1)


def test_a_master_can_be_streamed_twice(tmp_path):
    pixels = painted((140, 90, 3), noise=0.05)
    Image.fromarray(pixels).save(tmp_path / "master.png")
    source = open_master(tmp_path / "master.png")
    assert np.array_equal(whole(source), pixels)
    assert np.array_equal(whole(source), pixels)


def test_sixteen_bit_png_stays_sixteen_bit(tmp_path):
    pixels = painted((40, 50), "uint16", noise=0.1)
    Image.fromarray(pixels).save(tmp_path / "master.png")
    assert np.array_equal(whole(open_master(tmp_path / "master.png"))[..., 0], pixels)


def test_heic_is_decoded_whole_and_served_in_windows(tmp_path):
    pixels = painted((64, 96, 3))
    pillow_heif.from_pillow(Image.fromarray(pixels)).save(tmp_path / "phone.heic", quality=95)
    source = open_master(tmp_path / "phone.heic")
    assert (source.width_px, source.height_px, source.bands) == (96, 64, 3)
    assert np.abs(source.read_window(8, 8, 40, 40).astype(int) - pixels[8:48, 8:48]).mean() < 4


def test_a_replaced_file_is_read_anew(tmp_path):
    path = tmp_path / "master.png"
    Image.fromarray(np.full((8, 8), 10, np.uint8)).save(path)
    assert whole(open_master(path)).max() == 10
    Image.fromarray(np.full((8, 8), 200, np.uint8)).save(path)
    assert whole(open_master(path)).max() == 200


def test_a_window_of_a_file_that_only_streams_is_refused(tmp_path):
    Image.fromarray(painted((40, 50))).save(tmp_path / "master.png")
    with pytest.raises(NoRandomAccessError, match=r"master\.png can only be read from top to bottom"):
        open_master(tmp_path / "master.png").read_window(0, 0, 5, 5)


def test_truncated_strips_are_refused_when_opened(tmp_path):
    tifffile.imwrite(tmp_path / "master.tif", painted((100, 100, 3)), photometric="rgb")
    data = (tmp_path / "master.tif").read_bytes()
    (tmp_path / "master.tif").write_bytes(data[:-500])
    with pytest.raises(TruncatedFileError, match=r"master\.tif ends too early: its pixels needs"):
        open_master(tmp_path / "master.tif")


@pytest.mark.parametrize("name", ["master.png", "master.jpg"])
def test_a_truncated_stream_is_refused_when_its_end_is_read(tmp_path, name):
    Image.fromarray(painted((300, 300, 3), noise=0.1)).save(tmp_path / name)
    data = (tmp_path / name).read_bytes()
    (tmp_path / name).write_bytes(data[: len(data) // 2])
    with pytest.raises(DamagedFileError, match=f"{name} is damaged"):
        whole(open_master(tmp_path / name))


def test_damaged_tiles_are_refused(tmp_path):
    pixels = painted((256, 256), "uint16", noise=0.1)
    tifffile.imwrite(tmp_path / "master.tif", pixels, tile=(64, 64), compression="zlib")
    with tifffile.TiffFile(tmp_path / "master.tif") as tiff:
        offset = tiff.pages[0].dataoffsets[9]
    data = bytearray((tmp_path / "master.tif").read_bytes())
    data[offset : offset + 40] = bytes(40)
    (tmp_path / "master.tif").write_bytes(data)
    with pytest.raises(DamagedFileError, match=r"master\.tif is damaged"):
        open_master(tmp_path / "master.tif").read_window(0, 0, 256, 256)


def test_other_sample_types_are_refused():
    with pytest.raises(UnsupportedSampleError, match="stores int32"):
        ArraySource(np.zeros((2, 2), np.int32))
