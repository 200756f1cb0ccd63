"""Brush strokes as vectors, and how a brush follows the form it paints."""

import math
from typing import Any, NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from demo_fixtures.painter.noise import cell_hash, value_noise

__all__ = [
    "BRUSH",
    "CANDLESTICK",
    "CHARCOAL",
    "FIRST_LIP",
    "OVERPAINT",
    "PATH_POINTS",
    "RETOUCH",
    "Brush",
    "Field",
    "Marking",
    "Strokes",
    "concatenate_strokes",
    "make_strokes",
    "mark_covered",
    "noise_map",
    "trace_paths",
]

PATH_POINTS = 10
BRUSH, CHARCOAL, CANDLESTICK, FIRST_LIP, OVERPAINT, RETOUCH = range(6)


class Strokes(NamedTuple):
    """Strokes in the order they were laid; lengths in mm, thickness in um."""

    xy_mm: NDArray[np.float32]
    points: NDArray[np.int32]
    box_mm: NDArray[np.float32]
    half_mm: NDArray[np.float32]
    thick_um: NDArray[np.float32]
    soft: NDArray[np.float32]
    film: NDArray[np.int32]
    kind: NDArray[np.int32]
    seed: NDArray[np.int32]


class Brush(NamedTuple):
    """One brush as a pass uses it."""

    width_mm: float
    length_mm: float
    thick_um: float
    soft: float


class Field(NamedTuple):
    """What steers a brush: doubled direction, tone and object at the cartoon's pitch."""

    cos2: NDArray[np.float32]
    sin2: NDArray[np.float32]
    tone: NDArray[np.float32]
    inside: NDArray[np.bool_]
    pitch_mm: float
    drift: float = 0.10
    wander_mm: float = 0.3


class Marking(NamedTuple):
    """How strokes are laid: half width, thickness, softness, film and kind; scalars serve all of them."""

    half_mm: NDArray[np.floating[Any]] | float
    thick_um: NDArray[np.floating[Any]] | float
    soft: float
    film: NDArray[np.int64] | int
    kind: int
    seed: int


def make_strokes(xy_mm: NDArray[np.float32], count: NDArray[np.int32], *, marking: Marking) -> Strokes:
    """Return strokes from paths."""
    number = len(xy_mm)

    def spread(values: Any, dtype: Any) -> NDArray[Any]:
        return np.ascontiguousarray(np.broadcast_to(np.asarray(values, dtype=dtype), (number,)))

    half = spread(marking.half_mm, np.float32)
    used = np.arange(xy_mm.shape[1])[None, :] < count[:, None]
    low = np.where(used[..., None], xy_mm, np.float32(1e9)).min(axis=1) if number else np.zeros((0, 2))
    high = np.where(used[..., None], xy_mm, np.float32(-1e9)).max(axis=1) if number else np.zeros((0, 2))
    # The widest edge is 1.2 half widths; the rest is room for coarse pixels.
    pad = half[:, None] * 1.35 + 0.05
    box = np.concatenate([low - pad, high + pad], axis=1).astype(np.float32)
    seeds = (np.arange(number, dtype=np.int64) * 7919 + marking.seed * 104729) % 2147483000
    return Strokes(
        np.ascontiguousarray(xy_mm, dtype=np.float32),
        count.astype(np.int32),
        box,
        half,
        spread(marking.thick_um, np.float32),
        spread(marking.soft, np.float32),
        spread(marking.film, np.int32),
        spread(marking.kind, np.int32),
        seeds.astype(np.int32),
    )


def concatenate_strokes(parts: list[Strokes]) -> Strokes:
    """Return several groups as one, in order."""
    return Strokes(*(np.concatenate(columns) for columns in zip(*parts, strict=True)))


@njit(cache=True, nogil=True)
def _walk(start, heading, run, field, out):  # type: ignore[no-untyped-def]
    """Fill ``out`` with points of one half of a path and return how many were made."""
    x, y = start
    steps, step_mm = run
    rows, columns = field.tone.shape
    tone = field.tone[int(y / field.pitch_mm), int(x / field.pitch_mm)]
    outside = 0.0
    for step in range(steps):
        column = min(max(int(x / field.pitch_mm), 0), columns - 1)
        row = min(max(int(y / field.pitch_mm), 0), rows - 1)
        angle = 0.5 * math.atan2(field.sin2[row, column], field.cos2[row, column])
        dx = math.cos(angle)
        dy = math.sin(angle)
        if dx * heading[0] + dy * heading[1] < 0.0:
            dx, dy = -dx, -dy
        dx = 0.55 * dx + 0.45 * heading[0]
        dy = 0.55 * dy + 0.45 * heading[1]
        length = math.sqrt(dx * dx + dy * dy) + 1e-9
        heading = (dx / length, dy / length)
        x += heading[0] * step_mm
        y += heading[1] * step_mm
        if x < -9.0 or y < -9.0 or x > columns * field.pitch_mm + 9.0 or y > rows * field.pitch_mm + 9.0:
            return step
        column = min(max(int(x / field.pitch_mm), 0), columns - 1)
        row = min(max(int(y / field.pitch_mm), 0), rows - 1)
        if not field.inside[row, column]:
            outside += step_mm
            if outside > field.wander_mm:
                return step
        elif abs(field.tone[row, column] - tone) > field.drift:
            return step
        out[step, 0] = x
        out[step, 1] = y
    return steps


@njit(cache=True, nogil=True)
def trace_paths(sites_mm, aims, field, paths, counts):  # type: ignore[no-untyped-def]
    """Fill ``paths`` and ``counts``: each brush runs both ways from its site along the field.

    ``aims`` holds the turn against the field (rad) and the length (mm) of each stroke.
    """
    turn_rad, length_mm = aims
    rows, columns = field.tone.shape
    half = PATH_POINTS // 2
    ahead = np.empty((half, 2), np.float32)
    behind = np.empty((half - 1, 2), np.float32)
    for index in range(sites_mm.shape[0]):
        x = sites_mm[index, 0]
        y = sites_mm[index, 1]
        column = min(max(int(x / field.pitch_mm), 0), columns - 1)
        row = min(max(int(y / field.pitch_mm), 0), rows - 1)
        angle = 0.5 * math.atan2(field.sin2[row, column], field.cos2[row, column]) + turn_rad[index]
        heading = (math.cos(angle), math.sin(angle))
        step_mm = length_mm[index] / (PATH_POINTS - 1)
        made = _walk((x, y), heading, (half, step_mm), field, ahead)
        back = _walk((x, y), (-heading[0], -heading[1]), (half - 1, step_mm), field, behind)
        for k in range(back):
            paths[index, k, 0] = behind[back - 1 - k, 0]
            paths[index, k, 1] = behind[back - 1 - k, 1]
        paths[index, back, 0] = x
        paths[index, back, 1] = y
        for k in range(made):
            paths[index, back + 1 + k, 0] = ahead[k, 0]
            paths[index, back + 1 + k, 1] = ahead[k, 1]
        total = back + 1 + made
        if total == 1:
            # A dab: too short to run, but a brush always has some length.
            dab_mm = min(step_mm * 1.4, field.wander_mm + 0.3)
            paths[index, 1, 0] = x + heading[0] * dab_mm
            paths[index, 1, 1] = y + heading[1] * dab_mm
            total = 2
        if cell_hash(index, total, 17) & 1:
            for k in range(total // 2):
                for axis in range(2):
                    kept = paths[index, k, axis]
                    paths[index, k, axis] = paths[index, total - 1 - k, axis]
                    paths[index, total - 1 - k, axis] = kept
        counts[index] = total


@njit(cache=True, nogil=True)
def mark_covered(xy_mm, counts, half_mm, pitch_mm, covered):  # type: ignore[no-untyped-def]
    """Mark the cartoon pixels that the middle half of each stroke covers."""
    rows, columns = covered.shape
    for index in range(xy_mm.shape[0]):
        radius = half_mm[index] * 0.6
        for k in range(counts[index] - 1):
            ax, ay = xy_mm[index, k, 0], xy_mm[index, k, 1]
            bx, by = xy_mm[index, k + 1, 0] - ax, xy_mm[index, k + 1, 1] - ay
            steps = int(math.sqrt(bx * bx + by * by) / max(radius, pitch_mm * 0.5)) + 1
            for step in range(steps):
                x = ax + bx * step / steps
                y = ay + by * step / steps
                for row in range(max(0, int((y - radius) / pitch_mm)), min(rows, int((y + radius) / pitch_mm) + 1)):
                    for column in range(
                        max(0, int((x - radius) / pitch_mm)), min(columns, int((x + radius) / pitch_mm) + 1)
                    ):
                        covered[row, column] = True


@njit(cache=True, nogil=True)
def noise_map(rows, columns, pitch_mm, wavelength_mm, seed):  # type: ignore[no-untyped-def]
    """Return value noise on the cartoon's pixels; the wavelength may differ along x and y."""
    out = np.empty((rows, columns), np.float32)
    for row in range(rows):
        for column in range(columns):
            out[row, column] = value_noise(
                (column + 0.5) * pitch_mm / wavelength_mm[0], (row + 0.5) * pitch_mm / wavelength_mm[1], seed
            )
    return out
