"""Bands that lie plane after plane are read as tifffile reads them, by strips and by windows."""

import gc

import numpy as np
import pytest
import tifffile
from PIL import ImageCms

from imaging.compute.masters.planar_tiff import open_planes
from imaging.compute.masters.source import open_master

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


def test_a_file_without_planes_has_none(tmp_path):
    path = tmp_path / "one.tif"
    tifffile.imwrite(path, SAMPLES[0])
    assert open_planes(path) == []
