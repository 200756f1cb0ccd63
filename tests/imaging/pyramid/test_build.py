"""Published pyramids: what they show, where, and what is left of a build that did not end."""

import io
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
import pyvips
import tifffile
from PIL import Image

from imaging.compute.frames import CanvasGrid
from imaging.compute.maps import FrameMap
from imaging.compute.masters.source import ArraySource, open_master
from imaging.compute.pyramid.aside_file import written_aside
from imaging.compute.pyramid.build import PyramidPlan, build_pyramid, footprint_mm, grid_to_publish
from imaging.compute.pyramid.levels import build_reading_levels, with_levels
from imaging.compute.pyramid.tile_encoding import JpegEncoder, WebpEncoder
from imaging.compute.pyramid.tile_reader import PyramidFile
from imaging.compute.render.display_tone import DisplayTone
from imaging.compute.render.shown_pixels import FILL_GREY
from imaging.errors import BuildInProgressError, NoRandomAccessError, UntaggedColourError, WorkCancelledError
from tests.imaging.pictures import painted, turned_map

REPOSITORY = Path(__file__).resolve().parents[3]
RGB = DisplayTone.whole_range(np.dtype(np.uint8), channels=(0, 1, 2))
GREY = DisplayTone.whole_range(np.dtype(np.uint8))


def own_grid(source, pitch_mm=0.05):
    return CanvasGrid(0.0, 0.0, pitch_mm, source.width_px, source.height_px)


def publish(source, path, *, frame_map=None, grid=None, tone=None, **plan):
    tone = tone or (RGB if source.bands == 3 else GREY)
    grid = grid or (own_grid(source) if frame_map is None else grid_to_publish(frame_map, canvas_pitch_mm=0.05))
    build_pyramid(source, path, plan=PyramidPlan(grid, frame_map, tone, **plan))
    return PyramidFile(path)


def picture_of(pyramid, zoom):
    """Put the tiles of one zoom together, by Pillow."""
    here = pyramid.zooms[zoom]
    size = pyramid.tile_size_px
    rows = []
    for row in range(here.rows):
        tiles = [np.asarray(Image.open(io.BytesIO(pyramid.tile(zoom, column, row)))) for column in range(here.columns)]
        assert all(tile.shape[:2] == (size, size) for tile in tiles)
        rows.append(np.concatenate(tiles, axis=1))
    return np.concatenate(rows)[: here.height_px, : here.width_px]


@pytest.mark.parametrize("encoder", [JpegEncoder(), WebpEncoder()], ids=["jpeg", "webp"])
@pytest.mark.parametrize("shape", [(1, 1), (1, 800), (257, 513), (300, 700, 3)], ids=str)
def test_tiles_hold_the_pixels_that_libvips_and_tifffile_read(tmp_path, shape, encoder):
    pyramid = publish(ArraySource(painted(shape, noise=0.02)), tmp_path / "p.tif", encoder=encoder)
    with tifffile.TiffFile(tmp_path / "p.tif") as tiff:
        levels = [tiff.pages[0], *(tiff.pages[0].pages or ())]
        assert len(levels) == len(pyramid.zooms)
        for zoom, level in zip(reversed(range(len(levels))), levels, strict=True):
            picture = picture_of(pyramid, zoom)
            assert np.array_equal(level.asarray().reshape(picture.shape), picture)
    by_vips = pyvips.Image.new_from_file(str(tmp_path / "p.tif")).numpy()
    assert np.array_equal(
        by_vips.reshape(picture_of(pyramid, len(levels) - 1).shape), picture_of(pyramid, len(levels) - 1)
    )


def test_lossless_parts_survive_the_encoding(tmp_path):
    """A picture of even colours: JPEG has nothing to lose in it."""
    pixels = np.repeat(np.repeat(np.array([[30, 90], [150, 220]], np.uint8), 256, 0), 256, 1)
    pyramid = publish(ArraySource(pixels), tmp_path / "p.tif")
    assert np.abs(picture_of(pyramid, 1).astype(int) - pixels).max() <= 1
    assert picture_of(pyramid, 0)[64::128, 64::128].tolist() == [[30, 90], [150, 220]]


def test_edge_tiles_are_padded_with_their_last_pixels(tmp_path):
    pixels = np.full((300, 300), 40, np.uint8)
    pixels[:, 256:] = 200
    pyramid = publish(ArraySource(pixels), tmp_path / "p.tif")
    tile = np.asarray(Image.open(io.BytesIO(pyramid.tile(1, 1, 1))))
    assert tile.shape == (256, 256)
    assert np.abs(tile.astype(int) - 200).max() <= 1


def test_the_file_carries_an_srgb_profile_and_the_tiles_carry_none(tmp_path):
    pyramid = publish(ArraySource(painted((300, 300, 3))), tmp_path / "p.tif")
    with tifffile.TiffFile(tmp_path / "p.tif") as tiff:
        assert tiff.pages[0].iccprofile[36:40] == b"acsp"
    assert b"ICC_PROFILE" not in pyramid.tile(0, 0, 0)


@pytest.mark.parametrize("angle_deg", [0.0, 1.0, 30.0])
def test_the_same_arguments_give_the_same_bytes(tmp_path, angle_deg):
    source = ArraySource(painted((700, 900, 3), noise=0.02))
    frame_map = turned_map((900, 700), angle_deg=angle_deg)
    for name in ("one.tif", "two.tif"):
        publish(source, tmp_path / name, frame_map=frame_map)
    assert (tmp_path / "one.tif").read_bytes() == (tmp_path / "two.tif").read_bytes()


def test_a_map_of_scale_and_translation_is_not_resampled(tmp_path):
    source = ArraySource(painted((300, 400)))
    frame_map = FrameMap.from_stated_scale(0.07, (12.0, -5.0), image_size_px=(400, 300))
    grid = grid_to_publish(frame_map, canvas_pitch_mm=0.05)
    plan = PyramidPlan(grid, frame_map, GREY)
    assert not plan.is_resampled
    assert (grid.x0_mm, grid.y0_mm, grid.pitch_mm) == pytest.approx((12.0, -5.0, 0.07))
    build_pyramid(source, tmp_path / "p.tif", plan=plan)
    assert np.abs(picture_of(PyramidFile(tmp_path / "p.tif"), 1).astype(int) - source.pixels[..., 0]).max() <= 6


@pytest.mark.parametrize(("angle_deg", "turns"), [(90.0, 1), (180.0, 2), (270.0, 3)])
def test_a_quarter_turn_gives_the_picture_of_numpy(tmp_path, angle_deg, turns):
    source = ArraySource(painted((300, 420)))
    pyramid = publish(source, tmp_path / "p.tif", frame_map=turned_map((420, 300), angle_deg=angle_deg))
    expected = np.rot90(source.pixels[..., 0], turns)
    picture = picture_of(pyramid, len(pyramid.zooms) - 1)
    assert picture.shape == expected.shape
    assert np.abs(picture.astype(int) - expected).max() <= 6


@pytest.mark.parametrize("angle_deg", [1.0, 2.0, 20.0])
def test_a_painted_dot_appears_at_its_millimetres(tmp_path, angle_deg):
    """The centre of gravity of a soft dot; 0.05 px at 0.05 mm a pixel is 0.0025 mm."""
    frame_map = turned_map((800, 600), angle_deg=angle_deg)
    place_mm = np.array([[20.0, 14.0]])
    x_px, y_px = frame_map.px_from_mm(place_mm)[0] - 0.5
    rows, columns = np.mgrid[0:600, 0:800]
    dot = 200.0 * np.exp(-((columns - x_px) ** 2 + (rows - y_px) ** 2) / (2 * 4.0**2))
    pyramid = publish(ArraySource(dot.astype(np.uint8)), tmp_path / "p.tif", frame_map=frame_map)
    for zoom in (len(pyramid.zooms) - 1, len(pyramid.zooms) - 2):
        picture = picture_of(pyramid, zoom).astype(float)
        picture[picture == FILL_GREY] = 0.0
        pitch_mm = pyramid.grid.pitch_mm * pyramid.zooms[zoom].scale_factor
        grid = CanvasGrid(pyramid.grid.x0_mm, pyramid.grid.y0_mm, pitch_mm, picture.shape[1], picture.shape[0])
        centre = grid.px_from_mm(place_mm)[0]
        x0, y0 = (centre - 20).astype(int)
        part = np.maximum(picture[y0 : y0 + 40, x0 : x0 + 40] - 5.0, 0.0)
        weights = part / part.sum()
        found = np.array(
            [(weights.sum(0) * (np.arange(40) + x0 + 0.5)).sum(), (weights.sum(1) * (np.arange(40) + y0 + 0.5)).sum()]
        )
        assert np.abs(grid.mm_from_px(found) - place_mm[0]).max() < 0.0025


def test_outside_the_image_is_neutral_grey_and_the_footprint_says_where(tmp_path):
    source = ArraySource(np.full((300, 400), 255, np.uint8))
    frame_map = turned_map((400, 300), angle_deg=30.0)
    pyramid = publish(source, tmp_path / "p.tif", frame_map=frame_map)
    picture = picture_of(pyramid, len(pyramid.zooms) - 1)
    assert picture[2, 2] == pytest.approx(FILL_GREY, abs=1)
    assert pyramid.description["footprint_mm"] == footprint_mm(pyramid.grid, frame_map)
    share = (picture > 200).mean()
    assert share * pyramid.grid.width_px * pyramid.grid.height_px == pytest.approx(300 * 400, rel=0.01)


def test_empty_surroundings_are_stored_once(tmp_path):
    source = ArraySource(painted((64, 64)))
    frame_map = FrameMap.from_stated_scale(0.05, (0.0, 0.0), image_size_px=(64, 64))
    grid = CanvasGrid(-40.0, -40.0, 0.05, 1800, 1800)
    pyramid = publish(source, tmp_path / "p.tif", frame_map=frame_map, grid=grid)
    assert (tmp_path / "p.tif").stat().st_size < 40_000
    assert pyramid.tile(3, 0, 0) == pyramid.tile(3, 6, 5)


def test_sixteen_bits_are_toned_from_their_own_values(tmp_path):
    pixels = np.linspace(0, 65535, 256, dtype=np.uint16)[np.newaxis].repeat(256, 0)
    tone = DisplayTone(16384.0, 49152.0)
    picture = picture_of(publish(ArraySource(pixels), tmp_path / "p.tif", tone=tone), 0)
    expected = np.clip((pixels[0] - 16384.0) / 32768.0, 0, 1) * 255
    assert np.abs(picture[128] - expected).max() < 3


def test_a_grid_coarser_than_the_image_reads_a_reading_level(tmp_path):
    """Every second row black and white: only a mean over rows shows grey."""
    pixels = np.zeros((512, 512), np.uint8)
    pixels[::2] = 254
    source = ArraySource(pixels)
    build_reading_levels(source, tmp_path / "levels.tif")
    levelled = with_levels(source, tmp_path / "levels.tif")
    frame_map = turned_map((512, 512), angle_deg=0.5)
    grid = CanvasGrid(2.0, 2.0, 0.2, 80, 80)
    picture = picture_of(publish(levelled, tmp_path / "p.tif", frame_map=frame_map, grid=grid), 0)
    assert picture.std() < 2
    assert picture.mean() == pytest.approx(127, abs=1)


def test_a_stream_must_have_levels_before_it_is_resampled(tmp_path):
    Image.fromarray(painted((300, 400, 3))).save(tmp_path / "master.png")
    source, frame_map = open_master(tmp_path / "master.png"), turned_map((400, 300), angle_deg=1.0)
    with pytest.raises(NoRandomAccessError, match="Build its reading levels first"):
        publish(source, tmp_path / "p.tif", frame_map=frame_map)
    assert publish(source, tmp_path / "p.tif").zooms
    build_reading_levels(source, tmp_path / "levels.tif")
    levelled = with_levels(source, tmp_path / "levels.tif")
    assert publish(levelled, tmp_path / "p.tif", frame_map=frame_map).description["is_resampled"]


def test_untagged_colours_can_be_refused(tmp_path):
    tone = DisplayTone(0.0, 255.0, channels=(0, 1, 2), is_colour_managed=True)
    source = ArraySource(painted((20, 20, 3)), name="visible.tif")
    with pytest.raises(UntaggedColourError, match=r"visible\.tif holds colours without a profile"):
        publish(source, tmp_path / "p.tif", tone=tone, untagged="refuse")


def test_progress_counts_rows_of_tiles_to_the_end(tmp_path):
    steps = []
    source = ArraySource(painted((600, 100)))
    plan = PyramidPlan(own_grid(source), None, GREY)
    build_pyramid(source, tmp_path / "p.tif", plan=plan, progress=lambda *step: steps.append(step))
    assert steps == [(1, 3), (2, 3), (3, 3)]


def test_a_cancelled_build_leaves_the_old_file_and_no_other(folder):
    (folder / "p.tif").write_bytes(b"old")
    source = ArraySource(painted((600, 100)))
    plan = PyramidPlan(own_grid(source), None, GREY)
    with pytest.raises(WorkCancelledError, match="was stopped on request"):
        build_pyramid(source, folder / "p.tif", plan=plan, is_cancelled=lambda: True)
    assert (folder / "p.tif").read_bytes() == b"old"
    assert [path.name for path in folder.iterdir()] == ["p.tif"]


def test_two_builds_of_one_file_at_a_time_are_refused(tmp_path):
    source = ArraySource(painted((20, 20)))
    with written_aside(tmp_path / "p.tif"), pytest.raises(BuildInProgressError, match="being built already"):
        publish(source, tmp_path / "p.tif")


def test_a_killed_build_leaves_no_file_and_the_next_gives_the_same_bytes(folder):
    code = (
        "import sys, time; from pathlib import Path; sys.path.insert(0, sys.argv[1])\n"
        "from tests.imaging.pictures import painted\n"
        "from tests.imaging.pyramid.test_build import publish, own_grid, GREY, PyramidPlan, build_pyramid\n"
        "from imaging.compute.masters.source import ArraySource\n"
        "source = ArraySource(painted((2000, 300), noise=0.1))\n"
        "def slowly(done, total):\n"
        "    print(done, flush=True); time.sleep(60 if done == 5 else 0)\n"
        "build_pyramid(source, Path(sys.argv[2]), plan=PyramidPlan(own_grid(source), None, GREY), progress=slowly)\n"
    )
    path = folder / "p.tif"
    command = [sys.executable, "-c", code, str(REPOSITORY), str(path)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as child:
        deadline = time.monotonic() + 60
        while child.stdout.readline().strip() != "5":
            assert time.monotonic() < deadline
        child.send_signal(signal.SIGKILL)
    assert not path.exists()
    assert [left.name for left in folder.iterdir()] == [".p.tif.part"]
    source = ArraySource(painted((2000, 300), noise=0.1))
    publish(source, path)
    publish(source, folder / "undisturbed.tif")
    assert path.read_bytes() == (folder / "undisturbed.tif").read_bytes()
    assert sorted(left.name for left in folder.iterdir()) == ["p.tif", "undisturbed.tif"]
