"""Seeded noise that depends on millimetres only, so that any tile repeats it exactly."""

import math

from numba import njit

__all__ = ["bell_noise", "cell_hash", "fractal_noise", "octave_weight", "smoothstep", "value_noise"]

_WORD = 0xFFFFFFFF


@njit(cache=True, nogil=True, inline="always")
def cell_hash(column: int, row: int, seed: int) -> int:
    """Return a 32-bit hash of a lattice cell."""
    word = (column * 374761393 + row * 668265263 + seed * 974634777) & _WORD
    word = ((word ^ (word >> 13)) * 1274126177) & _WORD
    word = ((word ^ (word >> 15)) * 739984753) & _WORD
    return word ^ (word >> 16)


@njit(cache=True, nogil=True, inline="always")
def smoothstep(low: float, high: float, value: float) -> float:
    """Return 0 below ``low``, 1 above ``high`` and a smooth rise between."""
    share = (value - low) / (high - low)
    if share <= 0.0:
        return 0.0
    if share >= 1.0:
        return 1.0
    return share * share * (3.0 - 2.0 * share)


@njit(cache=True, nogil=True)
def value_noise(x: float, y: float, seed: int) -> float:
    """Return value noise in -1..1 with a cell size of one."""
    column = math.floor(x)
    row = math.floor(y)
    right = x - column
    down = y - row
    right = right * right * (3.0 - 2.0 * right)
    down = down * down * (3.0 - 2.0 * down)
    ix = int(column)
    iy = int(row)
    top_left = cell_hash(ix, iy, seed)
    top_right = cell_hash(ix + 1, iy, seed)
    bottom_left = cell_hash(ix, iy + 1, seed)
    bottom_right = cell_hash(ix + 1, iy + 1, seed)
    top = top_left + (top_right - top_left) * right
    bottom = bottom_left + (bottom_right - bottom_left) * right
    return (top + (bottom - top) * down) * (2.0 / 4294967295.0) - 1.0


@njit(cache=True, nogil=True, inline="always")
def octave_weight(wavelength_mm: float, pitch_mm: float) -> float:
    """Return how much of a noise octave a pixel pitch may show without aliasing."""
    return smoothstep(2.0, 5.0, wavelength_mm / pitch_mm)


@njit(cache=True, nogil=True)
def fractal_noise(x: float, y: float, seed: int, octaves: int) -> float:
    """Return a sum of octaves, each half as strong and twice as fine; about -1..1."""
    total = 0.0
    strength = 0.5
    for octave in range(octaves):
        total += strength * value_noise(x, y, seed + 101 * octave)
        x = x * 2.03 + 17.1
        y = y * 2.03 - 9.7
        strength *= 0.5
    return total * 1.25


@njit(cache=True, nogil=True, inline="always")
def bell_noise(column: int, row: int, seed: int) -> float:
    """Return noise of mean 0 and standard deviation 1 for one pixel (sum of four uniforms)."""
    word = cell_hash(column, row, seed)
    total = (word & 255) + ((word >> 8) & 255) + ((word >> 16) & 255) + (word >> 24)
    # Four uniform bytes: mean 510, standard deviation sqrt(4 * (256**2 - 1) / 12) = 147.8.
    return (total - 510.0) / 147.8
