"""What visible light, the infrared and X-rays make of a region, before any camera."""

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from demo_fixtures.painter.noise import octave_weight, smoothstep, value_noise
from demo_fixtures.painter.region import Region
from demo_fixtures.painter.stack import XRAY
from demo_fixtures.painter.support import bare_wood
from demo_fixtures.painter.surface import cross_cover, varnish_um

__all__ = ["blanching_share", "compose_infrared", "compose_visible", "compose_xray", "edge_share"]

_GROUND = (0.66, 0.60, 0.49, 0.74)
_CLOTH = (0.035, 0.036, 0.038, 0.06)
_RGB = np.array([0, 1, 2])
_IR = np.array([3])


@njit(cache=True, nogil=True, inline="always")
def edge_share(x, y, pitch, seed):  # type: ignore[no-untyped-def]
    """Return the share of painted surface at a point near the ragged edge of the ground."""
    inside = min(min(x, 640.0 - x), min(y, 480.0 - y))
    if inside > 1.0:
        return 1.0
    inside += 0.16 * octave_weight(0.8, pitch) * value_noise(x / 0.8, y / 0.8, seed + 511)
    return min(max(inside / pitch + 0.5, 0.0), 1.0)


@njit(cache=True, nogil=True)
def _beyond(place, region, share, colour, bands):  # type: ignore[no-untyped-def]
    """Blend margin wood, the table below the panel and the registration crosses into a pixel."""
    x, y, pitch = place
    if share < 1.0:
        wood = np.empty(4)
        if x > -8.0 and y > -8.0 and x < 648.0 and y < 488.0:
            bare_wood(x, y, pitch, region.support, wood)
        else:
            near = max(max(-8.0 - x, x - 648.0), max(-8.0 - y, y - 488.0))
            for band in range(4):
                wood[band] = _CLOTH[band] * (0.55 + 0.45 * smoothstep(0.0, 3.0, near))
        for band in range(bands.shape[0]):
            colour[band] += (wood[bands[band]] - colour[band]) * (1.0 - share)
        card, arms = cross_cover(x, y, pitch, region.marks)
        if card > 0.0:
            for band in range(bands.shape[0]):
                colour[band] += (0.022 - colour[band]) * card
                colour[band] += (0.88 - colour[band]) * arms


@njit(cache=True, nogil=True)
def _paint_colour(region, pixel, place, band):  # type: ignore[no-untyped-def]
    """Return one band of the painted surface with cracks, losses, fillings and holes."""
    row, column = pixel
    x, y = place
    surface = region.surface
    value = region.paint[row, column, band]
    infrared = band == 3
    dark = 0.055 if infrared else (0.030 if band == 0 else (0.024 if band == 1 else 0.018))
    cover = min(1.0, region.crack[row, column] * (0.75 if infrared else surface.crack_dark))
    grime = min(0.22, 0.55 * region.grime[row, column]) * (0.4 if infrared or surface.is_filled else 1.0)
    value *= 1.0 - grime
    value += (dark - value) * cover
    lost = region.loss[row, column]
    if lost > 0.0:
        bare = _GROUND[band] * (1.0 + 0.07 * value_noise(x / 0.5, y / 0.5, region.seed + 521))
        deep = smoothstep(0.25, 0.7, value_noise(x / 2.4, y / 1.3, region.seed + 522))
        bare += ((0.30, 0.20, 0.11, 0.42)[band] - bare) * deep
        if surface.is_filled:
            small = region.fill[min(max(int(y), 0), 479), min(max(int(x), 0), 639)]
            bare = 0.30 if infrared else small[band] * (1.0 + 0.04 * value_noise(x / 0.25, y / 1.2, region.seed + 523))
        value += (bare - value) * lost
    return value * (1.0 - 0.92 * region.hole[row, column])


@njit(cache=True, nogil=True)
def blanching_share(x, y, surface, seed):  # type: ignore[no-untyped-def]
    """Return the milkiness of the blanched passage, 0..1."""
    if surface.blanching == 0.0 or x < 50.0 or x > 170.0 or y < 288.0 or y > 352.0:
        return 0.0
    across = (x - 58.0) / 100.0
    top = 300.0 - 4.0 * across
    bottom = 345.0 - 7.0 * across
    inside = min(min(x - 60.0 - (y - 300.0) * 0.14, 158.0 - x - (338.0 - y) * 0.19), min(y - top, bottom - y))
    inside += 5.0 * value_noise(x / 14.0, y / 9.0, seed + 531) + 2.0 * value_noise(x / 4.0, y / 3.0, seed + 534)
    cloud = 0.62 + 0.38 * value_noise(x / 17.0, y / 11.0, seed + 532) + 0.20 * value_noise(x / 4.1, y / 3.3, seed + 533)
    return surface.blanching * smoothstep(-3.0, 12.0, inside) * max(0.0, cloud)


@njit(cache=True, nogil=True)
def _visible_pixel(region, row, column, out):  # type: ignore[no-untyped-def]
    """Write linear R, G, B of one pixel in visible light."""
    grid = region.grid
    surface = region.surface
    pitch = grid.pitch_mm
    x = grid.x0_mm + (grid.column + column + 0.5) * pitch
    y = grid.y0_mm + (grid.row + row + 0.5) * pitch
    share = edge_share(x, y, pitch, region.seed)
    if share > 0.0:
        height = region.height_um
        right = height[row, min(column + 1, height.shape[1] - 1)] - height[row, max(column - 1, 0)]
        down = height[min(row + 1, height.shape[0] - 1), column] - height[max(row - 1, 0), column]
        # Two unequal lamps: relief shows a little even in even light. Slopes in um per mm / 1000.
        light = 1.0 - (0.42 * right + 0.18 * down) / (2000.0 * pitch)
        light = min(max(light, 0.55), 1.5)
        grain = 1.0
        for size_mm, strength, turn in ((0.050, 0.07, 0.6), (0.021, 0.09, 1.1)):
            if octave_weight(size_mm, pitch) > 0.0:
                # Pigment grains: two turned lattices, so that no grid shows.
                u = (x * math.cos(turn) - y * math.sin(turn)) / size_mm
                v = (x * math.sin(turn) + y * math.cos(turn)) / size_mm
                grain += strength * octave_weight(size_mm, pitch) * value_noise(u, v, region.seed + 541)
        milky = blanching_share(x, y, surface, region.seed)
        varnish = varnish_um(x, y, pitch, surface.varnish_um, region.seed)
        dirt = surface.dirt * (0.75 + 0.5 * value_noise(x / 60.0, y / 45.0, region.seed + 542))
        for band in range(3):
            value = _paint_colour(region, (row, column), (x, y), band) * light * grain
            absorb = (0.0042, 0.0105, 0.0275)[band] * surface.yellowing * 1.24
            value = value * math.exp(-absorb * varnish) + surface.haze * (1.4, 1.1, 0.8)[band] * varnish / 17.0
            value += (0.30 - value) * 0.30 * milky * (0.9, 0.97, 1.05)[band]
            out[band] = value * (1.0 - dirt) + dirt * 0.03
    _beyond((x, y, pitch), region, share, out, _RGB)


@njit(cache=True, nogil=True)
def _fill_visible(region, out):  # type: ignore[no-untyped-def]
    for row in range(out.shape[0]):
        for column in range(out.shape[1]):
            _visible_pixel(region, row, column, out[row, column])


def compose_visible(region: Region) -> NDArray[np.float32]:
    """Return linear R, G, B under two lamps."""
    out = np.zeros((*region.crack.shape, 3), np.float32)
    _fill_visible(region, out)
    return out


@njit(cache=True, nogil=True)
def _fill_infrared(region, out):  # type: ignore[no-untyped-def]
    pitch = region.grid.pitch_mm
    for row in range(out.shape[0]):
        y = region.grid.y0_mm + (region.grid.row + row + 0.5) * pitch
        for column in range(out.shape[1]):
            x = region.grid.x0_mm + (region.grid.column + column + 0.5) * pitch
            share = edge_share(x, y, pitch, region.seed)
            if share > 0.0:
                out[row, column, 0] = _paint_colour(region, (row, column), (x, y), 3)
            _beyond((x, y, pitch), region, share, out[row, column], _IR)


def compose_infrared(region: Region) -> NDArray[np.float32]:
    """Return reflectance in 900-1700 nm; varnish and blanching are clear there."""
    out = np.zeros((*region.crack.shape, 1), np.float32)
    _fill_infrared(region, out)
    return out


@njit(cache=True, nogil=True)
def _fill_xray(region, out):  # type: ignore[no-untyped-def]
    pitch = region.grid.pitch_mm
    for row in range(out.shape[0]):
        y = region.grid.y0_mm + (region.grid.row + row + 0.5) * pitch
        for column in range(out.shape[1]):
            x = region.grid.x0_mm + (region.grid.column + column + 0.5) * pitch
            value = region.paint[row, column, XRAY] * (1.0 - 0.55 * region.crack[row, column])
            lost = max(region.loss[row, column], region.hole[row, column])
            value += (0.02 - value) * lost
            value -= 0.10 * region.hole[row, column]
            share = edge_share(x, y, pitch, region.seed)
            value *= share
            if share < 1.0:
                card, arms = cross_cover(x, y, pitch, region.marks)
                value += 0.03 * card + 1.3 * arms
            out[row, column, 0] = value


def compose_xray(region: Region) -> NDArray[np.float32]:
    """Return the absorption of paint and ground, the plane nearest the tube."""
    out = np.empty((*region.crack.shape, 1), np.float32)
    _fill_xray(region, out)
    return out
