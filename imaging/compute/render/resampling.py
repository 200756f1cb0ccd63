"""Resample a master through a map, block by block, in its own sample type."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from imaging.compute.frames import PIXEL_CENTRE
from imaging.compute.masters.source import MasterSource
from imaging.compute.render.pixel_field import BlockPlaces, PixelField
from imaging.compute.render.row_kernel import resample_at

__all__ = ["BlockResampler", "ResampledBlock"]

# Cubic interpolation reads one sample before and two behind a place.
_KERNEL_REACH_PX = 3
# Beyond, single precision has too few digits for places.
_LONGEST_SOURCE_SIDE_PX = 16_000
_MOST_SOURCE_PIXELS = 24_000_000


@dataclass(frozen=True)
class ResampledBlock:
    """One block of the grid, in the type of the master.

    Parameters
    ----------
    x_px, y_px, width_px, height_px : int, px
        Its place and size in the grid.
    pixels : (rows, columns, channels) array or None
        Values, overwritten by the next block; None when the block lies outside the master.
    is_inside : (rows, columns) bool array or None
        Which pixels lie in the master; None when all do.
    """

    x_px: int
    y_px: int
    width_px: int
    height_px: int
    pixels: NDArray[Any] | None
    is_inside: NDArray[np.bool_] | None


class BlockResampler:
    """Cubic resampling of blocks that are read where they are needed.

    Parameters
    ----------
    source : MasterSource
        Must serve windows at the field's scale factor.
    field : PixelField
        Where the grid's pixels lie in the source.
    select : callable
        Takes what is needed, at most four channels, from a window of the master.

    Notes
    -----
    Keys' cubic kernel, see `row_kernel`; pixels come from within 0.011 px of their place. Not for
    sharing between threads. Memory: one block of the source, at most 24 Mpx.
    """

    def __init__(
        self,
        source: MasterSource,
        field: PixelField,
        *,
        select: Callable[[NDArray[Any]], NDArray[Any]],
    ) -> None:
        self._source, self._field, self._select = source, field, select
        factor = field.scale_factor
        self._size = np.array([-(-source.width_px // factor), -(-source.height_px // factor)])
        # The border of the last, perhaps half covered, column of a reduced master.
        self._end = np.array([source.width_px, source.height_px]) / factor
        self._index_buffer: NDArray[np.float32] = np.empty((0, 0, 2), np.float32)
        self._pixels: NDArray[Any] = np.empty((0, 0, 1), source.dtype)

    def blocks(self, x_px: int, y_px: int, width_px: int, height_px: int) -> Iterator[ResampledBlock]:
        """Yield a part of the grid, whole or in smaller blocks where the source is wide there.

        Parameters
        ----------
        x_px, y_px, width_px, height_px : int, px
            The part.

        Yields
        ------
        block : ResampledBlock
            Valid until the next one is asked for.
        """
        places = self._field.block_places(x_px, y_px, width_px, height_px)
        start, stop = self._needed(places)
        if (stop <= start).any():
            yield ResampledBlock(x_px, y_px, width_px, height_px, None, None)
            return
        span = stop - start
        is_too_large = span.max() > _LONGEST_SOURCE_SIDE_PX or span.prod() > _MOST_SOURCE_PIXELS
        if is_too_large and max(width_px, height_px) > 1:
            if width_px >= height_px:
                half = width_px // 2
                yield from self.blocks(x_px, y_px, half, height_px)
                yield from self.blocks(x_px + half, y_px, width_px - half, height_px)
            else:
                half = height_px // 2
                yield from self.blocks(x_px, y_px, width_px, half)
                yield from self.blocks(x_px, y_px + half, width_px, height_px - half)
            return
        pixels = self._resampled(places, start, span)
        is_inside = self._is_inside(places, start)
        yield ResampledBlock(x_px, y_px, width_px, height_px, pixels, is_inside)

    def _needed(self, places: BlockPlaces) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Return the first sample that is needed and the one behind the last, x and y."""
        low, high = places.bounds
        start = np.maximum(np.floor(low) - _KERNEL_REACH_PX, 0)
        stop = np.minimum(np.ceil(high) + _KERNEL_REACH_PX + 1, self._size)
        return start.astype(np.int64), stop.astype(np.int64)

    def _index(self, places: BlockPlaces, start: NDArray[np.int64]) -> NDArray[np.float32]:
        if self._index_buffer.shape != places.buffer_shape:
            self._index_buffer = np.empty(places.buffer_shape, np.float32)
        return places.index_from(start, self._index_buffer)

    def _resampled(self, places: BlockPlaces, start: NDArray[np.int64], span: NDArray[np.int64]) -> NDArray[Any]:
        x_px, y_px, width_px, height_px = (int(value) for value in (*start, *span))
        factor = self._field.scale_factor
        window = self._select(self._source.read_window(x_px, y_px, width_px, height_px, scale_factor=factor))
        shape = (places.height_px, places.width_px, window.shape[2])
        if self._pixels.shape != shape or self._pixels.dtype != window.dtype:
            self._pixels = np.empty(shape, window.dtype)
        resample_at(window, places.nodes - start, step_px=places.step_px, out=self._pixels)
        return self._pixels

    def _is_inside(self, places: BlockPlaces, start: NDArray[np.int64]) -> NDArray[np.bool_] | None:
        # In sample indices the picture reaches half a pixel beyond its first and last sample.
        first, last = np.full(2, -PIXEL_CENTRE), self._end - PIXEL_CENTRE
        low, high = places.bounds
        if (low >= first).all() and (high <= last).all():
            return None
        first, last = (first - start).astype(np.float32), (last - start).astype(np.float32)
        index = self._index(places, start)
        x, y = index[..., 0], index[..., 1]
        is_inside: NDArray[np.bool_] = (x >= first[0]) & (x <= last[0])
        is_inside &= (y >= first[1]) & (y <= last[1])
        return is_inside
