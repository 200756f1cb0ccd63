"""Any window of the face, seen in any image through any map: to look at, or to measure in."""

from __future__ import annotations

import functools
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from imaging.compute.frames import PIXEL_CENTRE, CanvasGrid
from imaging.compute.maps import FrameMap
from imaging.compute.masters.source import MasterSource
from imaging.compute.render.pixel_field import PixelField, bounds_of_index
from imaging.compute.render.resampling import BlockResampler
from imaging.compute.render.shown_pixels import FILL_GREY, ShownPixels
from imaging.errors import FieldRefusedError, NoRandomAccessError

__all__ = ["MOST_WINDOW_PX", "RenderedWindow", "render_window", "sample_window", "window_grid"]

MOST_WINDOW_PX = 16_000_000
# Above this many master pixels per window pixel and axis, a mean over finer pixels is taken.
_LARGEST_PLAIN_RATIO = 1.25
# Samples per axis of that mean when the reading levels do not help.
_MOST_SAMPLES = 8
# Parts of a window, resampled side by side.
_PART_WIDTH_PX, _PART_HEIGHT_PX = 512, 256
_THREADS = 2
# Behind a cut, the cubic spline of scipy has forgotten it to 0.27**16, or 8e-10, of a value.
_SPLINE_MARGIN_PX = 16
# More of the master than this is not read for one window of values; a reduction of it is.
_MOST_MASTER_PX = 64_000_000


# x, y, width and height in px of the window.
_Part = tuple[int, int, int, int]


@dataclass(frozen=True)
class RenderedWindow:
    """Pixels of a window of the face.

    Parameters
    ----------
    pixels : (rows, columns, channels) array
        uint8 to look at (grey or RGB), or values in the type of the master.
    is_inside : (rows, columns) bool array
        False where the image has no pixels and a fill stands.
    grid : CanvasGrid
        Place of the window.
    scale_factor : int
        Reduction of the master that was read; 1 is the master.
    """

    pixels: NDArray[Any]
    is_inside: NDArray[np.bool_]
    grid: CanvasGrid
    scale_factor: int


def window_grid(x_mm: float, y_mm: float, *, width_mm: float, height_mm: float, width_px: int) -> CanvasGrid:
    """Return the grid of a window of the face.

    Parameters
    ----------
    x_mm, y_mm : float, mm
        Its top left corner.
    width_mm, height_mm : float, mm
        Its size; the height is rounded to whole pixels, at least one.
    width_px : int, px
        Its width in pixels.

    Raises
    ------
    FieldRefusedError
        If a number is not finite or not above zero, or the window has more than 16 Mpx.

    Examples
    --------
    >>> window_grid(10.0, 20.0, width_mm=51.2, height_mm=25.6, width_px=512).height_px
    256
    """
    sizes = {"width_mm": width_mm, "height_mm": height_mm, "width_px": width_px}
    for field, value in {"x_mm": x_mm, "y_mm": y_mm, **sizes}.items():
        if not np.isfinite(value):
            raise FieldRefusedError(field=field, given=value, needed="a finite number")
    for field, value in sizes.items():
        if value <= 0:
            raise FieldRefusedError(field=field, given=value, needed="a number above 0")
    height_px = max(round(width_px * height_mm / width_mm), 1)
    if width_px * height_px > MOST_WINDOW_PX:
        needed = f"a window of at most {MOST_WINDOW_PX:,} pixels; ask for fewer, or for parts"
        given = f"{width_px}, which with this height makes {width_px} x {height_px} pixels"
        raise FieldRefusedError(field="width_px", given=given, needed=needed)
    return CanvasGrid(x_mm, y_mm, width_mm / width_px, width_px, height_px)


def render_window(source: MasterSource, frame_map: FrameMap, *, grid: CanvasGrid, shown: ShownPixels) -> RenderedWindow:
    """Return a window to look at: resampled, reduced without aliasing, toned to eight bits.

    Parameters
    ----------
    source : MasterSource
        The master with its reading levels.
    frame_map : FrameMap
        From the face to the master.
    grid : CanvasGrid
        From `window_grid`.
    shown : ShownPixels
        Tone and colours.

    Returns
    -------
    window : RenderedWindow
        uint8; neutral grey where the image has no pixels.

    Notes
    -----
    Keys' cubic, from the reading level no coarser than the window; where that level is still
    finer, the mean over samples. Memory: a band of the window and a block of the source.
    """
    _refuse_streams(source)
    ratio = _master_px_per_grid_px(grid, frame_map)
    fitting = [factor for factor in source.scale_factors if factor <= ratio * (1 + 1e-6)]
    factor = max(fitting, default=min(source.scale_factors))
    samples = 1
    if ratio / factor > _LARGEST_PLAIN_RATIO:
        samples = min(int(np.ceil(ratio / factor)), _MOST_SAMPLES)
    fine = CanvasGrid(
        grid.x0_mm,
        grid.y0_mm,
        grid.pitch_mm / samples,
        width_px=grid.width_px * samples,
        height_px=grid.height_px * samples,
    )
    field = PixelField(fine, frame_map, scale_factor=factor)
    pixels = np.full((grid.height_px, grid.width_px, shown.channels), FILL_GREY, np.uint8)
    is_inside = np.zeros(pixels.shape[:2], np.bool_)

    def render(part: _Part) -> None:
        resampler = BlockResampler(source, field, select=shown.select)
        _render_part(resampler, part, samples, shown, (pixels, is_inside))

    _for_each_part(grid, render)
    return RenderedWindow(pixels, is_inside, grid, factor)


def sample_window(source: MasterSource, frame_map: FrameMap, *, grid: CanvasGrid) -> RenderedWindow:
    """Return the values of the master in a window, all bands, in the master's type.

    Parameters
    ----------
    source : MasterSource
        The master; with its reading levels for windows of more than 64 million of its pixels.
    frame_map : FrameMap
        From the face to the master.
    grid : CanvasGrid
        From `window_grid`.

    Returns
    -------
    window : RenderedWindow
        Values; 0 where the image has no pixels. `scale_factor` says what was read.

    Notes
    -----
    The cubic spline of ``scipy.ndimage`` (order 3, ends mirrored) at exact places, rounded half
    to even and clipped to the type. It interpolates and does not smooth: a window coarser than
    the master shows single values of it, not means.
    """
    _refuse_streams(source)
    values = np.zeros((grid.height_px, grid.width_px, source.bands), source.dtype)
    is_inside = np.zeros(values.shape[:2], np.bool_)
    ratio = _master_px_per_grid_px(grid, frame_map)
    master_px = ratio**2 * grid.width_px * grid.height_px
    factor = 1 if 1 in source.scale_factors else min(source.scale_factors)
    for coarser in source.scale_factors:
        if master_px / factor**2 > _MOST_MASTER_PX:
            factor = coarser
    field = PixelField(grid, frame_map, scale_factor=factor)
    _for_each_part(grid, lambda part: _sample_part(source, field, part, (values, is_inside)))
    return RenderedWindow(values, is_inside, grid, factor)


@functools.cache
def _pool() -> ThreadPoolExecutor:
    return ThreadPoolExecutor(_THREADS, thread_name_prefix="windows")


def _for_each_part(grid: CanvasGrid, run: Callable[[_Part], None]) -> None:
    parts = [
        (x_px, y_px, min(_PART_WIDTH_PX, grid.width_px - x_px), min(_PART_HEIGHT_PX, grid.height_px - y_px))
        for y_px in range(0, grid.height_px, _PART_HEIGHT_PX)
        for x_px in range(0, grid.width_px, _PART_WIDTH_PX)
    ]
    if len(parts) == 1:
        run(parts[0])
        return
    for done in _pool().map(run, parts):
        assert done is None


def _refuse_streams(source: MasterSource) -> None:
    if not source.scale_factors:
        raise NoRandomAccessError(file_name=source.name)


def _master_px_per_grid_px(grid: CanvasGrid, frame_map: FrameMap) -> float:
    left, top, right, bottom = grid.extent_mm
    corners_mm = [[left, top], [right, top], [left, bottom], [right, bottom]]
    places_mm = np.array([[(left + right) / 2, (top + bottom) / 2], *corners_mm])
    pitches_mm = frame_map.pitch_mm_at(places_mm)
    finite = pitches_mm[np.isfinite(pitches_mm) & (pitches_mm > 0)]
    return float(grid.pitch_mm / np.median(finite)) if len(finite) else 1.0


def _render_part(
    resampler: BlockResampler,
    part: _Part,
    samples: int,
    shown: ShownPixels,
    out: tuple[NDArray[np.uint8], NDArray[np.bool_]],
) -> None:
    """Fill one part of a window, from `samples` x `samples` places per pixel."""
    x_px, y_px, width_px, height_px = part
    left, top = x_px * samples, y_px * samples
    fine_size = (height_px * samples, width_px * samples)
    values: NDArray[Any] | None = None
    inside: NDArray[np.uint8] = np.zeros(fine_size, np.uint8)
    for block in resampler.blocks(left, top, fine_size[1], fine_size[0]):
        if block.pixels is None:
            continue
        y, x = block.y_px - top, block.x_px - left
        place = (slice(y, y + block.height_px), slice(x, x + block.width_px))
        inside[place] = 255 if block.is_inside is None else block.is_inside * np.uint8(255)
        if block.pixels.shape[:2] == fine_size:
            values = block.pixels
            continue
        if values is None:
            values = np.zeros((*fine_size, shown.channels), block.pixels.dtype)
        values[place] = block.pixels
    if values is None:
        return
    if samples > 1:
        size = (width_px, height_px)
        values = cv2.resize(values, size, interpolation=cv2.INTER_AREA)
        values = values.reshape(height_px, width_px, shown.channels)
        inside = np.asarray(cv2.resize(inside, size, interpolation=cv2.INTER_AREA), np.uint8)
    window = (slice(y_px, y_px + height_px), slice(x_px, x_px + width_px))
    pixels, is_inside = out[0][window], out[1][window]
    shown.show(values, pixels)
    is_inside[...] = inside > 127
    pixels[~is_inside] = FILL_GREY


def _sample_part(
    source: MasterSource,
    field: PixelField,
    part: _Part,
    out: tuple[NDArray[Any], NDArray[np.bool_]],
) -> None:
    """Fill one part of a window with values, halving it while it needs too much of the master."""
    x_px, y_px, width_px, height_px = part
    index = field.exact_block(x_px, y_px, width_px, height_px)
    factor = field.scale_factor
    size = np.array([-(-source.width_px // factor), -(-source.height_px // factor)])
    end = np.array([source.width_px, source.height_px]) / factor
    lowest, highest = bounds_of_index(index)
    start = np.maximum(np.floor(lowest) - _SPLINE_MARGIN_PX, 0).astype(np.int64)
    stop = np.ceil(highest) + _SPLINE_MARGIN_PX + 1
    span = np.minimum(stop, size).astype(np.int64) - start
    if (span <= 0).any():
        return
    if span.prod() > _MOST_MASTER_PX / 8 and max(width_px, height_px) > 1:
        for half in _halves(part):
            _sample_part(source, field, half, out)
        return
    place = (slice(y_px, y_px + height_px), slice(x_px, x_px + width_px))
    is_inside = _is_inside(index, (lowest, highest), end)
    x, y, columns, rows = int(start[0]), int(start[1]), int(span[0]), int(span[1])
    window = source.read_window(x, y, columns, rows, scale_factor=factor)
    places = np.stack([index[..., 1] - y, index[..., 0] - x])
    for band in range(source.bands):
        values = ndimage.map_coordinates(window[..., band].astype(np.float64), places, order=3, mode="mirror")
        out[0][(*place, band)] = np.where(is_inside, _as_type(values, source.dtype), 0)
    out[1][place] = is_inside


def _is_inside(
    index: NDArray[np.float64],
    bounds: tuple[NDArray[np.float64], NDArray[np.float64]],
    end: NDArray[np.float64],
) -> NDArray[np.bool_]:
    """Return which places lie in the picture, which reaches half a pixel beyond its samples."""
    first, last = np.full(2, -PIXEL_CENTRE), end - PIXEL_CENTRE
    if (bounds[0] >= first).all() and (bounds[1] <= last).all():
        return np.ones(index.shape[:2], np.bool_)
    beyond = (index < first) | (index > last)
    return ~(beyond[..., 0] | beyond[..., 1])


def _halves(part: _Part) -> list[_Part]:
    x_px, y_px, width_px, height_px = part
    if width_px >= height_px:
        half = width_px // 2
        return [(x_px, y_px, half, height_px), (x_px + half, y_px, width_px - half, height_px)]
    half = height_px // 2
    return [(x_px, y_px, width_px, half), (x_px, y_px + half, width_px, height_px - half)]


def _as_type(values: NDArray[np.float64], dtype: np.dtype) -> NDArray[Any]:
    if dtype.kind == "f":
        return values.astype(dtype)
    return np.clip(np.rint(values), 0, np.iinfo(dtype).max).astype(dtype)
