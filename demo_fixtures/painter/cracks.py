"""Craquelure: cracks that grow along and across the grain until they meet another crack."""

import math
from typing import NamedTuple

import cv2
import numpy as np
from numba import njit
from numpy.typing import NDArray

from demo_fixtures.painter import motif
from demo_fixtures.painter.noise import cell_hash, smoothstep, value_noise

__all__ = ["CRACK_PITCH_MM", "Cracks", "crack_distance_mm", "draw_cracks", "grow_cracks"]

CRACK_PITCH_MM = 0.25
_STEP_MM = 0.45
_COLUMNS, _ROWS = 2560, 1920


class Cracks(NamedTuple):
    """Crack segments in mm: start, end and width, with the box that holds each."""

    ends_mm: NDArray[np.float32]
    width_mm: NDArray[np.float32]
    junctions_mm: NDArray[np.float32]


class _Growth(NamedTuple):
    """What grows: occupancy, segments, junctions, random counter; counts of segments, junctions, cracks."""

    taken: NDArray[np.int32]
    segments: NDArray[np.float32]
    junctions: NDArray[np.float32]
    state: NDArray[np.int64]
    counts: NDArray[np.int64]


@njit(cache=True)
def _uniform(state):  # type: ignore[no-untyped-def]
    """Return a number in 0..1 and advance the counter in ``state``."""
    state[0] += 1
    return cell_hash(state[0], state[0] >> 20, state[1]) / 4294967296.0


@njit(cache=True)
def _is_crowded(row, column, tag, taken):  # type: ignore[no-untyped-def]
    """Return whether another crack runs within a millimetre above or below."""
    for other in range(max(0, row - 4), min(_ROWS, row + 5)):
        here = taken[other, column]
        if here != 0 and here != tag:
            return True
    return False


@njit(cache=True)
def _grow_one(start, limits, growth):  # type: ignore[no-untyped-def]
    """Grow one crack; note where it met another one."""
    x, y, heading = start
    base, longest, width, tag = limits
    state, taken, segments, counts = growth.state, growth.taken, growth.segments, growth.counts
    crowded = 0
    length = 0.0
    strength = math.exp(0.35 * (_uniform(state) + _uniform(state) - 1.0) * 2.0)
    while length < longest and counts[0] < segments.shape[0]:
        heading += 0.16 * (_uniform(state) - 0.5) * 2.0 + 0.06 * (base - heading)
        if _uniform(state) < 0.20:
            heading += 0.75 * (_uniform(state) - 0.5) * 2.0 * _uniform(state)
        nx = x + math.cos(heading) * _STEP_MM
        ny = y + math.sin(heading) * _STEP_MM
        column = int(nx / CRACK_PITCH_MM)
        row = int(ny / CRACK_PITCH_MM)
        if nx < 0.0 or ny < 0.0 or column >= _COLUMNS or row >= _ROWS:
            return
        met = taken[row, column]
        taper = width * strength * (0.55 + 0.45 * min(1.0, (longest - length) / 6.0))
        made = segments[counts[0]]
        made[0], made[1], made[2], made[3] = x, y, nx, ny
        made[4] = taper * (0.85 + 0.3 * _uniform(state))
        counts[0] += 1
        if met != 0 and met != tag:
            if counts[1] < growth.junctions.shape[0]:
                growth.junctions[counts[1], 0] = nx
                growth.junctions[counts[1], 1] = ny
                counts[1] += 1
            return
        crowded = crowded + 1 if _is_crowded(row, column, tag, taken) else 0
        if crowded > 14:
            return
        taken[row, column] = tag
        taken[int((y + ny) * 0.5 / CRACK_PITCH_MM), int((x + nx) * 0.5 / CRACK_PITCH_MM)] = tag
        x, y = nx, ny
        length += _STEP_MM


@njit(cache=True)
def _grow_family(settings, density, growth):  # type: ignore[no-untyped-def]
    """Grow one family of cracks from random starts in both directions."""
    number, base_angle, longest, width = settings
    state, taken = growth.state, growth.taken
    for _ in range(int(number)):
        x = _uniform(state) * 640.0
        y = _uniform(state) * 480.0
        column, row = int(x / CRACK_PITCH_MM), int(y / CRACK_PITCH_MM)
        chance = density[min(row, _ROWS - 1), min(column, _COLUMNS - 1)]
        if _uniform(state) > chance:
            continue
        gap = int(1.6 / CRACK_PITCH_MM / max(chance, 0.35)) if base_angle < 0.5 else 0
        free = True
        for near in range(max(0, row - gap), min(_ROWS, row + gap + 1)):
            if taken[near, column] != 0:
                free = False
        if not free:
            continue
        growth.counts[2] += 1
        angle = base_angle + 0.35 * (_uniform(state) - 0.5)
        run = longest * (0.3 + 1.4 * _uniform(state))
        for side in range(2):
            back = math.pi * side
            _grow_one((x, y, angle + back), (base_angle + back, run * 0.5, width, growth.counts[2]), growth)


def _join_crack(seed: int) -> NDArray[np.float32]:
    """Return the crack A2 along the join, refined by midpoint displacement, vertices untouched."""
    random = np.random.default_rng([seed, 21])
    points = np.array(motif.CRACK_A2_MM)
    for roughness in (0.30, 0.16, 0.09, 0.05):
        middle = 0.5 * (points[1:] + points[:-1])
        middle[:, 1] += roughness * random.uniform(-1, 1, len(middle))
        points = np.insert(points, np.arange(1, len(points)), middle, axis=0)
    along = np.linspace(0, 9, len(points) - 1)
    width = motif.CRACK_A2_WIDTH_MM * (1.0 + 0.14 * np.sin(along * 1.7) + 0.08 * random.uniform(-1, 1, len(along)))
    return np.concatenate([points[:-1], points[1:], width[:, None]], axis=1).astype(np.float32)


def grow_cracks(lead_share: NDArray[np.float32], seed: int) -> Cracks:
    """Return all cracks; ``lead_share`` (0..1 on any grid) makes lead paint crack more densely."""
    lead = cv2.resize(lead_share, (_COLUMNS, _ROWS), interpolation=cv2.INTER_LINEAR)
    density = _density(seed)
    growth = _Growth(
        np.zeros((_ROWS, _COLUMNS), np.int32),
        np.zeros((420_000, 5), np.float32),
        np.zeros((40_000, 2), np.float32),
        np.array([0, seed * 7 + 3], np.int64),
        np.array([0, 0, 1], np.int64),
    )
    first = _join_crack(seed)
    growth.segments[: len(first)] = first
    growth.counts[0] = len(first)
    for x, y in first[:, :2]:
        growth.taken[int(y / CRACK_PITCH_MM), int(x / CRACK_PITCH_MM)] = 1
    along = np.minimum(density * (0.55 + 0.6 * lead), 1.0).astype(np.float32)
    hair = np.clip(lead * 1.5 - 0.4, 0, 1).astype(np.float32)
    _grow_family((9000, 0.0, 46.0, 0.051), along, growth)
    _grow_family((16000, math.pi / 2, 13.0, 0.035), along, growth)
    _grow_family((26000, math.pi / 2, 5.0, 0.016), hair, growth)
    made, met = int(growth.counts[0]), int(growth.counts[1])
    ends, width = growth.segments[:made, :4], growth.segments[:made, 4]
    return Cracks(np.ascontiguousarray(ends), np.ascontiguousarray(width), growth.junctions[:met].copy())


@njit(cache=True)
def _density(seed):  # type: ignore[no-untyped-def]
    """Return where cracks like to start: patches, quiet islands, more beside the join."""
    out = np.empty((_ROWS, _COLUMNS), np.float32)
    for row in range(_ROWS):
        y = row * CRACK_PITCH_MM
        for column in range(_COLUMNS):
            x = column * CRACK_PITCH_MM
            patch = value_noise(x / 90.0, y / 60.0, seed + 231) + 0.5 * value_noise(x / 34.0, y / 22.0, seed + 232)
            join = math.exp(-abs(y - 262.6) / 14.0)
            out[row, column] = max(0.0, min(1.0, 0.62 - 0.42 * patch + 0.5 * join)) * (1.0 if patch < 1.0 else 0.0)
    return out


def crack_distance_mm(cracks: Cracks) -> NDArray[np.float32]:
    """Return the distance to the nearest crack on the crack grid."""
    free = np.full((_ROWS, _COLUMNS), 255, np.uint8)
    lines = np.rint(cracks.ends_mm / CRACK_PITCH_MM * 16 - 8).astype(np.int32).reshape(-1, 2, 1, 2)
    wide = cracks.width_mm > 0.025
    for line in lines[wide]:
        cv2.polylines(free, [line], False, 0, 1, cv2.LINE_8, 4)
    return cv2.distanceTransform(free, cv2.DIST_L2, 5) * CRACK_PITCH_MM


@njit(cache=True, nogil=True)
def draw_cracks(cover, ends_mm, width_mm, grid, seed):  # type: ignore[no-untyped-def]
    """Fill ``cover`` with the share of each pixel that lies inside a crack (exact box coverage)."""
    rows, columns = cover.shape
    pitch = grid.pitch_mm
    x_first = grid.x0_mm + (grid.column + 0.5) * pitch
    y_first = grid.y0_mm + (grid.row + 0.5) * pitch
    weights = (
        smoothstep(2.0, 5.0, 0.8 / pitch),
        smoothstep(2.0, 5.0, 0.27 / pitch),
        smoothstep(2.0, 5.0, 0.09 / pitch),
    )
    for index in range(ends_mm.shape[0]):
        width = width_mm[index]
        reach = 0.5 * width + 0.75 * pitch + 0.12
        ax, ay, bx, by = ends_mm[index, 0], ends_mm[index, 1], ends_mm[index, 2], ends_mm[index, 3]
        row_low = max(0, int(math.ceil((min(ay, by) - reach - y_first) / pitch)))
        row_high = min(rows - 1, int(math.floor((max(ay, by) + reach - y_first) / pitch)))
        column_low = max(0, int(math.ceil((min(ax, bx) - reach - x_first) / pitch)))
        column_high = min(columns - 1, int(math.floor((max(ax, bx) + reach - x_first) / pitch)))
        dx, dy = bx - ax, by - ay
        square = dx * dx + dy * dy + 1e-12
        for row in range(row_low, row_high + 1):
            for column in range(column_low, column_high + 1):
                x = grid.x0_mm + (grid.column + column + 0.5) * pitch
                y = grid.y0_mm + (grid.row + row + 0.5) * pitch
                if weights[0] > 0.0:
                    x, y = _wobble(x, y, weights, seed)
                share = min(max(((x - ax) * dx + (y - ay) * dy) / square, 0.0), 1.0)
                away = math.sqrt((x - ax - share * dx) ** 2 + (y - ay - share * dy) ** 2)
                inside = min(away + 0.5 * width, 0.5 * pitch) - max(away - 0.5 * width, -0.5 * pitch)
                part = inside / pitch
                if part > cover[row, column]:
                    cover[row, column] = part


@njit(cache=True, nogil=True)
def _wobble(x, y, weights, seed):  # type: ignore[no-untyped-def]
    """Return coordinates bent by fine noise, so that cracks do not look ruled."""
    wx = 0.06 * weights[0] * value_noise(x / 0.8, y / 0.8, seed + 241)
    wy = 0.06 * weights[0] * value_noise(x / 0.8, y / 0.8, seed + 242)
    if weights[1] > 0.0:
        wx += 0.04 * weights[1] * value_noise(x / 0.27, y / 0.27, seed + 243)
        wy += 0.04 * weights[1] * value_noise(x / 0.27, y / 0.27, seed + 244)
    if weights[2] > 0.0:
        wx += 0.016 * weights[2] * value_noise(x / 0.09, y / 0.09, seed + 245)
        wy += 0.016 * weights[2] * value_noise(x / 0.09, y / 0.09, seed + 246)
    return x + wx, y + wy
