"""Tiles of one zoom cover the picture once, whatever its size."""

import itertools

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from imaging.compute.pyramid.tile_grid import TileGrid

SIDES_PX = st.one_of(st.integers(1, 3000), st.sampled_from([1, 255, 256, 257, 511, 512, 513, 1024, 1025]))


@given(SIDES_PX, SIDES_PX, st.sampled_from([16, 64, 256]))
def test_tiles_of_one_zoom_cover_the_picture_once(width_px, height_px, tile_size_px):
    grid = TileGrid(width_px, height_px, max(tile_size_px, 64))
    for zoom in grid.zooms:
        covered = np.zeros((zoom.height_px, zoom.width_px), np.uint8)
        for row in range(zoom.rows):
            for column in range(zoom.columns):
                x, y, width, height = grid.pixels_of_tile(zoom.zoom, column, row)
                assert width >= 1
                assert height >= 1
                covered[y : y + height, x : x + width] += 1
        assert (covered == 1).all()


@given(SIDES_PX, SIDES_PX)
def test_each_zoom_halves_the_next_and_the_coarsest_is_one_tile(width_px, height_px):
    zooms = TileGrid(width_px, height_px).zooms
    assert (zooms[0].columns, zooms[0].rows) == (1, 1)
    assert (zooms[-1].width_px, zooms[-1].height_px, zooms[-1].scale_factor) == (width_px, height_px, 1)
    for coarse, fine in itertools.pairwise(zooms):
        assert coarse.scale_factor == 2 * fine.scale_factor
        assert coarse.width_px == -(-fine.width_px // 2)
        assert coarse.height_px == -(-fine.height_px // 2)


@given(st.integers(1, 10**7), st.integers(1, 10**7))
def test_no_zoom_is_missing_or_superfluous_at_any_size(width_px, height_px):
    zooms = TileGrid(width_px, height_px).zooms
    assert max(zooms[0].width_px, zooms[0].height_px) <= 256
    assert len(zooms) == 1 or max(zooms[1].width_px, zooms[1].height_px) > 256
