"""Pyramids and levels of any size read back as they were written."""

import io
import tempfile
from pathlib import Path

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from PIL import Image

from imaging.compute.frames import CanvasGrid
from imaging.compute.masters.source import ArraySource
from imaging.compute.pyramid.build import PyramidPlan, build_pyramid
from imaging.compute.pyramid.levels import build_reading_levels, with_levels
from imaging.compute.pyramid.tile_reader import PyramidFile
from imaging.compute.render.display_tone import DisplayTone
from imaging.errors import FieldRefusedError

SHAPES = st.tuples(st.integers(1, 600), st.integers(1, 600), st.sampled_from([1, 3]))
NUMBERS = st.floats(-1e6, 1e6, allow_nan=False)


@settings(max_examples=25, deadline=None)
@given(SHAPES, st.integers(0, 255))
def test_an_even_picture_of_any_size_has_that_value_in_every_tile(shape, value):
    source = ArraySource(np.full(shape, value, np.uint8))
    grid = CanvasGrid(0.0, 0.0, 0.1, shape[1], shape[0])
    tone = DisplayTone(0.0, 255.0, channels=(0, 1, 2) if shape[2] == 3 else (0,))
    with tempfile.TemporaryDirectory() as folder:
        build_pyramid(source, Path(folder) / "p.tif", plan=PyramidPlan(grid, None, tone))
        pyramid = PyramidFile(Path(folder) / "p.tif")
        for zoom in pyramid.zooms:
            for row in range(zoom.rows):
                for column in range(zoom.columns):
                    tile = np.asarray(Image.open(io.BytesIO(pyramid.tile(zoom.zoom, column, row))))
                    assert tile.shape[:2] == (256, 256)
                    assert np.abs(tile.astype(int) - value).max() <= 1


@settings(max_examples=25, deadline=None)
@given(arrays(np.uint16, st.tuples(st.integers(1, 40), st.integers(200, 600))))
def test_means_of_means_never_leave_the_range_and_keep_the_mean(pixels):
    source = ArraySource(pixels)
    with tempfile.TemporaryDirectory() as folder:
        build_reading_levels(source, Path(folder) / "l.tif")
        levelled = with_levels(source, Path(folder) / "l.tif")
        for factor in levelled.scale_factors:
            rows, columns = -(-pixels.shape[0] // factor), -(-pixels.shape[1] // factor)
            level = levelled.read_window(0, 0, columns, rows, scale_factor=factor)
            assert pixels.min() <= level.min()
            assert level.max() <= pixels.max()


@given(NUMBERS, NUMBERS, st.floats(0.05, 20.0), st.booleans())
def test_every_tone_is_stored_and_falls_or_rises_throughout(black, white, gamma, is_inverted):
    try:
        tone = DisplayTone(black, white, gamma, is_inverted)
    except FieldRefusedError:
        assert white - black < 1e-6 * max(1.0, abs(black))
        return
    assert DisplayTone.from_json(tone.to_json()) == tone
    steps = np.diff(tone.lut(np.dtype(np.uint16)).astype(int))
    assert (steps <= 0).all() if is_inverted else (steps >= 0).all()
