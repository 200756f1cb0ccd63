"""Tiled BigTIFF files: bytes of tiles first, directories last.

Written from TIFF 6.0 (1992), its supplement for sub-directories (tag 330, 1995) and the
published BigTIFF layout (magic 43, 64-bit offsets). Every file is little-endian.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

__all__ = ["BigTiffFile", "PixelLayout", "TiledImage"]

_HEADER = struct.Struct("<2sHHHQ")
_ENTRY = struct.Struct("<HHQ8s")
_ASCII, _SHORT, _LONG, _UNDEFINED, _LONG8, _IFD8 = 2, 3, 4, 7, 16, 18
_FORMATS = {_SHORT: "<u2", _LONG: "<u4", _LONG8: "<u8", _IFD8: "<u8"}
# Uncompressed tiles are read in place, as arrays: keep them aligned to any sample.
_ALIGNMENT_BYTES = 16


@dataclass(frozen=True)
class PixelLayout:
    """How the samples of every image of one file are stored.

    Parameters
    ----------
    samples : int
        Samples per pixel.
    dtype : numpy.dtype
        uint8, uint16 or float32.
    compression, photometric : int
        TIFF tags 259 and 262.
    chroma_subsampling : tuple of int or None
        TIFF tag 530, for YCbCr only.
    """

    samples: int
    dtype: np.dtype
    compression: int
    photometric: int
    chroma_subsampling: tuple[int, int] | None = None


@dataclass
class TiledImage:
    """Size and tile index of one image of the file.

    Parameters
    ----------
    width_px, height_px : int, px
        Size without the padding of the edge tiles.
    tile_size_px : int, px
        Side of a tile.
    is_reduced : bool
        True for a smaller version of the first image (TIFF tag 254).
    """

    width_px: int
    height_px: int
    tile_size_px: int
    is_reduced: bool
    offsets: NDArray[np.uint64] = field(init=False)
    counts: NDArray[np.uint32] = field(init=False)

    def __post_init__(self) -> None:
        """Make an index without tiles."""
        tiles = -(-self.width_px // self.tile_size_px) * -(-self.height_px // self.tile_size_px)
        self.offsets = np.zeros(tiles, np.uint64)
        self.counts = np.zeros(tiles, np.uint32)


@dataclass(frozen=True)
class _Tag:
    code: int
    kind: int
    values: bytes | Sequence[int] | NDArray[np.unsignedinteger]

    def encoded(self) -> tuple[int, bytes]:
        """Return the number of values and their bytes."""
        if isinstance(self.values, bytes):
            return len(self.values), self.values
        array = np.asarray(self.values, _FORMATS[self.kind])
        return array.size, array.tobytes()


class BigTiffFile:
    """Writes one BigTIFF: tiles in any order, then `finish`.

    Parameters
    ----------
    file : binary file
        Empty, writable, seekable.
    layout : PixelLayout
        The same for every image of the file.
    """

    def __init__(self, file: BinaryIO, layout: PixelLayout) -> None:
        self._file = file
        self._layout = layout
        self._position = _HEADER.size
        file.write(_HEADER.pack(b"II", 43, 8, 0, 0))

    def append(self, data: bytes | memoryview) -> int:
        """Write bytes at the next aligned place and return their offset."""
        padding = -self._position % _ALIGNMENT_BYTES
        if padding:
            self._file.write(bytes(padding))
        offset = self._position + padding
        self._file.write(data)
        self._position = offset + len(data)
        return offset

    def finish(self, images: Sequence[TiledImage], *, description: str, icc_profile: bytes | None) -> None:
        """Write the directories: the first image, the others as its sub-directories.

        Parameters
        ----------
        images : sequence of TiledImage
            The first is the main image.
        description : str
            ASCII text for tag 270.
        icc_profile : bytes or None
            For tag 34675.
        """
        first, *others = images
        offsets = [self._write_directory(self._tags(image)) for image in others]
        tags = self._tags(first)
        tags.append(_Tag(270, _ASCII, description.encode("ascii") + b"\0"))
        if icc_profile:
            tags.append(_Tag(34675, _UNDEFINED, icc_profile))
        if offsets:
            tags.append(_Tag(330, _IFD8, offsets))
        main_offset = self._write_directory(tags)
        self._file.seek(0)
        self._file.write(_HEADER.pack(b"II", 43, 8, 0, main_offset))

    def _tags(self, image: TiledImage) -> list[_Tag]:
        layout = self._layout
        sample_format = 3 if layout.dtype.kind == "f" else 1
        tags = [
            _Tag(254, _LONG, [int(image.is_reduced)]),
            _Tag(256, _LONG, [image.width_px]),
            _Tag(257, _LONG, [image.height_px]),
            _Tag(258, _SHORT, [layout.dtype.itemsize * 8] * layout.samples),
            _Tag(259, _SHORT, [layout.compression]),
            _Tag(262, _SHORT, [layout.photometric]),
            _Tag(277, _SHORT, [layout.samples]),
            _Tag(284, _SHORT, [1]),
            _Tag(322, _LONG, [image.tile_size_px]),
            _Tag(323, _LONG, [image.tile_size_px]),
            _Tag(324, _LONG8, image.offsets),
            _Tag(325, _LONG, image.counts),
            _Tag(339, _SHORT, [sample_format] * layout.samples),
        ]
        colours = 1 if layout.photometric == 1 else 3
        if layout.samples > colours:
            tags.append(_Tag(338, _SHORT, [0] * (layout.samples - colours)))
        if layout.chroma_subsampling is not None:
            tags.append(_Tag(530, _SHORT, layout.chroma_subsampling))
        return tags

    def _write_directory(self, tags: list[_Tag]) -> int:
        entries = []
        for tag in sorted(tags, key=lambda tag: tag.code):
            count, data = tag.encoded()
            if len(data) > 8:
                data = struct.pack("<Q", self.append(data))
            entries.append(_ENTRY.pack(tag.code, tag.kind, count, data.ljust(8, b"\0")))
        return self.append(struct.pack("<Q", len(entries)) + b"".join(entries) + struct.pack("<Q", 0))
