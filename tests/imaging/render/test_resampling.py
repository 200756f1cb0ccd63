"""Where resampled pixels come from: a ramp shows its own coordinates."""

import numpy as np
import pytest

from imaging.compute.displacement import DisplacementGrid
from imaging.compute.frames import CanvasGrid, sample_index_from_px
from imaging.compute.maps import FrameMap
from imaging.compute.masters.source import ArraySource
from imaging.compute.render import resampling
from imaging.compute.render.pixel_field import LARGEST_ERROR_PX, PixelField
from imaging.compute.render.resampling import BlockResampler
from imaging.compute.render.row_kernel import is_nearly_parallel, resample_at
from tests.imaging.pictures import painted, turned_map

GRID = CanvasGrid(2.0, 3.0, 0.05, 300, 200)
# In the linear image x + 1000 y, cubic interpolation gives the place itself.
COLUMNS, ROWS = np.meshgrid(np.arange(700, dtype=np.float32), np.arange(600, dtype=np.float32))


def keys(distance, a=-0.5):
    """Cubic kernel of Keys 1981 (DOI 10.1109/TASSP.1981.1163711), written out."""
    d = np.abs(distance)
    near = (a + 2) * d**3 - (a + 3) * d**2 + 1
    far = a * d**3 - 5 * a * d**2 + 8 * a * d - 4 * a
    return np.where(d <= 1, near, np.where(d < 2, far, 0.0))


def by_definition(pixels, index):
    """Sum over 4 x 4 samples with Keys' weights, border repeated."""
    rows, columns = pixels.shape
    x, y = index[..., 0], index[..., 1]
    total = np.zeros(x.shape)
    for j in range(-1, 3):
        for i in range(-1, 3):
            column, row = np.floor(x).astype(int) + i, np.floor(y).astype(int) + j
            sample = pixels[np.clip(row, 0, rows - 1), np.clip(column, 0, columns - 1)]
            total += sample * keys(x - column) * keys(y - row)
    return total


def bent_map(*, angle_deg=0.4):
    turned = turned_map((700, 600), angle_deg=angle_deg)
    dx_px, dy_px = np.random.default_rng(6).normal(0.0, 1.5, (2, 12, 12))
    return FrameMap(turned.projective, DisplacementGrid(-2.0, -2.0, 4.0, dx_px, dy_px), image_size_px=(700, 600))


def resampled(pixels, frame_map, grid=GRID):
    """Put the blocks together."""
    source = ArraySource(pixels)
    resampler = BlockResampler(source, PixelField(grid, frame_map), select=lambda window: window)
    out = np.full((grid.height_px, grid.width_px, source.bands), np.nan)
    for block in resampler.blocks(0, 0, grid.width_px, grid.height_px):
        if block.pixels is not None:
            rows = slice(block.y_px, block.y_px + block.height_px)
            out[rows, block.x_px : block.x_px + block.width_px] = block.pixels
    return out


def exact_index(frame_map, grid=GRID):
    columns, rows = np.meshgrid(np.arange(grid.width_px) + 0.5, np.arange(grid.height_px) + 0.5)
    places_mm = grid.mm_from_px(np.stack([columns, rows], axis=-1).reshape(-1, 2))
    return sample_index_from_px(frame_map.px_from_mm(places_mm)).reshape(grid.height_px, grid.width_px, 2)


@pytest.mark.parametrize(
    ("frame_map", "largest_px"),
    [
        (turned_map((700, 600), angle_deg=2.0), 0.001),
        (turned_map((700, 600), angle_deg=8.0), 0.001),
        (bent_map(), 0.011),
        (bent_map(angle_deg=12.0), 0.011),
    ],
    ids=["nearly parallel", "turned", "bent", "bent and turned"],
)
def test_pixels_come_from_within_a_hundredth_of_a_pixel_of_their_place(frame_map, largest_px):
    found = np.stack([resampled(ramp, frame_map)[..., 0] for ramp in (COLUMNS, ROWS)], axis=-1)
    expected = exact_index(frame_map)
    inside = ((expected > 3) & (expected < [696, 596])).all(axis=2)
    assert inside.mean() > 0.8
    assert np.abs(found - expected)[inside].max() < largest_px


@pytest.mark.parametrize("dtype", ["uint8", "uint16", "float32"])
@pytest.mark.parametrize("bands", [1, 3])
@pytest.mark.parametrize("angle_deg", [0.0, 0.3, -2.5, 4.0, 45.0, 91.0, 170.0, 181.0, 269.0])
def test_the_compiled_kernel_agrees_with_the_definition(dtype, bands, angle_deg):
    pixels = painted((600, 700, bands), dtype, noise=0.004)
    frame_map = turned_map((700, 600), angle_deg=angle_deg, shift_mm=(0.013, 0.022))
    left, top, right, bottom = frame_map.extent_mm()
    grid = CanvasGrid((left + right) / 2 - 5.0, (top + bottom) / 2 - 3.0, 0.047, 200, 120)
    found, full = resampled(pixels, frame_map, grid), 1000.0 if dtype == "float32" else np.iinfo(dtype).max
    for band in range(bands):
        expected = np.clip(by_definition(pixels[..., band].astype(float), exact_index(frame_map, grid)), 0, full)
        if dtype == "float32":
            expected = by_definition(pixels[..., band].astype(float), exact_index(frame_map, grid))
        difference = np.abs(found[..., band] - expected)
        # A line that slopes by 2.5 degrees bends the finest noise a little.
        assert difference.mean() < full * (0.0011 if dtype == "uint8" else 0.0003)
        assert difference.max() < full * 0.004


def test_the_border_is_repeated_where_the_kernel_looks_beyond_it():
    pixels = painted((60, 70), "uint16", noise=0.1)
    frame_map = turned_map((70, 60), angle_deg=0.4)
    grid = CanvasGrid(-0.5, -0.5, 0.05, 100, 90)
    found, index = resampled(pixels, frame_map, grid)[..., 0], exact_index(frame_map, grid)
    inside = ((index >= -0.5) & (index <= [69.5, 59.5])).all(axis=2)
    expected = np.clip(by_definition(pixels.astype(float), index), 0, 65535)
    assert np.abs(found - expected)[inside].max() < 0.004 * 65535


def test_which_lattices_are_nearly_parallel():
    columns, rows = np.meshgrid(np.arange(6) * 16.0, np.arange(4) * 16.0)
    straight = np.stack([columns, rows], axis=-1)
    assert is_nearly_parallel(straight, 16)
    assert not is_nearly_parallel(straight, 1)
    assert not is_nearly_parallel(straight[:, ::-1], 16)
    assert not is_nearly_parallel(np.stack([rows, columns], axis=-1), 16)
    assert not is_nearly_parallel(np.stack([columns, rows + 0.06 * columns], axis=-1), 16)
    assert not is_nearly_parallel(straight * 6.0, 16)
    straight[1, 2, 0] = np.nan
    assert not is_nearly_parallel(straight, 16)


def test_a_window_whose_pixels_do_not_lie_side_by_side_is_copied_first():
    pixels = painted((40, 60, 4), "uint8", noise=0.1)
    columns, rows = np.meshgrid((np.arange(4) - 0.5) * 16, (np.arange(3) - 0.5) * 16)
    nodes = np.stack([columns + 5.0, rows + 6.0], axis=-1)
    out = np.empty((16, 32, 3), np.uint8)
    resample_at(pixels[..., :3], nodes - 0.5, step_px=16, out=out)
    assert np.array_equal(out, pixels[6:22, 5:37, :3])


def test_wide_sources_are_read_in_smaller_blocks_with_the_same_result(monkeypatch):
    pixels = painted((600, 700), "uint16", noise=0.01)
    frame_map = turned_map((700, 600), angle_deg=12.0)
    whole = resampled(pixels, frame_map)
    monkeypatch.setattr(resampling, "_MOST_SOURCE_PIXELS", 3000)
    parts = resampled(pixels, frame_map)
    # The lattice lies otherwise in smaller blocks, and single precision rounds otherwise.
    assert np.nanmax(np.abs(parts - whole)) < 0.0005 * 65535
    assert not np.isnan(whole).any()


def test_the_lattice_is_made_finer_where_the_map_bends():
    """A displacement of 3 px within 6 px of the grid cannot be followed at 16 px."""
    displacement = np.zeros((2, 60, 60))
    displacement[:, 25:30, 25:30] = 3.0
    frame_map = FrameMap(
        np.diag([20.0, 20.0, 1.0]), DisplacementGrid(2.0, 2.0, 0.3, *displacement), image_size_px=(700, 600)
    )
    field = PixelField(GRID, frame_map)
    places = field.block_places(0, 0, 300, 200)
    assert places.step_px < 16
    index = places.index_from((0, 0), np.empty(places.buffer_shape, np.float32))
    assert np.abs(index - exact_index(frame_map)).max() < 2 * LARGEST_ERROR_PX


def test_places_far_from_the_corner_keep_their_precision():
    """At 90,000 px single precision alone would step by 0.008 px."""
    frame_map = FrameMap(np.array([[20.003, 0.01, 90_000.0], [-0.01, 19.997, 120_000.0], [0, 0, 1.0]]))
    places = PixelField(GRID, frame_map).block_places(0, 0, 300, 200)
    origin = np.floor(places.bounds[0])
    index = places.index_from(origin, np.empty(places.buffer_shape, np.float32)) + origin
    assert np.abs(index - exact_index(frame_map)).max() < 1e-3


def test_beyond_the_horizon_there_are_no_pixels():
    """The line x = 12 mm is the vanishing line of this map."""
    frame_map = FrameMap(np.array([[-20.0, 0, 500.0], [0, -20.0, 400.0], [1 / 12, 0, -1.0]]), image_size_px=(700, 600))
    source = ArraySource(painted((600, 700)))
    resampler = BlockResampler(source, PixelField(GRID, frame_map), select=lambda window: window)
    inside = np.zeros((200, 300), bool)
    for block in resampler.blocks(0, 0, 300, 200):
        part = (slice(block.y_px, block.y_px + block.height_px), slice(block.x_px, block.x_px + block.width_px))
        inside[part] = block.pixels is not None and (True if block.is_inside is None else block.is_inside)
    index = exact_index(frame_map)
    expected = ((index >= -0.5) & (index <= [699.5, 599.5])).all(axis=2)
    assert (inside != expected).mean() < 0.002


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("shape", [(600, 700), (600, 700, 3)], ids=str)
def test_each_orientation_gives_the_same_picture(orientation, shape):
    """As stored by TIFF tag 274: turned back by the map, all eight look alike."""
    upright = painted(shape, "uint16", noise=0.02)
    turns = {1: upright, 2: upright[:, ::-1], 3: upright[::-1, ::-1], 4: upright[::-1]}
    turns |= {n: turns[m].swapaxes(0, 1) for n, m in {5: 1, 6: 2, 7: 3, 8: 4}.items()}
    stored = np.ascontiguousarray(turns[orientation])
    size_px = (stored.shape[1], stored.shape[0])
    frame_map = FrameMap.from_stated_scale(0.05, (0.013, 0.022), image_size_px=size_px, orientation=orientation)
    expected = resampled(upright, FrameMap.from_stated_scale(0.05, (0.013, 0.022), image_size_px=(700, 600)))
    assert np.abs(resampled(stored, frame_map) - expected).max() <= 8
