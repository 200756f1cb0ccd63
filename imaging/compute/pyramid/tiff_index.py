"""Read the directories of the BigTIFF files written here, distrusting every number."""

from __future__ import annotations

import json
import mmap
import struct
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from imaging.errors import DamagedPyramidError

__all__ = ["TiffIndex", "TileIndex", "read_tiff_index"]

_ENTRY = np.dtype([("code", "<u2"), ("kind", "<u2"), ("count", "<u8"), ("value", "<u8")])
_TYPES = {2: "u1", 3: "<u2", 4: "<u4", 7: "u1", 16: "<u8", 18: "<u8"}
_MOST_TAGS, _MOST_IMAGES = 64, 64


@dataclass(frozen=True)
class TileIndex:
    """Size and tiles of one image of a file.

    Parameters
    ----------
    name : str
        Name of the file, for messages.
    width_px, height_px : int, px
        Size of the image.
    columns, rows : int
        Number of tiles.
    offsets, counts : integer arrays
        Place and length of each tile in bytes, row by row; all inside the file.
    """

    name: str
    width_px: int
    height_px: int
    columns: int
    rows: int
    offsets: NDArray[np.uint64]
    counts: NDArray[np.uint32]

    def refuse_short_tiles(self, needed_bytes: int) -> None:
        """Raise DamagedPyramidError unless each tile has the given length."""
        if len(self.counts) and int(self.counts.min()) < needed_bytes:
            what = f"a tile has {self.counts.min()} bytes where {needed_bytes} are needed"
            raise DamagedPyramidError(file_name=self.name, what=what)


@dataclass(frozen=True)
class TiffIndex:
    """What the directories of one file say.

    Parameters
    ----------
    description : dict
        The JSON of tag 270.
    icc_profile : bytes or None
        Tag 34675 of the first image.
    images : tuple of TileIndex
        The first image and its sub-directories, in their order in the file.
    """

    description: dict[str, Any]
    icc_profile: bytes | None
    images: tuple[TileIndex, ...]


def read_tiff_index(data: mmap.mmap, *, name: str, kind: str) -> TiffIndex:
    """Return the directories of a file made here.

    Parameters
    ----------
    data : mmap.mmap
        The file.
    name : str
        Its name, for messages.
    kind : str
        The ``type`` that its description must have.

    Returns
    -------
    index : TiffIndex
        The tile arrays are views of the file.

    Raises
    ------
    DamagedPyramidError
        If the file is of another kind, or an entry leads out of it.
    """
    reader = _DirectoryReader(data, name)
    first = reader.directory(reader.first_offset())
    description = reader.json(first, kind)
    others = first.get(330, np.empty(0, np.uint64))[:_MOST_IMAGES]
    directories = [first, *(reader.directory(int(offset)) for offset in others)]
    profile = first.get(34675)
    return TiffIndex(
        description,
        None if profile is None else profile.tobytes(),
        tuple(reader.tile_index(directory) for directory in directories),
    )


class _DirectoryReader:
    def __init__(self, data: mmap.mmap, name: str) -> None:
        self._data, self._name = data, name

    def refusal(self, what: str) -> DamagedPyramidError:
        return DamagedPyramidError(file_name=self._name, what=what)

    def first_offset(self) -> int:
        if len(self._data) < 16 or self._data[:8] != b"II+\0\x08\0\0\0":
            raise self.refusal("it is no little-endian BigTIFF")
        return int(struct.unpack_from("<Q", self._data, 8)[0])

    def directory(self, offset: int) -> dict[int, NDArray[Any]]:
        (count,) = self._values(offset, 1, "<u8")
        if count > _MOST_TAGS:
            raise self.refusal(f"a directory of {count} entries")
        entries = self._values(offset + 8, int(count), _ENTRY)
        # The offset of a next directory, always 0, ends each of them.
        self._values(offset + 8 + entries.nbytes, 1, "<u8")
        tags = {}
        for number, entry in enumerate(entries):
            kind = _TYPES.get(int(entry["kind"]))
            if kind is None:
                raise self.refusal(f"tag {entry['code']} has the type {entry['kind']}")
            size_bytes = int(entry["count"]) * np.dtype(kind).itemsize
            in_place = offset + 8 + number * _ENTRY.itemsize + 12
            place = in_place if size_bytes <= 8 else int(entry["value"])
            tags[int(entry["code"])] = self._values(place, int(entry["count"]), kind)
        return tags

    def json(self, tags: dict[int, NDArray[Any]], kind: str) -> dict[str, Any]:
        text = tags[270].tobytes().rstrip(b"\0") if 270 in tags else b""
        try:
            description = json.loads(text)
        except ValueError:
            description = None
        if not isinstance(description, dict) or description.get("type") != kind:
            raise self.refusal(f"it does not say that it is of type {kind}")
        return description

    def tile_index(self, tags: dict[int, NDArray[Any]]) -> TileIndex:
        missing = {256, 257, 322, 323, 324, 325} - set(tags)
        if missing:
            raise self.refusal(f"the tags {sorted(missing)} are missing")
        width_px, height_px, tile_width_px, tile_height_px = (int(tags[code][0]) for code in (256, 257, 322, 323))
        if min(width_px, height_px, tile_width_px, tile_height_px) < 1:
            raise self.refusal("a size of 0 px")
        columns, rows = -(-width_px // tile_width_px), -(-height_px // tile_height_px)
        offsets, counts = tags[324], tags[325]
        if len(offsets) != columns * rows or len(counts) != columns * rows:
            raise self.refusal(f"{len(offsets)} tiles where {columns * rows} are needed")
        size_bytes = len(self._data)
        if int(counts.max()) > size_bytes or (offsets > size_bytes - counts.astype("u8")).any():
            raise self.refusal("a tile lies beyond the end of the file")
        return TileIndex(self._name, width_px, height_px, columns, rows, offsets, counts)

    def _values(self, offset: int, count: int, kind: str | np.dtype) -> NDArray[Any]:
        needed = offset + count * np.dtype(kind).itemsize
        if needed > len(self._data):
            raise self.refusal(f"{needed} bytes are needed, the file has {len(self._data)}")
        return np.frombuffer(self._data, kind, count, offset)
