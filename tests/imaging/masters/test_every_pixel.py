"""Every pixel is decoded once, and the statistics are those of numpy."""

import contextlib
import io
import zlib

import numpy as np
import pillow_heif
import pytest
import tifffile
from PIL import Image

from imaging import errors
from imaging.compute.masters.guard import GuardLimits
from imaging.compute.masters.pixels import check_master, read_every_pixel
from imaging.compute.masters.statistics import PERCENTS, PixelStatistics

from . import hostile_files as hostile

GENERATOR = np.random.default_rng(7)
WIDE = GENERATOR.gamma(2.0, 4000.0, (90, 130, 3)).clip(0, 65535).astype(np.uint16)


def assert_like_numpy(found, samples):
    assert found.minimum == samples.min()
    assert found.maximum == samples.max()
    assert found.mean == pytest.approx(samples.mean(dtype=np.float64))
    assert found.at_maximum == pytest.approx((samples == samples.max()).mean())
    assert sum(found.histogram) == samples.size


def percentiles_of(samples):
    """Return the sorted sample at which each percent is reached, by whole numbers only."""
    ordered = np.sort(samples, axis=None)
    per_mille = [round(10 * percent) for percent in PERCENTS]
    return [float(ordered[-(-each * ordered.size // 1000) - 1]) for each in per_mille]


@pytest.mark.parametrize(
    "options",
    [
        {},
        {"compression": "lzw", "predictor": True},
        {"compression": "zlib", "tile": (32, 48)},
        {"compression": "packbits"},
        {"bigtiff": True, "byteorder": ">"},
        {"planarconfig": "separate", "rowsperstrip": 16},
        {"planarconfig": "separate", "tile": (32, 48), "compression": "zlib"},
        {"planarconfig": "separate", "rowsperstrip": 7, "byteorder": ">", "compression": "lzw"},
    ],
)
def test_whole_numbers_are_counted_exactly(tmp_path, options):
    path = tmp_path / "a.tif"
    is_planar = options.get("planarconfig") == "separate"
    stored = WIDE.transpose(2, 0, 1) if is_planar else WIDE
    tifffile.imwrite(path, stored, photometric="rgb", **options)
    statistics = read_every_pixel(path)
    # tifffile is the outside reference for what was stored.
    read_back = tifffile.imread(path)
    samples = read_back.transpose(1, 2, 0) if is_planar else read_back
    for band, found in enumerate(statistics.bands):
        assert_like_numpy(found, samples[..., band])
        assert list(found.percentiles.values()) == percentiles_of(samples[..., band])
        assert found.distinct_count == len(np.unique(samples[..., band]))


@pytest.mark.parametrize("bands", [1, 20])
def test_percentiles_of_floats_are_near_those_of_numpy(tmp_path, bands):
    path = tmp_path / "map.tif"
    contiguous = {"planarconfig": "contig"} if bands > 1 else {}
    samples = GENERATOR.lognormal(2.0, 3.0, (40, 300, bands)).astype(np.float32)
    samples[: len(samples) // 2] *= -1.0
    tifffile.imwrite(path, samples.squeeze(), photometric="minisblack", **contiguous)
    statistics = read_every_pixel(path)
    for band, found in enumerate(statistics.bands):
        assert_like_numpy(found, samples[..., band])
        expected = percentiles_of(samples[..., band])
        tolerance = 0.004 if bands == 1 else 0.016
        assert list(found.percentiles.values()) == pytest.approx(expected, rel=tolerance)


@pytest.mark.parametrize(("bad", "counts"), [(np.nan, (3, 0)), (np.inf, (0, 3)), (-np.inf, (0, 3))])
def test_a_float_that_is_no_number_is_refused_with_its_count(tmp_path, bad, counts):
    path = tmp_path / "map.tif"
    samples = np.ones((20, 20, 2), np.float32)
    samples[:3, 5, 1] = bad
    tifffile.imwrite(path, samples, photometric="minisblack", planarconfig="contig")
    with pytest.raises(errors.NotANumberError, match="in band 2") as caught:
        read_every_pixel(path)
    assert (caught.value.values["not_a_number"], caught.value.values["infinite"]) == counts


def test_pages_count_as_bands(tmp_path):
    path = tmp_path / "stack.tif"
    with tifffile.TiffWriter(path) as out:
        for band in range(3):
            out.write(WIDE[..., band], metadata=None)
    found = [band.mean for band in read_every_pixel(path).bands]
    assert found == pytest.approx(WIDE.mean(axis=(0, 1)).tolist())


@pytest.mark.parametrize("file_format", ["JPEG", "PNG"])
def test_other_formats_decode_as_in_pillow(tmp_path, file_format):
    path = tmp_path / "a"
    Image.fromarray((WIDE >> 8).astype(np.uint8)).save(path, file_format)
    with Image.open(path) as picture:
        expected = np.asarray(picture)
    for band, found in enumerate(read_every_pixel(path).bands):
        # Two JPEG decoders may round a sample differently.
        assert found.mean == pytest.approx(expected[..., band].mean(), abs=0.02)


def test_heic_decodes_as_in_its_library(tmp_path):
    path = tmp_path / "a.heic"
    samples = (WIDE >> 8).astype(np.uint8)
    pillow_heif.from_bytes("RGB", (130, 90), samples.tobytes()).save(path)
    expected = np.asarray(pillow_heif.open_heif(path))
    found = [band.mean for band in check_master(path).statistics.bands]
    assert found == pytest.approx(expected.mean(axis=(0, 1)).tolist())


@pytest.mark.parametrize("options", [{"compression": "zlib", "tile": (32, 48)}, {"compression": "lzw"}])
def test_damage_inside_the_pixels_is_found(tmp_path, options):
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, WIDE, photometric="rgb", **options)
    with tifffile.TiffFile(path) as tiff:
        place, size = tiff.pages[0].dataoffsets[-1], tiff.pages[0].databytecounts[-1]
    content = bytearray(path.read_bytes())
    content[place : place + size] = b"\x99" * size
    path.write_bytes(content)
    with pytest.raises(errors.DamagedFileError, match="cannot all be decoded"):
        read_every_pixel(path)


@pytest.mark.parametrize("file_format", ["JPEG", "PNG"])
def test_a_picture_cut_in_its_pixels_is_found(tmp_path, file_format):
    out = io.BytesIO()
    Image.fromarray((WIDE >> 8).astype(np.uint8)).save(out, file_format)
    path = hostile.write(tmp_path, "a", out.getvalue()[: len(out.getvalue()) * 2 // 3])
    with pytest.raises(errors.DamagedFileError, match="cannot all be decoded"):
        read_every_pixel(path)


def test_the_guarded_check_gives_the_same_and_reports_its_progress(tmp_path):
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, WIDE, photometric="rgb")
    seen = []
    checked = check_master(path, progress=lambda done, total: seen.append((done, total)))
    assert checked.statistics == read_every_pixel(path)
    assert checked.header.bands == 3
    assert seen == sorted(seen)
    assert seen[-1] == (90, 90)


def test_the_statistics_survive_json(tmp_path):
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, WIDE, photometric="rgb")
    statistics = read_every_pixel(path)
    assert PixelStatistics.from_json(statistics.to_json()) == statistics


def test_an_error_of_the_child_comes_back_as_itself(tmp_path):
    path = tmp_path / "map.tif"
    tifffile.imwrite(path, np.full((8, 8), np.nan, np.float32))
    with pytest.raises(errors.NotANumberError, match=r"^map\.tif has 64 pixels") as caught:
        check_master(path)
    assert caught.value.values == {"not_a_number": 64, "infinite": 0, "band": 1}


def test_a_picture_that_needs_too_much_memory_is_stopped(tmp_path):
    # 64 million pixels of 16 bits, interlaced: 128 MB that must be held whole. Reading needs
    # 250 MB without any picture, so 330 MB are too few here and enough for a small one.
    guard = GuardLimits(memory_bytes=330 * 2**20)
    data = zlib.compress(bytes(2 * 8000 * 8004), 1)
    huge = hostile.write(
        tmp_path,
        "big.png",
        hostile.png_bytes(width=8000, height=8000, bits=16, interlace=1, packed=data),
    )
    with pytest.raises(errors.GuardMemoryError, match="Save it as an uncompressed TIFF"):
        check_master(huge, guard=guard)
    small = tmp_path / "small.tif"
    tifffile.imwrite(small, WIDE, photometric="rgb")
    assert check_master(small, guard=guard).header.bands == 3


def test_random_damage_inside_a_heic_never_escapes_as_another_error(tmp_path):
    path = tmp_path / "a.heic"
    pillow_heif.from_bytes("RGB", (130, 90), (WIDE >> 8).astype(np.uint8).tobytes()).save(path)
    start = path.read_bytes()
    generator = np.random.default_rng(4)
    for _ in range(150):
        content = bytearray(start)
        for place in generator.integers(0, 500, 3):
            content[place] = generator.integers(0, 256)
        path.write_bytes(content)
        with contextlib.suppress(errors.MasterFileError):
            read_every_pixel(path)
