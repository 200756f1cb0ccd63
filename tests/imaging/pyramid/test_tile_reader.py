"""Tiles from the file, and files that lie."""

import contextlib
import threading

import numpy as np
import pytest

from imaging.compute.frames import CanvasGrid
from imaging.compute.masters.source import ArraySource
from imaging.compute.pyramid.build import PyramidPlan, build_pyramid
from imaging.compute.pyramid.levels import build_reading_levels
from imaging.compute.pyramid.tile_reader import OpenPyramids, PyramidFile
from imaging.compute.render.display_tone import DisplayTone
from imaging.errors import DamagedPyramidError
from tests.imaging.pictures import painted


@pytest.fixture
def path(tmp_path):
    source = ArraySource(painted((300, 600), noise=0.05))
    plan = PyramidPlan(CanvasGrid(1.0, 2.0, 0.05, 600, 300), None, DisplayTone(0.0, 255.0))
    build_pyramid(source, tmp_path / "p.tif", plan=plan)
    return tmp_path / "p.tif"


def test_the_file_tells_its_own_grid(path):
    pyramid = PyramidFile(path)
    assert pyramid.grid == CanvasGrid(1.0, 2.0, 0.05, 600, 300)
    assert pyramid.tile_size_px == 256
    assert [(zoom.columns, zoom.rows) for zoom in pyramid.zooms] == [(1, 1), (2, 1), (3, 2)]


@pytest.mark.parametrize("place", [(-1, 0, 0), (3, 0, 0), (0, 1, 0), (2, 3, 0), (2, 0, 2), (2, -1, 0)])
def test_there_is_no_tile_beyond_the_grid(path, place):
    assert PyramidFile(path).tile(*place) is None


def test_every_tile_is_one_complete_jpeg_stream(path):
    pyramid = PyramidFile(path)
    for zoom in pyramid.zooms:
        for column in range(zoom.columns):
            for row in range(zoom.rows):
                tile = pyramid.tile(zoom.zoom, column, row)
                # ISO/IEC 10918-1, B.1.1.3: start and end of image.
                assert tile[:2] + tile[-2:] == b"\xff\xd8\xff\xd9"


@pytest.mark.parametrize("kept", [0, 8, 15, 16, 100, -8, -300])
def test_a_cut_file_is_refused(path, kept):
    data = path.read_bytes()
    path.write_bytes(data[:kept])
    with pytest.raises(DamagedPyramidError, match=r"p\.tif cannot be served"):
        PyramidFile(path)


def test_an_entry_beyond_the_end_is_refused(path):
    data = bytearray(path.read_bytes())
    pyramid = PyramidFile(path)
    offsets = pyramid._images[2].offsets
    place = data.find(offsets.tobytes())
    data[place : place + 8] = (len(data) - 3).to_bytes(8, "little")
    path.write_bytes(data)
    with pytest.raises(DamagedPyramidError, match="a tile lies beyond the end of the file"):
        PyramidFile(path)


def test_an_offset_that_overflows_is_refused(path):
    data = bytearray(path.read_bytes())
    place = data.find(PyramidFile(path)._images[2].offsets.tobytes())
    data[place : place + 8] = (2**64 - 2).to_bytes(8, "little")
    path.write_bytes(data)
    with pytest.raises(DamagedPyramidError, match="a tile lies beyond the end of the file"):
        PyramidFile(path)


def test_bytes_that_changed_anywhere_in_the_directories_never_crash(path):
    data = path.read_bytes()
    rng = np.random.default_rng(4)
    start = data.rfind(b"mahlstick-pyramid") - 3000
    for _ in range(300):
        changed = bytearray(data)
        place = int(rng.integers(start, len(data)))
        changed[place] ^= int(rng.integers(1, 256))
        path.write_bytes(changed)
        with contextlib.suppress(DamagedPyramidError):
            assert PyramidFile(path).tile(0, 0, 0) is not None


def test_another_kind_of_file_is_refused(tmp_path):
    build_reading_levels(ArraySource(painted((30, 40))), tmp_path / "levels.tif")
    with pytest.raises(DamagedPyramidError, match="not say that it is of type mahlstick-pyramid"):
        PyramidFile(tmp_path / "levels.tif")


def test_only_so_many_files_stay_open(path, tmp_path):
    paths = [tmp_path / f"{number}.tif" for number in range(4)]
    for copy in paths:
        copy.write_bytes(path.read_bytes())
    opened = OpenPyramids(limit=2)
    first = opened.get(paths[0])
    assert opened.get(paths[0]) is first
    for copy in paths[1:]:
        opened.get(copy)
    assert len(opened) == 2
    assert opened.get(paths[0]) is not first
    # Who still holds an older one can read on.
    assert first.tile(0, 0, 0) == opened.get(paths[0]).tile(0, 0, 0)


def test_a_withdrawn_file_is_not_served_again(path):
    opened = OpenPyramids()
    opened.get(path)
    path.unlink()
    opened.forget(path)
    with pytest.raises(FileNotFoundError, match=r"p\.tif"):
        opened.get(path)


def test_many_threads_share_the_open_files(path, tmp_path):
    copies = [tmp_path / f"{number}.tif" for number in range(6)]
    for copy in copies:
        copy.write_bytes(path.read_bytes())
    opened, tiles = OpenPyramids(limit=2), []

    def read(seed):
        for number in np.random.default_rng(seed).integers(0, 6, 50):
            tiles.append(opened.get(copies[number]).tile(2, 1, 1))

    threads = [threading.Thread(target=read, args=(seed,)) for seed in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(tiles) == 200
    assert set(tiles) == {PyramidFile(path).tile(2, 1, 1)}
