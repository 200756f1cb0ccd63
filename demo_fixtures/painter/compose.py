"""From the stack to what each modality shows, on the frame's own grid and before any camera."""

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
from demo_fixtures.painter.stack import HEIGHT, STACK_CHANNELS, XRAY, TileGrid, lay_strokes
from demo_fixtures.painter.strokes import OVERPAINT
from demo_fixtures.painter.support import Support, bare_wood
from demo_fixtures.painter.surface import STATES, Marks, Surface, build_marks, cross_cover, draw_marks, varnish_um

__all__ = [
    "HALO_PX",
    "Region",
    "Scene",
    "build_scene",
    "compose_infrared",
    "compose_luminescence",
    "compose_raking",
    "compose_visible",
    "compose_xray",
    "open_region",
]

HALO_PX = 24
_GROUND = (0.66, 0.60, 0.49, 0.74)
_CLOTH = (0.035, 0.036, 0.038, 0.06)


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


def open_region(scene: Scene, state: str, column: int, row: int, size: tuple[int, int]) -> Region:
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
    grime = cv2.GaussianBlur(crack, (0, 0), max(0.14 / grid.pitch_mm, 0.6))
    height = np.empty(shape, np.float32)
    _relief(height, paint[..., HEIGHT], crack, loss, hole, scene.plan.cupping_um, (grid, surface.is_filled))
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
    before = paint.copy()
    marker = np.zeros_like(paint)
    marker[..., 0] = 1.0
    plain = np.zeros_like(plan.films)
    plain[:, 4] = 0.25
    for tile, films in ((paint, plan.films), (marker, plain)):
        lay_strokes(tile, plan.later, films, grid, 0, len(plan.later.count), hidden)
    paint_and_mark = np.concatenate([paint, 1.0 - marker[..., :1]], axis=2)
    if surface.window_open:
        hidden[OVERPAINT] = True
        lay_strokes(before, plan.later, plan.films, grid, 0, len(plan.later.count), hidden)
        cleaned = np.concatenate([before, np.zeros_like(marker[..., :1])], axis=2)
        _open_window(paint_and_mark, cleaned, grid, plan.seed)
        paint[...] = paint_and_mark[..., :-1]
    return np.ascontiguousarray(paint_and_mark[..., -1])


@njit(cache=True, nogil=True)
def _open_window(paint, cleaned, grid, seed):
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
def _sample(small, x, y, pitch):
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
def _relief(height, paint_um, crack, loss, hole, cupping, settings):
    """Add cupping, cracks, losses, the join and the boards' relief to the paint's own height."""
    grid, is_filled = settings
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


@njit(cache=True, nogil=True, inline="always")
def _edge_share(x, y, pitch, seed):
    """Return the share of painted surface at a point near the ragged edge of the ground."""
    inside = min(min(x, 640.0 - x), min(y, 480.0 - y))
    if inside > 1.0:
        return 1.0
    inside += 0.16 * octave_weight(0.8, pitch) * value_noise(x / 0.8, y / 0.8, seed + 511)
    return min(max(inside / pitch + 0.5, 0.0), 1.0)


@njit(cache=True, nogil=True)
def _beyond(x, y, pitch, region, share, colour, bands):
    """Blend margin wood, the table below the panel and the registration crosses into a pixel."""
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
def _paint_colour(region, row, column, x, y, band):
    """Return one band of the painted surface with cracks, losses, fillings and holes."""
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
def _blanching(x, y, surface, seed):
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
def _visible_pixel(region, row, column, out):
    """Write linear R, G, B of one pixel in visible light."""
    grid = region.grid
    surface = region.surface
    pitch = grid.pitch_mm
    x = grid.x0_mm + (grid.column + column + 0.5) * pitch
    y = grid.y0_mm + (grid.row + row + 0.5) * pitch
    share = _edge_share(x, y, pitch, region.seed)
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
        milky = _blanching(x, y, surface, region.seed)
        varnish = varnish_um(x, y, pitch, surface.varnish_um, region.seed)
        dirt = surface.dirt * (0.75 + 0.5 * value_noise(x / 60.0, y / 45.0, region.seed + 542))
        for band in range(3):
            value = _paint_colour(region, row, column, x, y, band) * light * grain
            absorb = (0.0042, 0.0105, 0.0275)[band] * surface.yellowing * 1.24
            value = value * math.exp(-absorb * varnish) + surface.haze * (1.4, 1.1, 0.8)[band] * varnish / 17.0
            value += (0.30 - value) * 0.30 * milky * (0.9, 0.97, 1.05)[band]
            out[band] = value * (1.0 - dirt) + dirt * 0.03
    _beyond(x, y, pitch, region, share, out, _RGB)


_RGB = np.array([0, 1, 2])
_IR = np.array([3])


@njit(cache=True, nogil=True)
def _fill_visible(region, out):
    for row in range(out.shape[0]):
        for column in range(out.shape[1]):
            _visible_pixel(region, row, column, out[row, column])


def compose_visible(region: Region) -> NDArray[np.float32]:
    """Return linear R, G, B under two lamps."""
    out = np.zeros((*region.crack.shape, 3), np.float32)
    _fill_visible(region, out)
    return out


@njit(cache=True, nogil=True)
def _fill_infrared(region, out):
    pitch = region.grid.pitch_mm
    for row in range(out.shape[0]):
        y = region.grid.y0_mm + (region.grid.row + row + 0.5) * pitch
        for column in range(out.shape[1]):
            x = region.grid.x0_mm + (region.grid.column + column + 0.5) * pitch
            share = _edge_share(x, y, pitch, region.seed)
            if share > 0.0:
                out[row, column, 0] = _paint_colour(region, row, column, x, y, 3)
            _beyond(x, y, pitch, region, share, out[row, column], _IR)


def compose_infrared(region: Region) -> NDArray[np.float32]:
    """Return reflectance in 900-1700 nm; varnish and blanching are clear there."""
    out = np.zeros((*region.crack.shape, 1), np.float32)
    _fill_infrared(region, out)
    return out


@njit(cache=True, nogil=True)
def _luminescence_pixel(region, row, column, out):
    """Write the luminescence of one pixel under UV."""
    grid = region.grid
    surface = region.surface
    pitch = grid.pitch_mm
    x = grid.x0_mm + (grid.column + column + 0.5) * pitch
    y = grid.y0_mm + (grid.row + row + 0.5) * pitch
    share = _edge_share(x, y, pitch, region.seed)
    varnish = varnish_um(x, y, pitch, surface.varnish_um, region.seed)
    clear = math.exp(-varnish / 11.0)
    amber = value_noise(x / 70.0, y / 50.0, region.seed + 551)
    paint = region.paint[row, column]
    lost = region.loss[row, column] * (1.0 if not surface.is_filled else 0.0)
    patched = region.loss[row, column] if surface.is_filled else 0.0
    dark = (1.0 - 0.55 * min(1.0, region.crack[row, column])) * (1.0 - region.hole[row, column])
    milky = _blanching(x, y, surface, region.seed)
    green = (0.150, 0.205, 0.120)
    later = region.later[row, column]
    film = (
        (1.0 - math.exp(-varnish / 12.0)) * (1.0 if surface.yellowing > 0.5 else 0.25) * (1.0 - 0.72 * later)
    )
    for band in range(3):
        below = (paint[4 + band] + 0.012 * math.sqrt(max(paint[band], 0.0))) * (0.30 + 0.95 * clear)
        lit = math.sqrt(max(paint[band], 0.0))
        tint = green[band] * (1.0 + (0.16, 0.02, -0.14)[band] * amber)
        value = below + tint * film * (0.30 + 0.85 * lit)
        value += (0.030, 0.017, 0.044)[band] * later
        value += (0.16 - value) * 0.38 * milky * (0.85, 1.0, 1.1)[band]
        value += ((0.17, 0.165, 0.15)[band] - value) * lost
        value += ((0.030, 0.022, 0.042)[band] - value) * patched * 0.85
        out[band] = value * dark
    if share < 1.0:
        _uv_margin(x, y, pitch, region, share, out)


@njit(cache=True, nogil=True)
def _uv_margin(x, y, pitch, region, share, out):
    """Blend the faint margin and the white arms of the crosses into a luminescence pixel."""
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
def _fill_luminescence(region, out):
    for row in range(out.shape[0]):
        for column in range(out.shape[1]):
            _luminescence_pixel(region, row, column, out[row, column])


def compose_luminescence(region: Region) -> NDArray[np.float32]:
    """Return linear R, G, B of the light the surface gives back under UV."""
    out = np.zeros((*region.crack.shape, 3), np.float32)
    _fill_luminescence(region, out)
    return out


@njit(cache=True, nogil=True)
def _fill_raking(region, albedo, azimuth_rad, elevation_rad, out):
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
            board = 0.06 * (join / 240.0 + (0.5 if join < 0 else -0.5))
            fall = (1.0 - 0.34 * away) * (1.0 + board)
            light = (0.12 + 0.88 * max(0.0, min(facing, 3.0)) * shadow) * fall
            for band in range(3):
                out[row, column, band] = albedo[row, column, band] * light * 0.82


def compose_raking(region: Region, azimuth_deg: float, elevation_deg: float) -> NDArray[np.float32]:
    """Return linear R, G, B under one low lamp."""
    albedo = compose_visible(region)
    out = np.empty_like(albedo)
    _fill_raking(region, albedo, math.radians(azimuth_deg), math.radians(elevation_deg), out)
    return out


@njit(cache=True, nogil=True)
def _fill_xray(region, out):
    pitch = region.grid.pitch_mm
    for row in range(out.shape[0]):
        y = region.grid.y0_mm + (region.grid.row + row + 0.5) * pitch
        for column in range(out.shape[1]):
            x = region.grid.x0_mm + (region.grid.column + column + 0.5) * pitch
            value = region.paint[row, column, XRAY] * (1.0 - 0.55 * region.crack[row, column])
            lost = max(region.loss[row, column], region.hole[row, column])
            value += (0.02 - value) * lost
            value -= 0.10 * region.hole[row, column]
            share = _edge_share(x, y, pitch, region.seed)
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


def build_scene(plan: Plan, support: Support, raster: Raster) -> Scene:
    """Return what the modalities look at."""
    return Scene(plan, support, build_marks(plan.chips_mm), raster)
