"""Uncompressed strips of a TIFF, mapped into memory: any row costs only its own bytes."""

from __future__ import annotations

import mmap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import tifffile
from numpy.typing import NDArray

from imaging.errors import TruncatedFileError

__all__ = ["MappedSource", "StripPlane", "mapped_planes"]

_SAMPLE_FORMATS = {(1, 8): "u1", (1, 16): "u2", (3, 32): "f4"}
# White is zero (0) is left to the decoder, which turns it round.
_BLACK_IS_ZERO_OR_RGB = (1, 2)


@dataclass(frozen=True)
class StripPlane:
    """Where the rows of one plane of samples lie in the file.

    Parameters
    ----------
    width_px, height_px : int, px
        Size of the picture.
    samples : int
        Samples side by side in this plane.
    dtype : numpy.dtype
        Type and byte order in the file.
    rows_per_strip : int
        Rows of every strip but the last.
    offsets : tuple of int
        Byte offset of each strip.
    """

    width_px: int
    height_px: int
    samples: int
    dtype: np.dtype
    rows_per_strip: int
    offsets: tuple[int, ...]

    @property
    def row_bytes(self) -> int:
        """Bytes of one row."""
        return self.width_px * self.samples * self.dtype.itemsize

    @property
    def end(self) -> int:
        """Byte behind the last one that is needed."""
        ends = (
            offset + self.row_bytes * min(self.rows_per_strip, self.height_px - i * self.rows_per_strip)
            for i, offset in enumerate(self.offsets)
        )
        return max(ends)

    @property
    def is_contiguous(self) -> bool:
        """Whether each strip follows on the one before."""
        step = self.rows_per_strip * self.row_bytes
        return all(offset == self.offsets[0] + i * step for i, offset in enumerate(self.offsets))


def mapped_planes(path: Path, pages: Sequence[tifffile.TiffPage]) -> list[StripPlane] | None:
    """Return the planes of uncompressed pages, None if one of them needs a decoder.

    Parameters
    ----------
    path : Path
        The file, for its size.
    pages : sequence of tifffile.TiffPage
        Pages of one size and sample type; their planes are put behind each other.

    Raises
    ------
    TruncatedFileError
        If the file ends before the last strip.
    """
    planes = []
    for page in pages:
        if not _is_plain(page):
            return None
        planes += _planes_of_page(page)
    first = planes[0]
    for plane in planes:
        if (plane.width_px, plane.height_px) != (first.width_px, first.height_px):
            raise ValueError("pages of different size")
        if plane.dtype != first.dtype:
            raise ValueError("pages of different sample type")
    size_bytes = path.stat().st_size
    needed_bytes = max(plane.end for plane in planes)
    if needed_bytes > size_bytes:
        raise TruncatedFileError(
            file_name=path.name, what="its pixels", needed_bytes=needed_bytes, got_bytes=size_bytes
        )
    return planes


class MappedSource:
    """A master in uncompressed strips.

    Parameters
    ----------
    path : Path
        The file, which must not be shortened while this is open.
    planes : list of StripPlane
        Their samples, in this order, are the bands.
    icc_profile : bytes or None
        The embedded profile.
    """

    scale_factors: tuple[int, ...] = (1,)

    def __init__(self, path: Path, planes: list[StripPlane], *, icc_profile: bytes | None = None) -> None:
        self.name = path.name
        self.icc_profile = icc_profile
        self.width_px, self.height_px = planes[0].width_px, planes[0].height_px
        self.bands = sum(plane.samples for plane in planes)
        self.dtype = planes[0].dtype.newbyteorder("=")
        self._planes = planes
        with path.open("rb") as file:
            self._bytes = mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ)

    def strips(self, height_px: int) -> Iterator[tuple[int, NDArray[Any]]]:
        """Yield ``(top row, strip)`` downwards, without a copy where the file allows.

        Parameters
        ----------
        height_px : int, px
            Rows of every strip but the last.
        """
        for y_px in range(0, self.height_px, height_px):
            rows = min(height_px, self.height_px - y_px)
            yield y_px, self.read_window(0, y_px, self.width_px, rows)

    def read_window(
        self, x_px: int, y_px: int, width_px: int, height_px: int, *, scale_factor: int = 1
    ) -> NDArray[Any]:
        """Return a window of the full picture, without a copy where the file allows.

        Parameters
        ----------
        x_px, y_px, width_px, height_px : int, px
            Place and size, inside the picture.
        scale_factor : int
            Only 1.
        """
        if scale_factor != 1:
            raise ValueError(f"strips have no scale factor {scale_factor}")
        columns = slice(x_px, x_px + width_px)
        parts = [self._rows(plane, y_px, height_px)[:, columns] for plane in self._planes]
        window = parts[0] if len(parts) == 1 else np.concatenate(parts, axis=2)
        return window if window.dtype.isnative else window.astype(self.dtype)

    def _rows(self, plane: StripPlane, y_px: int, height_px: int) -> NDArray[Any]:
        if plane.is_contiguous:
            return self._view(plane, plane.offsets[0] + y_px * plane.row_bytes, height_px)
        parts = []
        end_px = y_px + height_px
        while y_px < end_px:
            strip, row = divmod(y_px, plane.rows_per_strip)
            rows = min(plane.rows_per_strip - row, end_px - y_px)
            parts.append(self._view(plane, plane.offsets[strip] + row * plane.row_bytes, rows))
            y_px += rows
        return parts[0] if len(parts) == 1 else np.concatenate(parts)

    def _view(self, plane: StripPlane, offset: int, rows: int) -> NDArray[Any]:
        return np.ndarray((rows, plane.width_px, plane.samples), plane.dtype, self._bytes, offset)


def _is_plain(page: tifffile.TiffPage) -> bool:
    return (
        not page.is_tiled
        and page.compression == 1
        and page.predictor == 1
        and page.photometric in _BLACK_IS_ZERO_OR_RGB
        and page.fillorder == 1
        and (page.sampleformat, page.bitspersample) in _SAMPLE_FORMATS
    )


def _planes_of_page(page: tifffile.TiffPage) -> list[StripPlane]:
    kind = _SAMPLE_FORMATS[page.sampleformat, page.bitspersample]
    dtype = np.dtype(page.parent.byteorder + kind)
    rows_per_strip = min(page.rowsperstrip or page.imagelength, page.imagelength)
    strips = -(-page.imagelength // rows_per_strip)
    is_planar = page.planarconfig == 2 and page.samplesperpixel > 1
    plane_count = page.samplesperpixel if is_planar else 1
    offsets = tuple(page.dataoffsets)
    if len(offsets) < strips * plane_count:
        raise ValueError(f"{len(offsets)} strips where {strips * plane_count} are needed")
    return [
        StripPlane(
            page.imagewidth,
            page.imagelength,
            1 if is_planar else page.samplesperpixel,
            dtype,
            rows_per_strip,
            offsets[plane * strips : (plane + 1) * strips],
        )
        for plane in range(plane_count)
    ]
