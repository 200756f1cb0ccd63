"""Cubic resampling, compiled: at exact places, in vector registers where rows allow.

A row of the output that runs nearly along the rows of the source crosses them in a slightly
sloping line. First every source column is interpolated down to that line (side by side in memory,
hence in vector registers), then the line at the output's places: 4 + 4 samples for a pixel instead
of 4 x 4. Any other row is left to the kernel of 4 x 4 samples.

Both use the cubic of R. G. Keys 1981 (DOI 10.1109/TASSP.1981.1163711) with his a = -0.5, the only
one that puts a linear ramp where it belongs. OpenCV's cubic has a = -0.75, which moves it by up to
0.048 px.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import cv2
import numba
import numpy as np
from numpy.lib.stride_tricks import as_strided
from numpy.typing import NDArray

__all__ = ["is_nearly_parallel", "resample_at"]

# Steeper lines are left to a kernel of 4 x 4 samples: on them the second step would meet detail
# that the first has bent out of its column.
_STEEPEST_SLOPE = 0.05
# Outside this range of source pixels per output pixel the working memory is not bounded.
_SMALLEST_PITCH, _LARGEST_PITCH = 0.2, 5.0
_SPARE_COLUMNS = 16

_f32 = np.float32
_u32 = np.uint32
_u64 = np.uint64
_A = _f32(-0.5)
_A_PLUS_2, _A_PLUS_3 = _f32(1.5), _f32(2.5)
_2A_PLUS_3 = _f32(2.0)
# Places are clipped to this far from the window before they become integers.
_FAR_PX = _f32(1e6)


def _compiled(function: Callable[..., Any]) -> Callable[..., Any]:
    """Compile at the first call, and keep the result on the disk where there is a place for it."""
    # Not fastmath: the bytes must not depend on which processor built them.
    options: dict[str, Any] = {"nogil": True, "error_model": "numpy"}
    try:
        compiled: Callable[..., Any] = numba.njit(cache=True, **options)(function)
    except RuntimeError:
        # Neither this folder nor one of the user can be written to.
        compiled = numba.njit(**options)(function)
    return compiled


def is_nearly_parallel(nodes: NDArray[np.float64], step_px: int) -> bool:
    """Return whether a lattice of places runs along the rows of the source, left to right.

    Parameters
    ----------
    nodes : (rows, columns, 2) float64 array
        Sample indices in the source, x and y, `step_px` output pixels apart.
    step_px : int, px
        At least 2.
    """
    if step_px < 2:
        return False
    dx = np.diff(nodes[..., 0], axis=1)
    dy = np.diff(nodes[..., 1], axis=1)
    is_bounded = (dx >= _SMALLEST_PITCH * step_px) & (dx <= _LARGEST_PITCH * step_px)
    return bool((is_bounded & (np.abs(dy) <= _STEEPEST_SLOPE * dx)).all())


def resample_at(window: NDArray[Any], nodes: NDArray[np.float64], *, step_px: int, out: NDArray[Any]) -> None:
    """Write the values of a window of the source at the places of a block.

    Parameters
    ----------
    window : (rows, columns, channels) array
        uint8, uint16 or float32, 1 or 3 channels. Places outside it take its border.
    nodes : (rows, columns, 2) float64 array
        Sample indices in the window, x and y: of every pixel when `step_px` is 1, otherwise at
        the middle of cells of `step_px` pixels, one cell more than the block on every side.
    step_px : int, px
        1, or even.
    out : (rows, columns, channels) array
        Contiguous, of the type of the window.

    Notes
    -----
    Releases the interpreter lock. For an RGB pixel on one core about 7 ns where rows are nearly
    parallel, 25 ns elsewhere. Integers are rounded half up.
    """
    window, nodes = _turned_upright(window, nodes)
    channels = window.shape[2]
    flat, stride = _flat(window)
    local = nodes.astype(np.float32)
    rows, columns = out.shape[:2]
    target = out.reshape(rows, columns * channels)
    is_along_rows = is_nearly_parallel(nodes, step_px)
    widest = _SPARE_COLUMNS
    if is_along_rows:
        widest += int(np.ceil((local[:, -1, 0] - local[:, 0, 0]).max()))
    geometry = (window.shape[0], window.shape[1], stride, channels, step_px, widest)
    if out.dtype.kind == "f":
        _resample_floats(flat, geometry, local, target, is_along_rows)
    else:
        largest = np.int32(np.iinfo(out.dtype).max)
        _resample_integers(flat, geometry, local, (target, largest), is_along_rows)


def _turned_upright(window: NDArray[Any], nodes: NDArray[np.float64]) -> tuple[NDArray[Any], NDArray[np.float64]]:
    """Return window and places turned by quarters or mirrored, so that rows run along rows."""
    if nodes.shape[1] < 2:
        return window, nodes
    rows, columns, channels = window.shape
    along_x, along_y = (nodes[:, -1] - nodes[:, 0]).mean(axis=0)
    if abs(along_y) > abs(along_x):
        window, nodes = np.asarray(cv2.transpose(window)), nodes[..., ::-1]
        rows, columns, along_x = columns, rows, along_y
    if along_x < 0:
        window = np.asarray(cv2.flip(window, 1))
        nodes = np.stack([columns - 1 - nodes[..., 0], nodes[..., 1]], axis=-1)
    # OpenCV leaves out the last axis of grey pictures.
    window = window.reshape(rows, columns, channels)
    return window, nodes


def _flat(window: NDArray[Any]) -> tuple[NDArray[Any], int]:
    """Return a window's memory as one line, without a copy where pixels lie side by side."""
    rows, columns, channels = window.shape
    size = window.itemsize
    if window.strides[1:] != (channels * size, size) or window.strides[0] % size:
        window = np.ascontiguousarray(window)
    stride = window.strides[0] // size
    length = (rows - 1) * stride + columns * channels
    return as_strided(window, (length,), (size,), writeable=False), stride


@_compiled
def _workspace(geometry, node_columns, values):  # type: ignore[no-untyped-def]
    """Return the lines that every row overwrites."""
    channels, widest = geometry[3], geometry[5]
    return (
        np.empty((2, node_columns), _f32),  # the row's nodes, x and y
        np.empty(values // channels, _f32),  # place of each output pixel, x
        np.empty(widest, _f32),  # height of the line over each source column
        np.empty(widest * channels, _f32),  # its share between two source rows
        np.empty(widest * channels, _f32),  # the source along the line
        np.empty((4, values // channels), _f32),  # weights of each output pixel
        np.empty(values // channels, _u32),  # first sample of each output pixel
        np.empty(values, _f32),  # the output
    )


@_compiled
def _resample_row(flat, geometry, nodes, row, work):  # type: ignore[no-untyped-def]
    """Fill the last line of the workspace with one row."""
    rows, columns, stride, channels, step, _ = geometry
    line, place, height, share, source, weights, first_sample, values = work
    _line_of_nodes(nodes, row, step, line)
    _places(line[0], step, place)
    # One column more than the kernel needs, against rounding.
    left = int(np.floor(place[0])) - 2
    right = int(np.floor(place[-1])) + 4
    low, high = max(left, 0), min(right, columns)
    if high <= low:
        values[:] = _f32(0)
        return
    _heights(line, left, height[: right - left])
    column = low
    while column < high:
        top = np.floor(height[column - left])
        end = column + 1
        while end < high and height[end - left] >= top and height[end - left] < top + _f32(1):
            end += 1
        start, stop = (column - left) * channels, (end - left) * channels
        _shares(height[column - left : end - left], top, channels, share[: stop - start])
        above = int(top)
        from_left, count = column * channels, stop - start
        a = min(max(above - 1, 0), rows - 1) * stride + from_left
        b = min(max(above, 0), rows - 1) * stride + from_left
        c = min(max(above + 1, 0), rows - 1) * stride + from_left
        d = min(max(above + 2, 0), rows - 1) * stride + from_left
        taps = (flat[a : a + count], flat[b : b + count], flat[c : c + count], flat[d : d + count])
        _down_to_line(taps, share[:count], source[start:stop])
        column = end
    _repeat_border(source, left, (low, high, right), channels)
    _weigh(place, left, channels, weights, first_sample)
    if channels == 1:
        _along_line_grey(source, weights, first_sample, values)
    else:
        _along_line_rgb(source, weights, first_sample, values)


@_compiled
def _line_of_nodes(nodes, row, step, line):  # type: ignore[no-untyped-def]
    position = (_f32(row) + _f32(0.5)) / _f32(step) + _f32(0.5)
    above = int(position)
    part = position - _f32(above)
    for axis in range(2):
        for n in range(line.shape[1]):
            upper, lower = nodes[above, n, axis], nodes[above + 1, n, axis]
            line[axis, n] = upper + (lower - upper) * part


@_compiled
def _places(nodes, step, place):  # type: ignore[no-untyped-def]
    """Fill the places of all pixels from nodes at the middle of cells, the first one outside."""
    for n in range(nodes.size - 1):
        first = step * n - step // 2
        start, stop = max(first, 0), min(first + step, place.size)
        if stop > start:
            slope = (nodes[n + 1] - nodes[n]) / _f32(step)
            offset = nodes[n] + slope * (_f32(start - first) + _f32(0.5))
            _fill_line(place[start:stop], offset, slope)


@_compiled
def _heights(line, left, height):  # type: ignore[no-untyped-def]
    """Height of the line over each source column from `left` on."""
    last = line.shape[1] - 2
    done = 0
    for n in range(last + 1):
        x, y = line[0, n], line[1, n]
        stop = height.size
        if n < last:
            stop = min(max(int(np.ceil(line[0, n + 1])) - left, done), height.size)
        if stop > done:
            slope = (line[1, n + 1] - y) / (line[0, n + 1] - x)
            _fill_line(height[done:stop], y + slope * (_f32(left + done) - x), slope)
            done = stop


@_compiled
def _fill_line(out, offset, slope):  # type: ignore[no-untyped-def]
    for i in range(out.size):
        out[i] = offset + slope * _f32(i)


@_compiled
def _shares(height, top, channels, share):  # type: ignore[no-untyped-def]
    if channels == 1:
        for i in range(height.size):
            share[i] = height[i] - top
        return
    for i in range(height.size):
        part = height[i] - top
        j = _u32(i) * _u32(3)
        share[j] = part
        share[j + _u32(1)] = part
        share[j + _u32(2)] = part


@_compiled
def _down_to_line(taps, share, out):  # type: ignore[no-untyped-def]
    above, upper, lower, below = taps
    for i in range(out.size):
        t = share[i]
        p0, p1, p2, p3 = _f32(above[i]), _f32(upper[i]), _f32(lower[i]), _f32(below[i])
        cubic = _A * (p0 - p3) + _A_PLUS_2 * (p1 - p2)
        square = (_2A_PLUS_3 * p2 - _f32(2) * _A * p0) + (_A * p3 - _A_PLUS_3 * p1)
        out[i] = p1 + t * (_A * (p0 - p2) + t * (square + t * cubic))


@_compiled
def _repeat_border(source, left, bounds, channels):  # type: ignore[no-untyped-def]
    low, high, right = bounds
    for channel in range(channels):
        for column in range(left, low):
            source[(column - left) * channels + channel] = source[(low - left) * channels + channel]
        for column in range(high, right):
            border = (high - 1 - left) * channels + channel
            source[(column - left) * channels + channel] = source[border]


@_compiled
def _four_weights(t):  # type: ignore[no-untyped-def]
    rest = _f32(1) - t
    w0 = _A * t * rest * rest
    w1 = (_A_PLUS_2 * t - _A_PLUS_3) * t * t + _f32(1)
    w3 = _A * t * t * rest
    return w0, w1, _f32(1) - w0 - w1 - w3, w3


@_compiled
def _weigh(place, left, channels, weights, first_sample):  # type: ignore[no-untyped-def]
    for i in range(place.size):
        x = place[i] - _f32(left)
        whole = np.int32(x)
        t = x - _f32(whole)
        first_sample[i] = _u32((whole - 1) * channels)
        w0, w1, w2, w3 = _four_weights(t)
        weights[0, i], weights[1, i], weights[2, i], weights[3, i] = w0, w1, w2, w3


@_compiled
def _along_line_grey(source, weights, first_sample, out):  # type: ignore[no-untyped-def]
    for i in range(out.size):
        j = first_sample[i]
        out[i] = (weights[0, i] * source[j] + weights[1, i] * source[j + _u32(1)]) + (
            weights[2, i] * source[j + _u32(2)] + weights[3, i] * source[j + _u32(3)]
        )


@_compiled
def _along_line_rgb(source, weights, first_sample, out):  # type: ignore[no-untyped-def]
    for i in range(first_sample.size):
        j = first_sample[i]
        w0, w1, w2, w3 = weights[0, i], weights[1, i], weights[2, i], weights[3, i]
        k = _u32(i) * _u32(3)
        out[k] = (w0 * source[j] + w1 * source[j + _u32(3)]) + (w2 * source[j + _u32(6)] + w3 * source[j + _u32(9)])
        out[k + _u32(1)] = (w0 * source[j + _u32(1)] + w1 * source[j + _u32(4)]) + (
            w2 * source[j + _u32(7)] + w3 * source[j + _u32(10)]
        )
        out[k + _u32(2)] = (w0 * source[j + _u32(2)] + w1 * source[j + _u32(5)]) + (
            w2 * source[j + _u32(8)] + w3 * source[j + _u32(11)]
        )


@_compiled
def _round_into(values, out, largest):  # type: ignore[no-untyped-def]
    for i in range(out.size):
        whole = np.int32(values[i] + _f32(0.5))
        out[i] = min(max(whole, np.int32(0)), largest)


@_compiled
def _resample_integers(flat, geometry, nodes, target, is_along_rows):  # type: ignore[no-untyped-def]
    out, largest = target
    work = _workspace(geometry, nodes.shape[1], out.shape[1])
    for row in range(out.shape[0]):
        if is_along_rows:
            _resample_row(flat, geometry, nodes, row, work)
        else:
            _resample_row_by_pixels(flat, geometry, nodes, row, work)
        _round_into(work[-1], out[row], largest)


@_compiled
def _resample_floats(flat, geometry, nodes, out, is_along_rows):  # type: ignore[no-untyped-def]
    work = _workspace(geometry, nodes.shape[1], out.shape[1])
    for row in range(out.shape[0]):
        if is_along_rows:
            _resample_row(flat, geometry, nodes, row, work)
        else:
            _resample_row_by_pixels(flat, geometry, nodes, row, work)
        out[row, :] = work[-1]


@_compiled
def _resample_row_by_pixels(flat, geometry, nodes, row, work):  # type: ignore[no-untyped-def]
    """Fill the last line of the workspace with one row, 4 x 4 samples for each pixel."""
    rows, columns, stride, channels, step, _ = geometry
    line, place, _, _, _, _, _, values = work
    width = place.size
    x, y = np.empty(width, _f32), np.empty(width, _f32)
    if step == 1:
        for i in range(width):
            x[i], y[i] = nodes[row, i, 0], nodes[row, i, 1]
    else:
        _line_of_nodes(nodes, row, step, line)
        _places(line[0], step, x)
        _places(line[1], step, y)
    for i in range(width):
        px = min(max(x[i], -_FAR_PX), _FAR_PX)
        py = min(max(y[i], -_FAR_PX), _FAR_PX)
        left, top = int(np.floor(px)), int(np.floor(py))
        across, down = _four_weights(px - _f32(left)), _four_weights(py - _f32(top))
        a = min(max(left - 1, 0), columns - 1) * channels
        b = min(max(left, 0), columns - 1) * channels
        c = min(max(left + 1, 0), columns - 1) * channels
        d = min(max(left + 2, 0), columns - 1) * channels
        for channel in range(channels):
            total = _f32(0)
            for j in range(4):
                start = min(max(top - 1 + j, 0), rows - 1) * stride + channel
                total += down[j] * (
                    across[0] * _f32(flat[_u64(start + a)])
                    + across[1] * _f32(flat[_u64(start + b)])
                    + across[2] * _f32(flat[_u64(start + c)])
                    + across[3] * _f32(flat[_u64(start + d)])
                )
            values[_u32(i * channels + channel)] = total
