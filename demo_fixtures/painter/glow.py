"""What a region gives back under ultraviolet light."""

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from demo_fixtures.painter.compose import blanching_share, edge_share
from demo_fixtures.painter.noise import value_noise
from demo_fixtures.painter.region import Region
from demo_fixtures.painter.support import bare_wood
from demo_fixtures.painter.surface import cross_cover, varnish_um

__all__ = ["compose_luminescence"]


@njit(cache=True, nogil=True)
def _luminescence_pixel(region, row, column, out):  # type: ignore[no-untyped-def]
    """Write the luminescence of one pixel under UV."""
    grid = region.grid
    surface = region.surface
    pitch = grid.pitch_mm
    x = grid.x0_mm + (grid.column + column + 0.5) * pitch
    y = grid.y0_mm + (grid.row + row + 0.5) * pitch
    share = edge_share(x, y, pitch, region.seed)
    varnish = varnish_um(x, y, pitch, surface.varnish_um, region.seed)
    clear = math.exp(-varnish / 11.0)
    amber = value_noise(x / 70.0, y / 50.0, region.seed + 551)
    paint = region.paint[row, column]
    lost = region.loss[row, column] * (1.0 if not surface.is_filled else 0.0)
    patched = region.loss[row, column] if surface.is_filled else 0.0
    dark = (1.0 - 0.55 * min(1.0, region.crack[row, column])) * (1.0 - region.hole[row, column])
    milky = blanching_share(x, y, surface, region.seed)
    green = (0.150, 0.205, 0.120)
    later = region.later[row, column]
    film = (1.0 - math.exp(-varnish / 12.0)) * (1.0 if surface.yellowing > 0.5 else 0.25) * (1.0 - 0.88 * later)
    for band in range(3):
        below = (paint[4 + band] + 0.012 * math.sqrt(max(paint[band], 0.0))) * (0.30 + 0.95 * clear)
        lit = math.sqrt(max(paint[band], 0.0))
        tint = green[band] * (1.0 + (0.16, 0.02, -0.14)[band] * amber)
        value = below + tint * film * (0.30 + 0.85 * lit)
        value += (0.018, 0.011, 0.027)[band] * later
        value += (0.16 - value) * 0.38 * milky * (0.85, 1.0, 1.1)[band]
        value += ((0.17, 0.165, 0.15)[band] - value) * lost
        value += ((0.030, 0.022, 0.042)[band] - value) * patched * 0.85
        out[band] = value * dark
    if share < 1.0:
        _uv_margin((x, y, pitch), region, share, out)


@njit(cache=True, nogil=True)
def _uv_margin(place, region, share, out):  # type: ignore[no-untyped-def]
    """Blend the faint margin and the white arms of the crosses into a luminescence pixel."""
    x, y, pitch = place
    wood = np.empty(4)
    on_panel = x > -8.0 and y > -8.0 and x < 648.0 and y < 488.0
    if on_panel:
        bare_wood(x, y, pitch, region.support, wood)
    card, arms = cross_cover(x, y, pitch, region.marks)
    for band in range(3):
        bare = wood[1] * (0.30, 0.30, 0.32)[band] if on_panel else 0.004
        out[band] += (bare - out[band]) * (1.0 - share)
        out[band] += (0.004 - out[band]) * card
        out[band] += ((0.20, 0.23, 0.30)[band] - out[band]) * arms


@njit(cache=True, nogil=True)
def _fill_luminescence(region, out):  # type: ignore[no-untyped-def]
    for row in range(out.shape[0]):
        for column in range(out.shape[1]):
            _luminescence_pixel(region, row, column, out[row, column])


def compose_luminescence(region: Region) -> NDArray[np.float32]:
    """Return linear R, G, B of the light the surface gives back under UV."""
    out = np.zeros((*region.crack.shape, 3), np.float32)
    _fill_luminescence(region, out)
    return out
