"""The tile stage: lay the strokes of a plan, in order, as thin films in every band at once.

A tile is a pure function of the plan and of global pixel numbers, so its size never shows.
"""

import math
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from demo_fixtures.painter.noise import octave_weight, smoothstep, value_noise
from demo_fixtures.painter.strokes import CHARCOAL, Strokes

__all__ = [
    "HEIGHT",
    "INFRARED",
    "LUMINESCENCE",
    "STACK_CHANNELS",
    "XRAY",
    "Paint",
    "TileGrid",
    "lay_ground",
    "lay_strokes",
    "lay_wash",
]

INFRARED, LUMINESCENCE, XRAY, HEIGHT = 3, 4, 7, 8
STACK_CHANNELS = 9
_EXP_STEPS_PER_UNIT = 512
_EXP_LIMIT = 20
_EXP = np.exp(-np.arange(_EXP_LIMIT * _EXP_STEPS_PER_UNIT + 2) / _EXP_STEPS_PER_UNIT).astype(np.float32)


class TileGrid(NamedTuple):
    """Where a tile lies: millimetre origin of pixel number 0, pitch, first global column and row."""

    x0_mm: float
    y0_mm: float
    pitch_mm: float
    column: int
    row: int


class Paint(NamedTuple):
    """Strokes and the films their numbers name."""

    strokes: Strokes
    films: NDArray[np.float32]


class _Work(NamedTuple):
    """Scratch memory for one tile."""

    span: NDArray[np.int32]
    owner: NDArray[np.int32]
    best: NDArray[np.float32]
    across: NDArray[np.float32]
    along: NDArray[np.float32]


@njit(cache=True, nogil=True, inline="always")
def _fade(value):  # type: ignore[no-untyped-def]
    """Return exp(-value) from a table."""
    place = value * _EXP_STEPS_PER_UNIT
    index = int(place)
    if index >= _EXP_LIMIT * _EXP_STEPS_PER_UNIT:
        return np.float32(0.0)
    return _EXP[index] + (_EXP[index + 1] - _EXP[index]) * np.float32(place - index)


@njit(cache=True, nogil=True)
def lay_ground(tile, grid, seed):  # type: ignore[no-untyped-def]
    """Start a tile: chalk ground, smoothed, with the tooth that later holds charcoal."""
    fine = octave_weight(0.22, grid.pitch_mm)
    coarse = octave_weight(1.3, grid.pitch_mm)
    for row in range(tile.shape[0]):
        y = grid.y0_mm + (grid.row + row + 0.5) * grid.pitch_mm
        for column in range(tile.shape[1]):
            x = grid.x0_mm + (grid.column + column + 0.5) * grid.pitch_mm
            tooth = 0.0
            if coarse > 0.0:
                tooth += coarse * 0.6 * value_noise(x / 1.3, y / 1.1, seed + 201)
            if fine > 0.0:
                tooth += fine * 0.5 * value_noise(x / 0.22, y / 0.22, seed + 202)
            shade = 1.0 + 0.025 * tooth
            tile[row, column, 0] = 0.78 * shade
            tile[row, column, 1] = 0.73 * shade
            tile[row, column, 2] = 0.62 * shade
            tile[row, column, 3] = 0.80 * shade
            tile[row, column, 4] = 0.075
            tile[row, column, 5] = 0.070
            tile[row, column, 6] = 0.070
            tile[row, column, 7] = 0.20 + 0.006 * tooth
            tile[row, column, 8] = 4.0 * tooth


@njit(cache=True, nogil=True, inline="always")
def _lay_film(pixel, film, thick_um, streak):  # type: ignore[no-untyped-def]
    """Lay one film on one pixel in all bands."""
    for band in range(4):
        tint = film[band] * (1.0 + streak * (0.16 if band == 0 else (0.10 if band == 1 else 0.07)))
        pixel[band] = tint + (pixel[band] - tint) * _fade(film[4 + band] * thick_um)
    through = _fade(2.0 * film[6] * thick_um + thick_um * 0.06)
    for band in range(3):
        pixel[4 + band] = film[8 + band] + (pixel[4 + band] - film[8 + band]) * through
    pixel[7] += film[11] * thick_um


@njit(cache=True, nogil=True)
def lay_wash(tile, grid, film, seed):  # type: ignore[no-untyped-def]
    """Lay the thin brown wash over everything; the infrared sees through it."""
    weights = (octave_weight(24.0, grid.pitch_mm), octave_weight(3.0, grid.pitch_mm), octave_weight(0.4, grid.pitch_mm))
    for row in range(tile.shape[0]):
        y = grid.y0_mm + (grid.row + row + 0.5) * grid.pitch_mm
        for column in range(tile.shape[1]):
            x = grid.x0_mm + (grid.column + column + 0.5) * grid.pitch_mm
            thick = 32.0 + 7.0 * weights[0] * value_noise(x / 40.0, y / 24.0, seed + 211)
            if weights[1] > 0.0:
                thick += 3.0 * weights[1] * value_noise(x / 11.0, y / 3.0, seed + 212)
            if weights[2] > 0.0:
                thick += 2.0 * weights[2] * value_noise(x / 0.4, y / 0.4, seed + 213)
            _lay_film(tile[row, column], film, thick, 0.0)
            tile[row, column, 8] = tile[row, column, 8] * 0.7 + thick * 0.25


@njit(cache=True, nogil=True, inline="always")
def _widen(span, row, reach, used, columns):  # type: ignore[no-untyped-def]
    """Take a row's columns into the used part of the tile and return its first and last row."""
    top, bottom = used
    if row < top:
        for blank in range(row, min(top, bottom + 1) if bottom >= 0 else row + 1):
            span[blank, 0] = columns
            span[blank, 1] = -1
        top = row
    if row > bottom:
        for blank in range(max(bottom + 1, top), row + 1):
            span[blank, 0] = columns
            span[blank, 1] = -1
        bottom = row
    span[row, 0] = min(span[row, 0], reach[0])
    span[row, 1] = max(span[row, 1], reach[1])
    return top, bottom


@njit(cache=True, nogil=True)
def _claim(strokes, index, grid, reach, work):  # type: ignore[no-untyped-def]
    """Find, for every pixel near a stroke, the nearest place on its path; return the used rows."""
    rows, columns = work.owner.shape
    span = work.span
    pitch = grid.pitch_mm
    x_first = grid.x0_mm + (grid.column + 0.5) * pitch
    y_first = grid.y0_mm + (grid.row + 0.5) * pitch
    count = strokes.points[index]
    travelled = 0.0
    top, bottom = rows, -1
    for k in range(count - 1):
        ax = float(strokes.xy_mm[index, k, 0])
        ay = float(strokes.xy_mm[index, k, 1])
        bx = float(strokes.xy_mm[index, k + 1, 0]) - ax
        by = float(strokes.xy_mm[index, k + 1, 1]) - ay
        length = math.sqrt(bx * bx + by * by) + 1e-9
        ux, uy = bx / length, by / length
        row_low = max(0, int(math.floor((min(ay, ay + by) - reach - y_first) / pitch)))
        row_high = min(rows - 1, int(math.ceil((max(ay, ay + by) + reach - y_first) / pitch)))
        left_mm = min(ax, ax + bx) - reach
        right_mm = max(ax, ax + bx) + reach
        for row in range(row_low, row_high + 1):
            # Global pixel numbers only: sums that start at the tile would differ in the last bit.
            dy = grid.y0_mm + (grid.row + row + 0.5) * pitch - ay
            low_mm, high_mm = left_mm, right_mm
            if abs(uy) > 0.05:
                # Only the slice of this row that lies within reach of the segment's line.
                middle = ax + dy * ux / uy
                half = reach / abs(uy)
                low_mm = max(low_mm, middle - half)
                high_mm = min(high_mm, middle + half)
            first = max(0, int(math.floor((low_mm - x_first) / pitch)))
            last = min(columns - 1, int(math.floor((high_mm - x_first) / pitch)) + 1)
            if first > last:
                continue
            top, bottom = _widen(span, row, (first, last), (top, bottom), columns)
            for column in range(first, last + 1):
                dx = grid.x0_mm + (grid.column + column + 0.5) * pitch - ax
                along = dx * ux + dy * uy
                side = dy * ux - dx * uy
                over = 0.0
                if along < 0.0:
                    over = -along
                elif along > length:
                    over = along - length
                distance = side * side + over * over
                if over > 0.0 and (k > 0 or along > 0.0) and (k < count - 2 or along < 0.0):
                    along = min(max(along, 0.0), length)
                    side = math.copysign(math.sqrt(distance), side)
                if work.owner[row, column] != index or distance < work.best[row, column]:
                    work.owner[row, column] = index
                    work.best[row, column] = distance
                    work.across[row, column] = side
                    work.along[row, column] = travelled + along
        travelled += length
    return top, bottom, travelled


@njit(cache=True, nogil=True, inline="always")
def _bristles(along, across, half, weights, seed):  # type: ignore[no-untyped-def]
    """Return the relief of the bristle marks, about -1..1."""
    mark = 0.0
    if weights[0] > 0.0:
        mark += 0.50 * weights[0] * value_noise(across / (0.16 + 0.05 * half), along / (14.0 + 4.0 * half), seed)
    if weights[1] > 0.0:
        mark += 0.34 * weights[1] * value_noise(across / 0.11, along / 6.0, seed + 1)
    if weights[2] > 0.0:
        mark += 0.18 * weights[2] * value_noise(across / 0.035, along / 2.5, seed + 2)
    return mark


@njit(cache=True, nogil=True)
def _brush_share(place, brush, weights, seed):  # type: ignore[no-untyped-def]
    """Return paint thickness of a brush mark as a share of the load, and its bristle relief."""
    along, across, length = place
    half, soft = brush
    edge = half * (1.0 + 0.16 * value_noise(along / (2.2 * half + 0.3), 3.7, seed + 3))
    u = abs(across) / edge
    if u >= 1.0:
        return 0.0, 0.0
    mark = _bristles(along, across, half, weights, seed)
    ragged = half * 0.9 * value_noise(across / (0.35 * half + 0.05), 9.1, seed + 4)
    begin = smoothstep(-0.15 * half, 0.45 * half, along + ragged * 0.3)
    end = smoothstep(-0.2 * half, 0.7 * half, length - along + ragged * 0.5)
    ends = begin * end
    if ends <= 0.0:
        return 0.0, 0.0
    share = min(max(along / length, 0.0), 1.0)
    load = 0.80 * (1.0 - 0.55 * share**1.6)
    profile = (1.0 - u * u) ** (0.3 + 0.8 * soft)
    ridge = 1.0 + 0.45 * math.exp(-(((u - 0.84) / 0.12) ** 2)) * (1.0 - soft)
    press = u * u
    dry = 1.35 * mark + load - 0.42 + 0.2 * profile - (0.25 + 0.45 * soft) * press * press
    return profile * ridge * ends * max(0.0, 1.0 + 1.05 * mark) * smoothstep(-0.22, 0.22, dry), mark


@njit(cache=True, nogil=True)
def _charcoal_share(place, across, half, weights, seed):  # type: ignore[no-untyped-def]
    """Return how much of a charcoal line sits on the tooth of the ground."""
    x, y = place
    u = abs(across) / half
    if u >= 1.0:
        return 0.0
    grain = 0.55
    if weights[3] > 0.0:
        grain += 0.75 * weights[3] * value_noise(x / 0.16, y / 0.16, seed)
    if weights[2] > 0.0:
        grain += 0.45 * weights[2] * value_noise(x / 0.06, y / 0.06, seed + 1)
    return max(0.0, min(1.3, grain)) * (1.0 - u * u) ** 0.6


@njit(cache=True, nogil=True)
def _deposit(tile, paint, index, grid, claim):  # type: ignore[no-untyped-def]
    """Turn the claimed pixels of one stroke into paint."""
    work, area, half, thin = claim
    top, bottom, length = area
    strokes = paint.strokes
    span = work.span
    pitch = grid.pitch_mm
    kind = strokes.kind[index]
    film = paint.films[strokes.film[index]]
    seed = strokes.seed[index]
    soft = strokes.soft[index]
    thick = strokes.thick_um[index] * thin
    weights = (
        octave_weight(0.16 + 0.05 * half, pitch),
        octave_weight(0.11, pitch),
        octave_weight(0.035, pitch),
        octave_weight(0.16, pitch),
    )
    for row in range(top, bottom + 1):
        for column in range(span[row, 0], span[row, 1] + 1):
            if work.owner[row, column] != index:
                continue
            across = float(work.across[row, column])
            if abs(across) >= half * 1.17:
                continue
            along = float(work.along[row, column])
            if kind == CHARCOAL:
                x = grid.x0_mm + (grid.column + column + 0.5) * pitch
                y = grid.y0_mm + (grid.row + row + 0.5) * pitch
                if along < 0.0 or along > length:
                    continue
                share = _charcoal_share((x, y), across, half, weights, seed)
                mark = 0.0
            else:
                share, mark = _brush_share((along, across, length), (half, soft), weights, seed)
            if share <= 0.004:
                continue
            laid = share * thick
            _lay_film(tile[row, column], film, laid, mark)
            cover = min(1.0, laid / 12.0)
            tile[row, column, 8] = tile[row, column, 8] * (1.0 - 0.18 * cover) + laid


@njit(cache=True, nogil=True)
def lay_strokes(tile, paint, grid, span, hidden):  # type: ignore[no-untyped-def]
    """Lay the strokes ``span[0]``..``span[1]`` on a tile; kinds with ``hidden[kind]`` set are left out."""
    strokes = paint.strokes
    rows, columns = tile.shape[0], tile.shape[1]
    work = _Work(
        np.zeros((rows, 2), np.int32),
        np.full((rows, columns), -1, np.int32),
        np.empty((rows, columns), np.float32),
        np.empty((rows, columns), np.float32),
        np.empty((rows, columns), np.float32),
    )
    pitch = grid.pitch_mm
    left = grid.x0_mm + grid.column * pitch
    top = grid.y0_mm + grid.row * pitch
    right = left + columns * pitch
    bottom = top + rows * pitch
    for index in range(span[0], span[1]):
        box = strokes.box_mm[index]
        room = pitch
        if box[0] > right + room or box[2] < left - room or box[1] > bottom + room or box[3] < top - room:
            continue
        if hidden[strokes.kind[index]]:
            continue
        # Marks finer than a pixel are widened and thinned by the same factor.
        half = float(strokes.half_mm[index])
        wide = max(half, 0.55 * pitch)
        area = _claim(strokes, index, grid, wide * 1.2, work)
        if area[1] >= area[0]:
            _deposit(tile, paint, index, grid, (work, area, wide, half / wide))
