"""A TIFF as the decoder gets to see it: one clean directory, the pixels of the file."""

import itertools
import os
import struct
import weakref
from pathlib import Path
from typing import Any

import pyvips

from imaging.errors import DamagedFileError

from .limits import DEFAULT_LIMITS
from .tiff_directory import Directory, TiffWalker
from .tiff_header import Tag

__all__ = ["TiffView", "open_tiff"]

_SHORT, _LONG8 = 3, 16
_TIFF_STARTS = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")
_BIG_HEADER_BYTES = 16
_FILL_ORDER, _JPEG_TABLES, _YCC_TAGS = 266, 347, (529, 530, 531, 532)
# What a decoder needs to know; nothing else of a foreign directory reaches it.
_KEPT_TAGS = (
    Tag.WIDTH,
    Tag.HEIGHT,
    Tag.BITS,
    Tag.COMPRESSION,
    Tag.PHOTOMETRIC,
    _FILL_ORDER,
    Tag.SAMPLES,
    Tag.ROWS_PER_STRIP,
    Tag.PLANAR,
    Tag.PREDICTOR,
    Tag.TILE_WIDTH,
    Tag.TILE_HEIGHT,
    Tag.EXTRA_SAMPLES,
    Tag.SAMPLE_FORMAT,
    _JPEG_TABLES,
    *_YCC_TAGS,
    Tag.ICC,
)

_Record = tuple[int, int, bytes]


class TiffView:
    """A BigTIFF that exists only as a view: a new directory before the bytes of a file.

    Parameters
    ----------
    path : Path
        The file; it stays open as long as the view.
    header : bytes
        A BigTIFF start and one directory, whose offsets count from the start of the view.

    Notes
    -----
    libvips must be asked to fail on warnings, or it passes damaged tiles; but then it refuses
    sound pictures for tags out of order, of unknown type or without an ending zero. In a clean
    directory only the pixels are left to warn of. Also, libvips 8.18 reads bands that lie plane
    after plane wrongly when streaming, and in tiles not at all; shown one plane at a time it
    reads them well. No pixel is copied.
    """

    def __init__(self, path: Path, *, header: bytes) -> None:
        self._descriptor = os.open(path, os.O_RDONLY)
        weakref.finalize(self, os.close, self._descriptor)
        self._header = header
        self._size_bytes = len(header) + path.stat().st_size
        self._position = 0

    def read(self, size_bytes: int) -> bytes:
        """Return the next bytes of the view, fewer at its end."""
        start, before = self._position, len(self._header)
        if start < before:
            piece = self._header[start : start + size_bytes]
        else:
            piece = os.pread(self._descriptor, size_bytes, start - before)
        self._position += len(piece)
        return piece

    def seek(self, offset: int, whence: int) -> int:
        """Move to a place and return it."""
        base = (0, self._position, self._size_bytes)[whence]
        self._position = max(0, base + offset)
        return self._position

    def source(self) -> Any:
        """Return the view as a source for libvips."""
        source = pyvips.SourceCustom()
        source.on_read(self.read)
        source.on_seek(self.seek)
        return source


def open_tiff(
    path: Path, *, file_name: str | None = None, page: int = 0, access: str = "sequential"
) -> pyvips.Image | None:
    """Return a picture of a TIFF as a lazy image, None if the file is no TIFF.

    Parameters
    ----------
    path : Path
        A file whose header was found safe.
    file_name : str, optional
        For messages.
    page : int
        Which picture of the file.
    access : str
        ``"sequential"`` or ``"random"``, as for any image of libvips.

    Returns
    -------
    image : pyvips.Image or None
        With all bands and the colour profile. Images made from it keep the file open; a region
        does not, so hold its image as long as the region.

    Raises
    ------
    DamagedFileError
        If there is no such picture, or its strips or tiles are not all listed.
    pyvips.Error
        From the decoder.
    """
    shown = file_name or path.name
    with path.open("rb") as stream:
        if stream.read(4) not in _TIFF_STARTS:
            return None
        walker = TiffWalker(stream, size_bytes=path.stat().st_size, file_name=shown, limits=DEFAULT_LIMITS)
        directory = next(itertools.islice(walker.directories(), page, None), None)
        if directory is None:
            raise DamagedFileError(file_name=shown, what=f"it holds no picture {page + 1}")
        samples = walker.number(directory, Tag.SAMPLES, default=1)
        is_planar = samples > 1 and walker.number(directory, Tag.PLANAR, default=1) == 2
        planes = samples if is_planar else 1
        headers = [_header(walker, directory, plane, planes) for plane in range(planes)]
    # Each plane is read at its own pace, so each has its own view of the file.
    first, *others = (
        pyvips.Image.new_from_source(TiffView(path, header=header).source(), "", access=access, fail_on="warning")
        for header in headers
    )
    return first.bandjoin(others) if others else first


def _header(walker: TiffWalker, directory: Directory, plane: int, planes: int) -> bytes:
    is_tiled = Tag.TILE_WIDTH in directory.entries
    offset_tag = Tag.TILE_OFFSETS if is_tiled else Tag.STRIP_OFFSETS
    size_tag = Tag.TILE_BYTES if is_tiled else Tag.STRIP_BYTES
    offsets, sizes = walker.array(directory, offset_tag), walker.array(directory, size_tag)
    count = len(offsets) // planes
    if not count or len(sizes) < len(offsets):
        raise DamagedFileError(file_name=walker.file_name, what="it does not list all its strips or tiles")
    part = slice(plane * count, (plane + 1) * count)
    records: dict[int, _Record] = {}
    for tag in _KEPT_TAGS:
        entry, raw = directory.entries.get(tag), walker.raw(directory, tag)
        if entry is not None and raw is not None:
            records[tag] = (entry.kind, entry.count, raw)
    if planes > 1:
        _make_one_band(records, walker, directory)
    records[size_tag] = _long(sizes[part].astype(walker.order + "u8").tobytes())
    records[offset_tag] = _long(offsets[part].astype(walker.order + "u8").tobytes())
    # Their bytes move behind the directory, whose length does not depend on their values.
    moved = offsets[part] + len(_packed(records, order=walker.order))
    records[offset_tag] = _long(moved.astype(walker.order + "u8").tobytes())
    return _packed(records, order=walker.order)


def _make_one_band(records: dict[int, _Record], walker: TiffWalker, directory: Directory) -> None:
    is_white_zero = walker.number(directory, Tag.PHOTOMETRIC, default=1) == 0
    values = {Tag.SAMPLES: 1, Tag.PLANAR: 1, Tag.PHOTOMETRIC: 0 if is_white_zero else 1}
    for tag in (Tag.BITS, Tag.SAMPLE_FORMAT):
        if tag in records:
            values[tag] = walker.number(directory, tag)
    for tag, value in values.items():
        records[tag] = (_SHORT, 1, struct.pack(walker.order + "H", value))
    records.pop(Tag.EXTRA_SAMPLES, None)


def _long(values: bytes) -> _Record:
    return (_LONG8, len(values) // 8, values)


def _packed(records: dict[int, _Record], *, order: str) -> bytes:
    """Return a BigTIFF start, one directory with these tags, and its longer values."""
    mark = b"II" if order == "<" else b"MM"
    start = mark + struct.pack(order + "HHHQ", 43, 8, 0, _BIG_HEADER_BYTES)
    outside = _BIG_HEADER_BYTES + 8 + 20 * len(records) + 8
    entries, longer = [], bytearray()
    for tag, (kind, count, raw) in sorted(records.items()):
        if len(raw) > 8:
            place = struct.pack(order + "Q", outside + len(longer))
            longer += raw + bytes(-len(raw) % 8)
        else:
            place = raw.ljust(8, b"\0")
        entries.append(struct.pack(order + "HHQ", tag, kind, count) + place)
    directory = struct.pack(order + "Q", len(entries)) + b"".join(entries)
    return start + directory + struct.pack(order + "Q", 0) + bytes(longer)
