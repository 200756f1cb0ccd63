"""A piece of the stack in one treatment state, with everything the modalities look at."""

import math
from typing import NamedTuple

import cv2
import numpy as np
from numba import njit
from numpy.typing import NDArray

from demo_fixtures.painter import motif
from demo_fixtures.painter.noise import octave_weight, smoothstep, value_noise
from demo_fixtures.painter.plan import Plan
from demo_fixtures.painter.raster import CRACK_CHANNEL, Raster
from demo_fixtures.painter.stack import HEIGHT, STACK_CHANNELS, Paint, TileGrid, lay_strokes
from demo_fixtures.painter.strokes import OVERPAINT
from demo_fixtures.painter.support import Support, build_support
from demo_fixtures.painter.surface import STATES, Marks, Surface, build_marks, draw_marks

__all__ = ["HALO_PX", "Region", "Scene", "build_scene", "open_region"]

HALO_PX = 32


class Scene(NamedTuple):
    """Everything a modality can look at."""

    plan: Plan
    support: Support
    marks: Marks
    raster: Raster


class Region(NamedTuple):
    """A piece of the stack in one treatment state, with its masks."""

    paint: NDArray[np.float32]
    crack: NDArray[np.float32]
    grime: NDArray[np.float32]
    loss: NDArray[np.float32]
    hole: NDArray[np.float32]
    later: NDArray[np.float32]
    height_um: NDArray[np.float32]
    grid: TileGrid
    surface: Surface
    support: Support
    marks: Marks
    fill: NDArray[np.float32]
    seed: int


def build_scene(plan: Plan, raster: Raster) -> Scene:
    """Return what the modalities look at."""
    return Scene(plan, build_support(plan.seed), build_marks(plan.chips_mm), raster)


def open_region(scene: Scene, state: str, *, column: int, row: int, size: tuple[int, int]) -> Region:
    """Return a region of the raster as it looks in a treatment state; ``size`` is columns, rows."""
    surface = STATES[state]
    raster = scene.raster
    values = raster.read(column, row, size[0], size[1])
    grid = raster.grid_at(column, row)
    paint = np.ascontiguousarray(values[..., :STACK_CHANNELS])
    crack = np.ascontiguousarray(values[..., CRACK_CHANNEL])
    shape = crack.shape
    later = np.zeros(shape, np.float32)
    if surface.has_overpaint and _meets_later(scene.plan, grid, shape):
        later = _lay_later(paint, scene.plan, grid, surface)
    loss, hole = np.zeros(shape, np.float32), np.zeros(shape, np.float32)
    draw_marks(loss, hole, grid, scene.marks, scene.plan.seed)
    grime = np.asarray(cv2.GaussianBlur(crack, (0, 0), max(0.14 / grid.pitch_mm, 0.6)), np.float32)
    height = np.empty(shape, np.float32)
    _relief(height, (paint[..., HEIGHT], crack, loss, hole), scene.plan.cupping_um, (grid, surface.is_filled))
    return Region(
        paint,
        crack,
        grime,
        loss,
        hole,
        later,
        height,
        grid,
        surface,
        scene.support,
        scene.marks,
        scene.plan.retouch_colour,
        scene.plan.seed,
    )


def _meets_later(plan: Plan, grid: TileGrid, shape: tuple[int, ...]) -> bool:
    """Return whether any later stroke can touch a region."""
    left, top = grid.x0_mm + grid.column * grid.pitch_mm - 1.0, grid.y0_mm + grid.row * grid.pitch_mm - 1.0
    right, bottom = left + shape[1] * grid.pitch_mm + 2.0, top + shape[0] * grid.pitch_mm + 2.0
    box = plan.later.box_mm
    return bool(((box[:, 0] < right) & (box[:, 2] > left) & (box[:, 1] < bottom) & (box[:, 3] > top)).any())


def _lay_later(paint: NDArray[np.float32], plan: Plan, grid: TileGrid, surface: Surface) -> NDArray[np.float32]:
    """Lay overpaint and old retouches and return how much they cover; a test window stays free of overpaint."""
    hidden = np.zeros(8, np.bool_)
    every = (0, len(plan.later.points))
    before = paint.copy()
    marker = np.zeros_like(paint)
    marker[..., 0] = 1.0
    plain = np.zeros_like(plan.films)
    plain[:, 4] = 0.25
    for tile, films in ((paint, plan.films), (marker, plain)):
        lay_strokes(tile, Paint(plan.later, films), grid, every, hidden)
    paint_and_mark = np.concatenate([paint, 1.0 - marker[..., :1]], axis=2)
    if surface.window_open:
        hidden[OVERPAINT] = True
        lay_strokes(before, Paint(plan.later, plan.films), grid, every, hidden)
        cleaned = np.concatenate([before, np.zeros_like(marker[..., :1])], axis=2)
        _open_window(paint_and_mark, cleaned, grid, plan.seed)
        paint[...] = paint_and_mark[..., :-1]
    return np.ascontiguousarray(paint_and_mark[..., -1])


@njit(cache=True, nogil=True)
def _open_window(paint, cleaned, grid, seed):  # type: ignore[no-untyped-def]
    """Take the overpaint off inside the cleaning test."""
    left, top = motif.TEST_WINDOW_MM[0]
    right, bottom = motif.TEST_WINDOW_MM[1]
    pitch = grid.pitch_mm
    for row in range(paint.shape[0]):
        y = grid.y0_mm + (grid.row + row + 0.5) * pitch
        if y < top - 1.0 or y > bottom + 1.0:
            continue
        for column in range(paint.shape[1]):
            x = grid.x0_mm + (grid.column + column + 0.5) * pitch
            inside = min(min(x - left, right - x), min(y - top, bottom - y)) + 0.14 * value_noise(
                x / 0.7, y / 0.7, seed + 501
            )
            share = smoothstep(-0.10, 0.10, inside)
            if share > 0.0:
                for channel in range(paint.shape[2]):
                    paint[row, column, channel] += (cleaned[row, column, channel] - paint[row, column, channel]) * share


@njit(cache=True, nogil=True)
def _sample(small, x, y, pitch):  # type: ignore[no-untyped-def]
    """Return a bilinear sample of a small map that starts at (0, 0) mm."""
    column = x / pitch - 0.5
    row = y / pitch - 0.5
    column = min(max(column, 0.0), small.shape[1] - 1.001)
    row = min(max(row, 0.0), small.shape[0] - 1.001)
    i, j = int(column), int(row)
    u, v = column - i, row - j
    top = small[j, i] + (small[j, i + 1] - small[j, i]) * u
    bottom = small[j + 1, i] + (small[j + 1, i + 1] - small[j + 1, i]) * u
    return top + (bottom - top) * v


@njit(cache=True, nogil=True)
def _relief(height, masks, cupping, settings):  # type: ignore[no-untyped-def]
    """Add cupping, cracks, losses, the join and the boards' relief to the paint's own height."""
    grid, is_filled = settings
    paint_um, crack, loss, hole = masks
    pitch = grid.pitch_mm
    for row in range(height.shape[0]):
        y = grid.y0_mm + (grid.row + row + 0.5) * pitch
        for column in range(height.shape[1]):
            x = grid.x0_mm + (grid.column + column + 0.5) * pitch
            up = paint_um[row, column] + _sample(cupping, x, y, 0.25) - 26.0 * crack[row, column]
            lost = loss[row, column] * (0.12 if is_filled else 1.0)
            up += (-60.0 - up) * lost
            up -= 400.0 * hole[row, column]
            join = y - 262.0 - 1.2 * x / 640.0
            up += 35.0 * math.tanh(join / 0.35) * math.exp(-abs(join) / 60.0)
            up += 8.0 * value_noise(x / 30.0, y / 1.8, 77) * octave_weight(1.8, pitch)
            if x < 0.0 or y < 0.0 or x > 640.0 or y > 480.0:
                up = -120.0 + 20.0 * value_noise(x / 14.0, y / 0.9, 78) * octave_weight(0.9, pitch)
            height[row, column] = up
