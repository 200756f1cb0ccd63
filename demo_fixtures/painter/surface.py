"""What a treatment state adds to the paint: cracks, losses, varnish, dirt, fillings, margin, crosses."""

import math
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from demo_fixtures.painter import motif
from demo_fixtures.painter.noise import octave_weight, smoothstep, value_noise

__all__ = ["STATES", "Marks", "Surface", "build_marks", "cross_cover", "draw_marks", "varnish_um"]


class Surface(NamedTuple):
    """Numbers of one treatment state."""

    varnish_um: float
    yellowing: float
    haze: float
    dirt: float
    crack_dark: float
    blanching: float
    is_filled: bool
    has_overpaint: bool
    window_open: bool


STATES = {
    "before": Surface(17.0, 1.0, 0.0016, 0.06, 0.90, 1.0, False, True, False),
    "during": Surface(0.6, 1.0, 0.0004, 0.012, 0.80, 0.4, False, True, True),
    "after": Surface(5.0, 0.10, 0.0003, 0.0, 0.55, 0.0, True, False, False),
}


class Marks(NamedTuple):
    """Losses as polygons, exit holes and registration crosses, in mm."""

    losses: NDArray[np.float64]
    loss_corners: NDArray[np.int64]
    holes: NDArray[np.float64]
    crosses: NDArray[np.float64]


def build_marks(chips_mm: NDArray[np.float32]) -> Marks:
    """Return the vector marks of the surface, the three measured losses first."""
    polygons = [np.array(loss) for loss in motif.LOSSES_MM] + [chip.astype(float) for chip in chips_mm]
    losses = np.zeros((len(polygons), 6, 2))
    for index, polygon in enumerate(polygons):
        losses[index, : len(polygon)] = polygon
    corners = np.array([len(polygon) for polygon in polygons])
    return Marks(losses, corners, np.array(motif.exit_holes_mm()), np.array(motif.REGISTRATION_CROSSES_MM))


@njit(cache=True, nogil=True)
def _inside_mm(x, y, polygon, corners):  # type: ignore[no-untyped-def]
    """Return the distance to the outline of a polygon, positive inside."""
    best = 1e9
    odd = False
    previous = corners - 1
    for index in range(corners):
        ax, ay = polygon[previous, 0], polygon[previous, 1]
        bx, by = polygon[index, 0], polygon[index, 1]
        if (ay > y) != (by > y) and x < (bx - ax) * (y - ay) / (by - ay) + ax:
            odd = not odd
        dx, dy = bx - ax, by - ay
        share = min(max(((x - ax) * dx + (y - ay) * dy) / (dx * dx + dy * dy), 0.0), 1.0)
        best = min(best, (x - ax - share * dx) ** 2 + (y - ay - share * dy) ** 2)
        previous = index
    return math.sqrt(best) if odd else -math.sqrt(best)


@njit(cache=True, nogil=True)
def draw_marks(loss, hole, grid, marks, seed):  # type: ignore[no-untyped-def]
    """Fill two masks with the share of each pixel that is lost paint and exit hole."""
    rows, columns = loss.shape
    pitch = grid.pitch_mm
    x_first = grid.x0_mm + (grid.column + 0.5) * pitch
    y_first = grid.y0_mm + (grid.row + 0.5) * pitch
    for index in range(marks.losses.shape[0]):
        corners = marks.loss_corners[index]
        polygon = marks.losses[index]
        low_x, low_y, high_x, high_y = 1e9, 1e9, -1e9, -1e9
        for k in range(corners):
            low_x, high_x = min(low_x, polygon[k, 0]), max(high_x, polygon[k, 0])
            low_y, high_y = min(low_y, polygon[k, 1]), max(high_y, polygon[k, 1])
        rough = 0.22 if index < 3 else 0.10
        row_low = max(0, int((low_y - rough - pitch - y_first) / pitch))
        row_high = min(rows - 1, int((high_y + rough + pitch - y_first) / pitch) + 1)
        column_low = max(0, int((low_x - rough - pitch - x_first) / pitch))
        column_high = min(columns - 1, int((high_x + rough + pitch - x_first) / pitch) + 1)
        for row in range(row_low, row_high + 1):
            y = grid.y0_mm + (grid.row + row + 0.5) * pitch
            for column in range(column_low, column_high + 1):
                x = grid.x0_mm + (grid.column + column + 0.5) * pitch
                inside = _inside_mm(x, y, polygon, corners)
                inside += rough * octave_weight(0.9, pitch) * value_noise(x / 0.9, y / 0.9, seed + 401)
                inside += 0.4 * rough * octave_weight(0.3, pitch) * value_noise(x / 0.3, y / 0.3, seed + 402)
                loss[row, column] = max(loss[row, column], min(max(inside / pitch + 0.5, 0.0), 1.0))
    for index in range(marks.holes.shape[0]):
        hx, hy, radius = marks.holes[index, 0], marks.holes[index, 1], 0.5 * marks.holes[index, 2]
        for row in range(
            max(0, int((hy - 1.5 - y_first) / pitch)), min(rows - 1, int((hy + 1.5 - y_first) / pitch) + 1) + 1
        ):
            for column in range(
                max(0, int((hx - 1.5 - x_first) / pitch)), min(columns - 1, int((hx + 1.5 - x_first) / pitch) + 1) + 1
            ):
                dx = grid.x0_mm + (grid.column + column + 0.5) * pitch - hx
                dy = grid.y0_mm + (grid.row + row + 0.5) * pitch - hy
                rim = radius * (1.0 + 0.06 * value_noise(2.0 * math.atan2(dy, dx), float(index), seed + 403))
                inside = (rim - math.sqrt(dx * dx + dy * dy)) / pitch + 0.5
                hole[row, column] = max(hole[row, column], min(max(inside, 0.0), 1.0))


@njit(cache=True, nogil=True)
def varnish_um(x, y, pitch, mean_um, seed):  # type: ignore[no-untyped-def]
    """Return the thickness of the varnish: brushed, thin in patches, ragged at the rebate, one drip."""
    sway = y + 9.0 * value_noise(x / 170.0, y / 110.0, seed + 410) + 0.06 * x
    thick = 1.0 + 0.10 * value_noise(x / 190.0, sway / 16.0, seed + 411)
    thick += 0.07 * value_noise(x / 120.0, sway / 4.2, seed + 412) + 0.10 * value_noise(x / 60.0, y / 55.0, seed + 418)
    if pitch < 0.4:
        thick += 0.06 * octave_weight(1.2, pitch) * value_noise(x / 60.0, sway / 1.2, seed + 413)
    patch = value_noise(x / 95.0, y / 70.0, seed + 414) + 0.4 * value_noise(x / 21.0, y / 19.0, seed + 415)
    thick *= 1.0 - 0.5 * smoothstep(0.45, 0.9, patch)
    rebate = min(min(x, 640.0 - x), min(y, 480.0 - y)) + 1.6 * value_noise(x / 9.0, y / 9.0, seed + 416)
    thick *= 0.35 + 0.65 * smoothstep(3.5, 7.5, rebate)
    drip = 316.0 + 2.5 * value_noise(y / 40.0, 0.0, seed + 417)
    if y > 130.0 and y < 415.0:
        run = smoothstep(130.0, 160.0, y) * smoothstep(0.0, 55.0, 415.0 - y)
        thick += 0.35 * math.exp(-(((x - drip) / 1.6) ** 2)) * run
    return max(0.0, thick) * mean_um


@njit(cache=True, nogil=True, inline="always")
def _overlap(offset, half, pitch):  # type: ignore[no-untyped-def]
    """Return the share of a pixel's side that lies inside a bar."""
    return min(max((min(offset + 0.5 * pitch, half) - max(offset - 0.5 * pitch, -half)) / pitch, 0.0), 1.0)


@njit(cache=True, nogil=True)
def cross_cover(x, y, pitch, marks):  # type: ignore[no-untyped-def]
    """Return the shares of a pixel that are card and white arms of a registration cross."""
    for index in range(marks.crosses.shape[0]):
        dx = x - marks.crosses[index, 0]
        dy = y - marks.crosses[index, 1]
        if abs(dx) < 3.2 + pitch and abs(dy) < 3.2 + pitch:
            card = _overlap(dx, 3.2, pitch) * _overlap(dy, 3.2, pitch)
            upright_x, upright_y = _overlap(dx, 0.35, pitch), _overlap(dy, 2.6, pitch)
            level_x, level_y = _overlap(dx, 2.6, pitch), _overlap(dy, 0.35, pitch)
            return card, upright_x * upright_y + level_x * level_y - upright_x * level_y
    return 0.0, 0.0
