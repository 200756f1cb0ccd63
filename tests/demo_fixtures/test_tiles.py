"""A tile is a pure function of the plan and of global pixel numbers."""

import numpy as np
import pytest

from demo_fixtures.painter.noise import octave_weight
from demo_fixtures.painter.raster import Raster, paint_tile
from demo_fixtures.painter.stack import INFRARED, TileGrid
from demo_fixtures.painter.strokes import CHARCOAL

from .conftest import bare_plan

WINDOW_MM = (20.0, 300.0, 100.0, 100.0)


def painted(plan, tile_px):
    raster = Raster(plan, pitch_mm=0.1, folder=None, window_mm=WINDOW_MM, tile_px=tile_px)
    raster.paint(lambda _share: None)
    return raster.values


def test_tiles_of_256_512_and_1000_px_are_equal_to_the_bit(small_plan):
    whole = painted(small_plan, 1000)
    assert whole.std() > 0
    for tile_px in (256, 512):
        assert np.array_equal(painted(small_plan, tile_px), whole)


def test_the_same_seed_paints_the_same_tile_and_another_seed_does_not():
    grid = TileGrid(0.0, 0.0, 0.2, 500, 700)
    first, again, other = (paint_tile(bare_plan(seed), grid, shape=(120, 120)) for seed in (7, 7, 8))
    assert np.array_equal(first, again)
    assert not np.array_equal(first, other)


def test_a_killed_raster_goes_on_where_it_stopped(small_plan, tmp_path):
    def open_raster():
        return Raster(small_plan, pitch_mm=0.2, folder=tmp_path, window_mm=WINDOW_MM, tile_px=256)

    raster = open_raster()
    raster._paint_one((0, 1))
    kept = raster.values[:256, 256:].copy()
    del raster
    resumed = open_raster()
    shares: list[float] = []
    resumed.paint(shares.append)
    assert len(shares) == 3
    assert np.array_equal(resumed.values[:256, 256:], kept)
    assert np.array_equal(resumed.values, painted_at(small_plan, 0.2))


def painted_at(plan, pitch_mm):
    raster = Raster(plan, pitch_mm=pitch_mm, folder=None, window_mm=WINDOW_MM, tile_px=500)
    raster.paint(lambda _share: None)
    return raster.values


@pytest.mark.parametrize(
    ("wavelength_mm", "pitch_mm", "weight"), [(0.1, 0.08, 0.0), (0.5, 0.08, 1.0), (0.28, 0.08, 0.5)]
)
def test_an_octave_fades_between_two_and_five_pixels(wavelength_mm, pitch_mm, weight):
    assert octave_weight(wavelength_mm, pitch_mm) == pytest.approx(weight, abs=1e-9)


def test_a_coarse_pixel_is_the_mean_of_finer_ones(small_plan):
    coarse = paint_tile(small_plan, TileGrid(0.0, 0.0, 0.4, 200, 300), shape=(60, 60))
    fine = paint_tile(small_plan, TileGrid(0.0, 0.0, 0.1, 800, 1200), shape=(240, 240))
    mean = fine.reshape(60, 4, 60, 4, -1).mean(axis=(1, 3))
    assert mean[..., INFRARED].mean() == pytest.approx(coarse[..., INFRARED].mean(), rel=0.03)
    assert np.corrcoef(mean[..., INFRARED].ravel(), coarse[..., INFRARED].ravel())[0, 1] > 0.6


def test_charcoal_darkens_the_infrared_where_the_line_runs_and_nowhere_else(small_plan):
    grid = TileGrid(0.0, 0.0, 0.1, 3000, 3450)
    hidden = np.zeros(8, np.bool_)
    hidden[CHARCOAL] = True
    change = (
        paint_tile(small_plan, grid, shape=(120, 200), hidden=hidden)[..., INFRARED]
        - paint_tile(small_plan, grid, shape=(120, 200))[..., INFRARED]
    )
    rows = 345.0 + (np.arange(120) + 0.5) * 0.1
    line_y = 352.2 - 3.2 * (310.0 - 36.5) / 567.3
    assert change[np.abs(rows - line_y) < 0.1].mean() > 0.05
    assert np.abs(change[np.abs(rows - line_y) > 0.6]).max() == 0.0
