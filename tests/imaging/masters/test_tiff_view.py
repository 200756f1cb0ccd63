"""The decoder sees a clean directory: planes, odd tags and pages are read as they are."""

import gc
import struct

import numpy as np
import pytest
import pyvips
import tifffile
from PIL import ImageCms

from imaging.compute.masters.pixels import read_every_pixel
from imaging.compute.masters.source import open_master
from imaging.compute.masters.tiff_view import open_tiff
from imaging.errors import DamagedFileError

from . import hostile_files as hostile

SAMPLES = np.random.default_rng(2).integers(0, 60_000, (5, 150, 200)).astype(np.uint16)
PROFILE = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


@pytest.mark.parametrize(
    "options",
    [
        {"rowsperstrip": 16},
        {"rowsperstrip": 16, "compression": "zlib", "predictor": True},
        {"rowsperstrip": 7, "compression": "lzw", "byteorder": ">"},
        {"tile": (64, 32)},
        {"tile": (64, 32), "compression": "zlib", "bigtiff": True},
    ],
)
def test_strips_are_those_of_tifffile(tmp_path, options):
    path = tmp_path / "planes.tif"
    tifffile.imwrite(path, SAMPLES, planarconfig="separate", photometric="minisblack", **options)
    expected = tifffile.imread(path).transpose(1, 2, 0)
    found = []
    for _, strip in open_master(path).strips(64):
        found.append(strip.copy())
        # What the strips are read from must outlive every collection.
        gc.collect()
    assert (np.concatenate(found) == expected).all()


def test_windows_of_tiled_planes(tmp_path):
    path = tmp_path / "planes.tif"
    tifffile.imwrite(path, SAMPLES, planarconfig="separate", photometric="minisblack", tile=(64, 32))
    source = open_master(path)
    gc.collect()
    found = source.read_window(30, 20, 100, 90)
    assert (found == SAMPLES.transpose(1, 2, 0)[20:110, 30:130]).all()


def test_the_profile_stays_with_planes(tmp_path):
    path = tmp_path / "planes.tif"
    tifffile.imwrite(
        path,
        SAMPLES[:3],
        planarconfig="separate",
        photometric="rgb",
        tile=(64, 32),
        iccprofile=PROFILE,
    )
    assert open_master(path).icc_profile == PROFILE


def test_what_is_no_tiff_has_no_view(tmp_path):
    assert open_tiff(hostile.write(tmp_path, "a.png", hostile.png_bytes(width=8, height=8))) is None


def with_tags_out_of_order(tiff):
    place = hostile.directory_place(tiff)
    (count,) = struct.unpack_from("<H", tiff, place)
    changed = bytearray(tiff)
    third, fourth = place + 2 + 12 * 2, place + 2 + 12 * 3
    changed[third:fourth], changed[fourth : fourth + 12] = (
        tiff[fourth : fourth + 12],
        tiff[third:fourth],
    )
    assert count > 4
    return bytes(changed)


DATA = bytes(range(64))
ODD_BUT_SOUND = {
    "tags out of order": with_tags_out_of_order(hostile.tiff_bytes(data=DATA)),
    "a tag of unknown type": hostile.tiff_bytes(data=DATA, extra=[(65_000, 99, 5)]),
    "text without its ending zero": hostile.tiff_bytes(data=DATA, extra=[(305, 2, 0x61626364, 4)]),
    "an orientation that is none": hostile.tiff_bytes(data=DATA, extra=[(274, 3, 9)]),
}


@pytest.mark.parametrize("case", ODD_BUT_SOUND)
def test_oddities_outside_the_pixels_do_not_refuse_a_picture(tmp_path, case):
    path = hostile.write(tmp_path, "a.tif", ODD_BUT_SOUND[case])
    assert read_every_pixel(path).bands[0].mean == 31.5


@pytest.mark.parametrize(
    ("samples", "options"),
    [
        (SAMPLES[0], {"photometric": "miniswhite"}),
        (SAMPLES[:4].transpose(1, 2, 0), {"photometric": "rgb", "extrasamples": ["assocalpha"]}),
        (SAMPLES[0].astype(np.float32), {"compression": "zlib", "predictor": True}),
        (SAMPLES[0] >> 8, {"compression": "jpeg", "tile": (64, 32)}),
        (SAMPLES[:3].transpose(1, 2, 0) >> 8, {"compression": "jpeg", "photometric": "ycbcr"}),
    ],
)
def test_the_clean_view_decodes_as_the_file_itself(tmp_path, samples, options):
    path = tmp_path / "a.tif"
    eight = samples.max() < 256
    tifffile.imwrite(path, samples.astype(np.uint8) if eight else samples, **options)
    expected = pyvips.Image.new_from_file(str(path)).numpy()
    view = open_tiff(path)
    assert (view.numpy() == expected).all()


def test_pages_are_found_behind_each_other(tmp_path):
    path = tmp_path / "pages.tif"
    with tifffile.TiffWriter(path) as out:
        for plane in SAMPLES[:2]:
            out.write(plane, metadata=None)
    assert (open_tiff(path, page=1).numpy() == SAMPLES[1]).all()
    with pytest.raises(DamagedFileError, match="holds no picture 3"):
        open_tiff(path, page=2)
