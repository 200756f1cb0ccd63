"""Streaming writer of a pyramid: rows in, halved rows passed down, encoded tiles out."""

from __future__ import annotations

from collections import deque
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import Any, BinaryIO

import cv2
import numpy as np
from numpy.typing import NDArray

from imaging.compute.pyramid.bigtiff import BigTiffFile, TiledImage
from imaging.compute.pyramid.tile_encoding import TileEncoder
from imaging.compute.pyramid.tile_grid import TileGrid, Zoom

__all__ = ["PyramidWriter", "TileForm", "halve"]

# One job of an encoding thread: long enough to hide its start, short enough to share work.
_TILES_PER_JOB = 8
# Rows of tiles that may be filled, encoded or written at the same time, per zoom.
_BUFFERS_FULL_SIZE, _BUFFERS_REDUCED = 3, 2
# Streams up to this size are looked up among those written: the empty surroundings of a picture.
_LONGEST_SHARED_BYTES = 2048
# OpenCV's area reduction is the exact mean for these channel counts, not for others.
_EXACT_CHANNELS = (1, 3, 4)


def halve(pixels: NDArray[Any], out: NDArray[Any]) -> None:
    """Write the mean of every 2 x 2 block, halves rounded up.

    Parameters
    ----------
    pixels : (2 * rows, 2 * columns, channels) array
        uint8, uint16 or float32.
    out : (rows, columns, channels) array
        Of the same type.

    Examples
    --------
    >>> out = np.empty((1, 1, 1), np.uint8)
    >>> halve(np.array([[[1], [2]], [[2], [1]]], np.uint8), out)
    >>> out.item()
    2
    """
    rows, columns, channels = out.shape
    if channels in _EXACT_CHANNELS:
        target = out[..., 0] if channels == 1 else out
        cv2.resize(pixels, (columns, rows), dst=target, interpolation=cv2.INTER_AREA)
        return
    for channel in range(channels):
        plane = np.ascontiguousarray(pixels[..., channel])
        out[..., channel] = cv2.resize(plane, (columns, rows), interpolation=cv2.INTER_AREA)


@dataclass(frozen=True)
class TileForm:
    """What the tiles of one pyramid hold and who makes their bytes.

    Parameters
    ----------
    encoder : TileEncoder
        Makes the bytes of each tile.
    channels : int
        Channels of the pixels that are written.
    dtype : numpy.dtype
        Their type.
    threads : int
        Encoding threads.
    """

    encoder: TileEncoder
    channels: int
    dtype: np.dtype
    threads: int = 2


@dataclass
class _Stage:
    """One zoom while it is being filled."""

    zoom: Zoom
    image: TiledImage | None
    buffers: list[NDArray[Any]]
    jobs: list[list[Future[list[bytes]]]] = field(init=False)
    current: int = 0
    filled_rows: int = 0
    tile_row: int = 0

    def __post_init__(self) -> None:
        self.jobs = [[] for _ in self.buffers]

    @property
    def buffer(self) -> NDArray[Any]:
        return self.buffers[self.current]


@dataclass(frozen=True)
class _Pending:
    job: Future[list[bytes]]
    image: TiledImage
    first_tile: int


class PyramidWriter:
    """Writes full-size rows from top to bottom as tiles of every zoom.

    Parameters
    ----------
    file : binary file
        Empty, writable.
    grid : TileGrid
        Size of the picture and of its tiles.
    form : TileForm
        Contents and encoding of the tiles.
    is_full_size_stored : bool
        False keeps only the reduced zooms.

    Notes
    -----
    Streams. Holds up to seven rows of tiles of the full width; the bytes written depend on the
    pixels only, not on the number or the speed of threads.
    """

    def __init__(
        self,
        file: BinaryIO,
        grid: TileGrid,
        *,
        form: TileForm,
        is_full_size_stored: bool = True,
    ) -> None:
        self._grid = grid
        self._encoder = form.encoder
        self._tiff = BigTiffFile(file, form.encoder.layout(form.channels, form.dtype))
        self._stages = [self._stage(zoom, form, is_full_size_stored) for zoom in reversed(grid.zooms)]
        self._pool = ThreadPoolExecutor(form.threads, thread_name_prefix="tile-encoding")
        self._pending: deque[_Pending] = deque()
        self._offset_of_short: dict[bytes, int] = {}

    def __enter__(self) -> PyramidWriter:
        """Return the writer."""
        return self

    def __exit__(self, *_: object) -> None:
        """Stop the encoding threads."""
        self._pool.shutdown(wait=True, cancel_futures=True)

    @property
    def rows(self) -> NDArray[Any]:
        """The next full-size rows to be filled, at most one row of tiles."""
        stage = self._stages[0]
        remaining = stage.zoom.height_px - stage.tile_row * self._grid.tile_size_px
        rows = min(remaining, self._grid.tile_size_px)
        return stage.buffer[:rows, : stage.zoom.width_px]

    def commit_rows(self) -> None:
        """Take over the rows that were filled."""
        self._stages[0].filled_rows = len(self.rows)
        self._close_tile_row(0)

    def finish(self, *, description: str, icc_profile: bytes | None = None) -> None:
        """Write what is left and the directories.

        Parameters
        ----------
        description : str
            ASCII text about the file.
        icc_profile : bytes or None
            Profile of all tiles.
        """
        while self._pending:
            self._write_next()
        images = [stage.image for stage in self._stages if stage.image is not None]
        self._tiff.finish(images, description=description, icc_profile=icc_profile)

    def _stage(self, zoom: Zoom, form: TileForm, is_full_size_stored: bool) -> _Stage:
        is_full_size = zoom.scale_factor == 1
        tile_px = self._grid.tile_size_px
        image = None
        if is_full_size_stored or not is_full_size or len(self._grid.zooms) == 1:
            is_main = is_full_size or (zoom.scale_factor == 2 and not is_full_size_stored)
            image = TiledImage(zoom.width_px, zoom.height_px, tile_px, is_reduced=not is_main)
        shape = (tile_px, zoom.columns * tile_px, form.channels)
        count = _BUFFERS_FULL_SIZE if is_full_size else _BUFFERS_REDUCED
        return _Stage(zoom, image, [np.zeros(shape, form.dtype) for _ in range(count)])

    def _close_tile_row(self, index: int) -> None:
        stage = self._stages[index]
        self._pad(stage)
        if stage.image is not None:
            self._submit(stage)
        if index + 1 < len(self._stages):
            self._pass_down(stage, index + 1)
        stage.tile_row += 1
        stage.filled_rows = 0
        stage.current = (stage.current + 1) % len(stage.buffers)
        self._write_until_free(stage.jobs[stage.current])
        stage.jobs[stage.current] = []

    def _pad(self, stage: _Stage) -> None:
        """Repeat the last column and row, so that edge tiles are whole and halve evenly."""
        width_px, rows = stage.zoom.width_px, stage.filled_rows
        buffer = stage.buffer
        if width_px < buffer.shape[1]:
            buffer[:rows, width_px:] = buffer[:rows, width_px - 1 : width_px]
        if rows < buffer.shape[0]:
            buffer[rows:] = buffer[rows - 1]

    def _submit(self, stage: _Stage) -> None:
        assert stage.image is not None
        buffer, zoom = stage.buffer, stage.zoom
        for first in range(0, zoom.columns, _TILES_PER_JOB):
            last = min(first + _TILES_PER_JOB, zoom.columns)
            job = self._pool.submit(self._encode, buffer, first, last)
            stage.jobs[stage.current].append(job)
            first_tile = stage.tile_row * zoom.columns + first
            self._pending.append(_Pending(job, stage.image, first_tile))

    def _encode(self, buffer: NDArray[Any], first: int, last: int) -> list[bytes]:
        size = self._grid.tile_size_px
        return [self._encoder.encode(buffer[:, column * size : (column + 1) * size]) for column in range(first, last)]

    def _pass_down(self, stage: _Stage, index: int) -> None:
        target = self._stages[index]
        rows, columns = -(-stage.filled_rows // 2), target.zoom.width_px
        top = target.filled_rows
        halve(stage.buffer[: 2 * rows, : 2 * columns], target.buffer[top : top + rows, :columns])
        target.filled_rows += rows
        height_px = target.tile_row * self._grid.tile_size_px + target.filled_rows
        is_full = target.filled_rows == self._grid.tile_size_px
        if is_full or height_px == target.zoom.height_px:
            self._close_tile_row(index)

    def _write_until_free(self, jobs: list[Future[list[bytes]]]) -> None:
        # In the order of submission, or the bytes would depend on the threads' luck.
        while self._pending and (self._pending[0].job.done() or not all(job.done() for job in jobs)):
            self._write_next()

    def _write_next(self) -> None:
        pending = self._pending.popleft()
        for number, data in enumerate(pending.job.result(), pending.first_tile):
            pending.image.offsets[number] = self._offset_of(data)
            pending.image.counts[number] = len(data)

    def _offset_of(self, data: bytes) -> int:
        if len(data) > _LONGEST_SHARED_BYTES:
            return self._tiff.append(data)
        if data not in self._offset_of_short:
            self._offset_of_short[data] = self._tiff.append(data)
        return self._offset_of_short[data]
