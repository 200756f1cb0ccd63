"""The oak panel: rings, vessels, worm channels, battens and nails, as the radiograph sees them."""

import math
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from demo_fixtures.painter.noise import cell_hash, fractal_noise, octave_weight, smoothstep, value_noise

__all__ = ["Support", "back_absorption", "bare_wood", "build_support", "oak_density", "wood_absorption"]

_OAK_PER_MM = 0.060
_THICKNESS_MM = 9.0


class Support(NamedTuple):
    """Ring tables of the two boards and everything inside and behind them."""

    ring_edge_mm: NDArray[np.float64]
    ring_dark: NDArray[np.float64]
    channels: NDArray[np.float64]
    channel_cells: NDArray[np.int64]
    nails: NDArray[np.float64]
    battens: NDArray[np.float64]
    dowels: NDArray[np.float64]
    seed: int


def build_support(seed: int) -> Support:
    """Return the panel of a seed."""
    random = np.random.default_rng([seed, 41])
    widths = np.clip(
        np.exp(0.38 * random.standard_normal(420)) * 1.55 * (1 + 0.35 * np.sin(np.arange(420) / 23.0)), 0.5, 5.0
    )
    edges = np.concatenate([[0.0], np.cumsum(widths)])
    dark = random.uniform(0.35, 1.0, len(edges))
    channels = []
    for _ in range(26):
        x, y = random.uniform(20, 620), random.uniform(275, 470)
        heading = random.uniform(0, 2 * np.pi)
        radius = random.uniform(0.5, 0.85)
        for _step in range(int(random.uniform(8, 46))):
            heading += 0.35 * random.standard_normal()
            nx, ny = x + 2.2 * np.cos(heading), y + 1.5 * np.sin(heading)
            channels.append((x, y, nx, ny, radius))
            x, y = nx, ny
    battens = np.array([[124.5, 28.0, 165.5, 452.0, 0.7], [471.0, 27.0, 513.5, 453.0, -0.5]])
    nails = []
    for left, _top, right, _bottom, _skew in battens:
        for y in (54.0, 152.0, 232.0, 330.0, 418.0):
            x = 0.5 * (left + right) + random.uniform(-12, 12)
            nails.append(
                (
                    x,
                    y + random.uniform(-8, 8),
                    random.uniform(2.6, 3.4),
                    random.uniform(0, 2 * np.pi),
                    random.uniform(5, 11),
                )
            )
    dowels = np.array([[83.0, 30.0], [321.0, 34.0], [563.0, 31.0]])
    tunnels = np.array(channels)
    return Support(edges, dark, tunnels, _cells(tunnels), np.array(nails), battens, dowels, seed)


def _cells(channels: NDArray[np.float64]) -> NDArray[np.int64]:
    """Return, for each cell of 8 mm, the numbers of the channel pieces near it (-1 = none)."""
    found: dict[tuple[int, int], list[int]] = {}
    for index, (x0, y0, x1, y1, radius) in enumerate(channels):
        for row in range(int((min(y0, y1) - radius + 16) // 8), int((max(y0, y1) + radius + 16) // 8) + 1):
            for column in range(int((min(x0, x1) - radius + 16) // 8), int((max(x0, x1) + radius + 16) // 8) + 1):
                found.setdefault((row, column), []).append(index)
    cells = np.full((70, 90, max(map(len, found.values()))), -1, np.int64)
    for (row, column), numbers in found.items():
        if 0 <= row < 70 and 0 <= column < 90:
            cells[row, column, : len(numbers)] = numbers
    return cells


@njit(cache=True, nogil=True)
def _ring(coordinate, support):  # type: ignore[no-untyped-def]
    """Return the place inside a ring (0 = early wood) and its contrast."""
    place = min(max(abs(coordinate), 0.0), support.ring_edge_mm[-1] - 0.01)
    index = np.searchsorted(support.ring_edge_mm, place) - 1
    index = max(index, 0)
    width = support.ring_edge_mm[index + 1] - support.ring_edge_mm[index]
    return (place - support.ring_edge_mm[index]) / width, support.ring_dark[index]


@njit(cache=True, nogil=True)
def oak_density(x, y, pitch, support):  # type: ignore[no-untyped-def]
    """Return the density of oak at a point, about 0.8..1.25."""
    join = 262.0 + 1.2 * x / 640.0
    seed = support.seed
    away = y - join
    board = 0.0 if away < 0 else 1.0
    warp = 5.5 * value_noise(x / 260.0, away / 160.0 + board * 9.0, seed + 301) + 1.1 * value_noise(
        x / 70.0, away / 40.0, seed + 302
    )
    coordinate = away * (1.0 + 0.12 * board) + warp + (400.0 if away < 0 else 9.0)
    place, dark = _ring(coordinate, support)
    fade = octave_weight(1.6, pitch)
    rings = (0.5 - smoothstep(0.0, 0.22, place) + 0.55 * smoothstep(0.3, 1.0, place)) * dark * fade
    density = 1.0 + 0.16 * rings + 0.05 * fractal_noise(x / 55.0, away / 5.0, seed + 303, 2)
    if place < 0.42:
        fine = octave_weight(0.32, pitch)
        if fine > 0.0:
            vessel = value_noise(x / 3.2, away / 0.16, seed + 304)
            density -= 0.22 * fine * smoothstep(0.35, 0.75, vessel)
    ray = value_noise(x / 0.6, away / 9.0, seed + 305)
    density += 0.03 * octave_weight(0.6, pitch) * smoothstep(0.4, 0.8, ray)
    return density


@njit(cache=True, nogil=True)
def bare_wood(x, y, pitch, support, out):  # type: ignore[no-untyped-def]
    """Write the colour (R G B IR) of the bare oak margin."""
    density = oak_density(x, y, pitch, support)
    shade = 1.0 - 1.1 * (density - 1.0)
    age = 0.9 + 0.15 * value_noise(x / 30.0, y / 12.0, support.seed + 306)
    out[0] = 0.20 * shade * age
    out[1] = 0.125 * shade * age
    out[2] = 0.068 * shade * age
    out[3] = 0.46 * shade


@njit(cache=True, nogil=True)
def _hollow_mm(x, y, support):  # type: ignore[no-untyped-def]
    """Return the depth of wood missing in worm channels and the join."""
    depth = 0.0
    cell = support.channel_cells[min(max(int((y + 16.0) / 8.0), 0), 69), min(max(int((x + 16.0) / 8.0), 0), 89)]
    for index in cell:
        if index < 0:
            break
        c = support.channels[index]
        dx, dy = c[2] - c[0], c[3] - c[1]
        share = min(max(((x - c[0]) * dx + (y - c[1]) * dy) / (dx * dx + dy * dy), 0.0), 1.0)
        away = ((x - c[0] - share * dx) ** 2 + (y - c[1] - share * dy) ** 2) / (c[4] * c[4])
        if away < 1.0:
            depth = max(depth, 1.7 * c[4] * math.sqrt(1.0 - away))
    join = y - 262.0 - 1.2 * x / 640.0 - 0.12 * value_noise(x / 9.0, 1.0, support.seed + 311)
    depth += 2.4 * math.exp(-((join / 0.20) ** 2)) * (0.7 + 0.3 * value_noise(x / 20.0, 5.0, support.seed + 312))
    return depth


@njit(cache=True, nogil=True)
def wood_absorption(x, y, pitch, support):  # type: ignore[no-untyped-def]
    """Return the absorption of the panel itself at a point of its middle plane."""
    if x < -8.0 or y < -8.0 or x > 648.0 or y > 488.0:
        return 0.0
    edge = min(min(x + 8.0, 648.0 - x), min(y + 8.0, 488.0 - y))
    thick = (
        5.0
        + (_THICKNESS_MM - 5.0) * smoothstep(0.0, 34.0, edge)
        + 0.35 * value_noise(x / 48.0, y / 15.0, support.seed + 313)
    )
    # Plane and adze marks of the back.
    thick += 0.16 * octave_weight(5.0, pitch) * value_noise(x / 60.0, y / 7.0, support.seed + 314)
    for index in range(support.dowels.shape[0]):
        away_x = abs(x - support.dowels[index, 0])
        away_y = abs(y - 262.6)
        if away_x < 4.4 and away_y < support.dowels[index, 1]:
            thick += 1.3 * math.sqrt(1.0 - (away_x / 4.4) ** 2)
    return _OAK_PER_MM * oak_density(x, y, pitch, support) * max(0.0, thick - _hollow_mm(x, y, support))


@njit(cache=True, nogil=True)
def back_absorption(x, y, pitch, support):  # type: ignore[no-untyped-def]
    """Return the absorption of battens and nails at a point of the plane behind the panel."""
    total = 0.0
    for index in range(support.battens.shape[0]):
        b = support.battens[index]
        lean = b[4] * (y - 240.0) / 200.0
        inside = min(min(x - b[0] - lean, b[2] + lean * 0.6 - x), min(y - b[1], b[3] - y))
        wobble = 0.5 * value_noise(y / 30.0, index * 3.0, support.seed + 321)
        inside += wobble
        if inside > 0.0:
            chamfer = 6.0 + 3.5 * min(1.0, inside / 5.0)
            grain = 1.0 + 0.10 * value_noise(x / 1.1, y / 60.0, support.seed + 322) * octave_weight(1.1, pitch)
            grain += 0.06 * value_noise(x / 4.0, y / 90.0, support.seed + 323)
            total += _OAK_PER_MM * 0.95 * chamfer * grain
    for index in range(support.nails.shape[0]):
        total += _nail(
            x - support.nails[index, 0], y - support.nails[index, 1], support.nails[index], index, support.seed
        )
    return total


@njit(cache=True, nogil=True)
def _nail(dx, dy, nail, index, seed):  # type: ignore[no-untyped-def]
    """Return the absorption of a hand-made nail: faceted head, bent and tapering shank."""
    if abs(dx) > 16.0 or abs(dy) > 16.0:
        return 0.0
    radius = math.sqrt(dx * dx + dy * dy)
    angle = math.atan2(dy, dx)
    rim = nail[2] * (1.0 + 0.13 * value_noise(angle * 1.6, index * 5.0, seed + 331))
    total = 0.0
    if radius < rim:
        total += 1.5 + 0.7 * smoothstep(rim, rim * 0.4, radius)
    cos, sin = math.cos(nail[3]), math.sin(nail[3])
    along = dx * cos + dy * sin
    across = -dx * sin + dy * cos + 0.02 * along * along
    if along > 0.0 and along < nail[4]:
        half = 0.85 * (1.0 - 0.75 * along / nail[4])
        if abs(across) < half:
            total = max(total, 1.5 * math.sqrt(1.0 - (across / half) ** 2) + 0.3)
    rust = 0.10 * math.exp(-max(radius - rim, 0.0) / 1.2) * (1.0 + 0.5 * (cell_hash(index, 3, seed) & 1))
    return total + rust
