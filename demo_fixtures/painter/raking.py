"""Raking light: the relief of a region under one low lamp, with the shadows it casts."""

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from demo_fixtures.painter.compose import compose_visible
from demo_fixtures.painter.noise import smoothstep, value_noise
from demo_fixtures.painter.region import HALO_PX, Region

__all__ = ["compose_raking"]


@njit(cache=True, nogil=True)
def _fill_raking(region, albedo, azimuth_rad, elevation_rad, out):  # type: ignore[no-untyped-def]
    """Shade the relief from one low lamp, with cast shadows."""
    height = region.height_um
    pitch_um = region.grid.pitch_mm * 1000.0
    # Azimuth clockwise from the top of the painting: the direction in which the lamp stands.
    to_x, to_y = math.sin(azimuth_rad), -math.cos(azimuth_rad)
    slope_limit = math.tan(elevation_rad)
    sine, cosine = math.sin(elevation_rad), math.cos(elevation_rad)
    rows, columns = height.shape
    reach = max(2, min(HALO_PX - 2, int(900.0 / pitch_um)))
    for row in range(rows):
        for column in range(columns):
            here = height[row, column]
            dx = (height[row, min(column + 1, columns - 1)] - height[row, max(column - 1, 0)]) / (2.0 * pitch_um)
            dy = (height[min(row + 1, rows - 1), column] - height[max(row - 1, 0), column]) / (2.0 * pitch_um)
            facing = (sine - cosine * (dx * to_x + dy * to_y)) / math.sqrt(1.0 + dx * dx + dy * dy) / sine
            blocked = 0.0
            for step in range(1, reach + 1):
                px, py = column + to_x * step, row + to_y * step
                i = min(max(int(px + 0.5), 0), columns - 1)
                j = min(max(int(py + 0.5), 0), rows - 1)
                rise = (height[j, i] - here) / (step * pitch_um)
                blocked = max(blocked, rise / slope_limit)
            shadow = 1.0 - 0.85 * smoothstep(0.75, 1.25, blocked)
            x = region.grid.x0_mm + (region.grid.column + column + 0.5) * region.grid.pitch_mm
            y = region.grid.y0_mm + (region.grid.row + row + 0.5) * region.grid.pitch_mm
            away = -(to_x * (x - 320.0) + to_y * (y - 240.0)) / 400.0
            # Each board curves by about 2 mm over its width and meets the lamp at its own angle.
            join = y - 262.0 - 1.2 * x / 640.0
            board = 0.20 * (join / 240.0 + (0.5 if join < 0 else -0.5))
            wave = 0.10 * value_noise(x / 130.0, y / 34.0, region.seed + 561)
            fall = (1.0 - 0.48 * away) * (1.0 + board + wave)
            light = (0.06 + 0.94 * max(0.0, min(facing, 3.0)) * shadow) * fall
            for band in range(3):
                out[row, column, band] = albedo[row, column, band] * light * 0.82


def compose_raking(region: Region, *, azimuth_deg: float, elevation_deg: float) -> NDArray[np.float32]:
    """Return linear R, G, B under one low lamp."""
    albedo = compose_visible(region)
    out = np.empty_like(albedo)
    _fill_raking(region, albedo, math.radians(azimuth_deg), math.radians(elevation_deg), out)
    return out
