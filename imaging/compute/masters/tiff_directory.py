"""A bounded walk through the image directories of a TIFF or BigTIFF, or of an Exif block."""

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from imaging.errors import (
    DamagedFileError,
    DirectoryLoopError,
    HugeClaimError,
    OversizedTagError,
    TooManyPagesError,
    TruncatedFileError,
)

from .limits import DEFAULT_LIMITS, MasterLimits

__all__ = ["Directory", "Entry", "TiffWalker", "Value"]

Value = str | bytes | tuple[int, ...] | tuple[float, ...]

_ASCII, _RATIONAL, _UNDEFINED, _SRATIONAL = 2, 5, 7, 10
# Type number: bytes of one value and its struct letter (TIFF 6.0 section 2; BigTIFF adds 16-18).
_TYPES = {
    1: (1, "B"), 2: (1, "c"), 3: (2, "H"), 4: (4, "I"), 5: (8, "II"), 6: (1, "b"), 7: (1, "c"),
    8: (2, "h"), 9: (4, "i"), 10: (8, "ii"), 11: (4, "f"), 12: (8, "d"), 13: (4, "I"),
    16: (8, "Q"), 17: (8, "q"), 18: (8, "Q"),
}  # fmt: skip
_UNSIGNED = {1: "u1", 3: "u2", 4: "u4", 13: "u4", 16: "u8", 18: "u8"}


@dataclass(frozen=True)
class Entry:
    """Where the values of one tag lie."""

    tag: int
    kind: int
    count: int
    offset: int

    @property
    def size_bytes(self) -> int:
        """Length of all values together."""
        return self.count * _TYPES[self.kind][0]


@dataclass(frozen=True)
class Directory:
    """One image directory: its place, its tags, and the place of the next one (0: none)."""

    offset: int
    entries: dict[int, Entry]
    next_offset: int


class TiffWalker:
    """Reads directories and tag values, never more than the limits allow.

    Parameters
    ----------
    stream : binary file
        Open for reading and seekable.
    size_bytes : int
        Length of the stream.
    file_name : str
        For the messages.
    limits : MasterLimits, optional
        Bounds on tags, pages and sizes.

    Raises
    ------
    DamagedFileError
        If the first bytes are not those of a TIFF.

    Notes
    -----
    TIFF 6.0 (1992) section 2 for the structure; 43 in place of 42 and 64-bit offsets for
    BigTIFF. Memory: one tag value at a time.
    """

    def __init__(
        self,
        stream: BinaryIO,
        *,
        size_bytes: int,
        file_name: str,
        limits: MasterLimits = DEFAULT_LIMITS,
    ) -> None:
        self.stream, self.size_bytes = stream, size_bytes
        self.file_name, self.limits = file_name, limits
        start = self._read(0, 8, what="the TIFF header")
        self.order = {b"II": "<", b"MM": ">"}.get(start[:2], "")
        version = struct.unpack(self.order + "H", start[2:4])[0] if self.order else 0
        if version not in (42, 43):
            raise DamagedFileError(file_name=file_name, what="it does not begin like a TIFF")
        self.is_big = version == 43
        if self.is_big:
            widths = struct.unpack(self.order + "HH", start[4:8])
            if widths != (8, 0):
                raise DamagedFileError(file_name=file_name, what=f"its BigTIFF offsets have {widths[0]} bytes, not 8")
            start = self._read(8, 8, what="the BigTIFF header")
            self.first_offset = struct.unpack(self.order + "Q", start)[0]
        else:
            self.first_offset = struct.unpack(self.order + "I", start[4:8])[0]

    def directories(self) -> Iterator[Directory]:
        """Yield the directories of the main chain; refuse loops and endless chains."""
        seen: set[int] = set()
        offset = self.first_offset
        while offset:
            directory = self.directory_once(offset, seen)
            yield directory
            offset = directory.next_offset

    def directory_once(self, offset: int, seen: set[int]) -> Directory:
        """Return the directory at an offset and remember it; refuse one that was seen."""
        if offset in seen:
            raise DirectoryLoopError(file_name=self.file_name, offset=offset)
        if len(seen) >= self.limits.max_pages:
            raise TooManyPagesError(file_name=self.file_name, limit=self.limits.max_pages)
        seen.add(offset)
        return self.directory(offset)

    def directory(self, offset: int) -> Directory:
        """Return the directory at a byte offset."""
        count_format, count_bytes = ("Q", 8) if self.is_big else ("H", 2)
        entry_bytes, next_bytes = (20, 8) if self.is_big else (12, 4)
        (count,) = struct.unpack(
            self.order + count_format,
            self._read(offset, count_bytes, what=f"the image directory at byte {offset:,}"),
        )
        if count > self.limits.max_tags:
            raise HugeClaimError(
                file_name=self.file_name,
                what="tags in one image directory",
                got=count,
                limit=self.limits.max_tags,
            )
        start = offset + count_bytes
        block = self._read(start, count * entry_bytes + next_bytes, what=f"the image directory at byte {offset:,}")
        entries: dict[int, Entry] = {}
        for index in range(count):
            entry = self._entry(
                block[index * entry_bytes : (index + 1) * entry_bytes],
                position=start + index * entry_bytes,
            )
            if entry is not None:
                entries.setdefault(entry.tag, entry)
        (next_offset,) = struct.unpack(self.order + ("Q" if self.is_big else "I"), block[-next_bytes:])
        return Directory(offset=offset, entries=entries, next_offset=next_offset)

    def value(self, directory: Directory, tag: int, *, limit_bytes: int | None = None) -> Value | None:
        """Return the values of a tag, None if it is absent.

        Parameters
        ----------
        directory : Directory
            Where to look.
        tag : int
            Number of the tag.
        limit_bytes : int, optional
            Largest size read; the limit for one tag otherwise.

        Returns
        -------
        values : str, bytes, tuple of int, tuple of float or None
            Text for ASCII, bytes for UNDEFINED, ratios as floats (NaN for n/0).
        """
        data = self.raw(directory, tag, limit_bytes=limit_bytes)
        if data is None:
            return None
        return _decoded(data, directory.entries[tag], order=self.order)

    def numbers(
        self, directory: Directory, tag: int, *, limit_bytes: int | None = None
    ) -> tuple[int, ...] | tuple[float, ...]:
        """Return the values of a tag as numbers, empty if it is absent or text."""
        found = self.value(directory, tag, limit_bytes=limit_bytes)
        return found if isinstance(found, tuple) else ()

    def number(self, directory: Directory, tag: int, *, default: int = 0) -> int:
        """Return the first value of a tag as a whole number."""
        found = self.numbers(directory, tag)
        return int(found[0]) if found and found[0] == found[0] else default

    def raw(self, directory: Directory, tag: int, *, limit_bytes: int | None = None) -> bytes | None:
        """Return the bytes of a tag as stored, whatever its type; None if it is absent."""
        entry = directory.entries.get(tag)
        if entry is None:
            return None
        limit = limit_bytes if limit_bytes is not None else self.limits.max_tag_bytes
        if entry.size_bytes > limit:
            raise OversizedTagError(
                file_name=self.file_name,
                what=f"a tag {tag}",
                got_bytes=entry.size_bytes,
                limit_bytes=limit,
            )
        return self._read(entry.offset, entry.size_bytes, what=f"tag {tag}")

    def array(self, directory: Directory, tag: int) -> NDArray[np.uint64]:
        """Return a long list of whole numbers, such as tile offsets, as an array."""
        entry = directory.entries.get(tag)
        if entry is None or entry.kind not in _UNSIGNED:
            return np.zeros(0, np.uint64)
        data = self.raw(directory, tag, limit_bytes=8 * self.limits.max_blocks)
        return np.frombuffer(data or b"", self.order + _UNSIGNED[entry.kind]).astype(np.uint64)

    def _entry(self, record: bytes, *, position: int) -> Entry | None:
        tag, kind = struct.unpack(self.order + "HH", record[:4])
        count_format, inline = ("Q", 8) if self.is_big else ("I", 4)
        (count,) = struct.unpack(self.order + count_format, record[4 : 4 + inline])
        if kind not in _TYPES:
            # TIFF 6.0: readers skip fields of a type they do not know.
            return None
        if count * _TYPES[kind][0] <= inline:
            return Entry(tag=tag, kind=kind, count=count, offset=position + 4 + inline)
        (offset,) = struct.unpack(self.order + count_format, record[4 + inline :])
        return Entry(tag=tag, kind=kind, count=count, offset=offset)

    def _read(self, offset: int, size_bytes: int, *, what: str) -> bytes:
        if offset + size_bytes > self.size_bytes:
            raise TruncatedFileError(
                file_name=self.file_name,
                what=what,
                needed_bytes=offset + size_bytes,
                got_bytes=self.size_bytes,
            )
        self.stream.seek(offset)
        return self.stream.read(size_bytes)


def _decoded(data: bytes, entry: Entry, *, order: str) -> Value:
    if entry.kind == _ASCII:
        return data.decode("utf-8", "replace").rstrip("\0")
    if entry.kind == _UNDEFINED:
        return data
    letters = _TYPES[entry.kind][1]
    flat = struct.unpack(f"{order}{entry.count * len(letters)}{letters[0]}", data)
    if entry.kind in (_RATIONAL, _SRATIONAL):
        return tuple(
            above / below if below else float("nan") for above, below in zip(flat[::2], flat[1::2], strict=True)
        )
    return flat
