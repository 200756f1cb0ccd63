"""A TIFF whose bands lie plane after plane, shown to libvips as one picture per plane."""

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

__all__ = ["PlaneFile", "open_planes"]

_SHORT, _LONG, _LONG8 = 3, 4, 16
_TIFF_STARTS = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")
# Copied from the directory: what the decoder needs to know of a plane.
_KEPT_TAGS = (Tag.WIDTH, Tag.HEIGHT, Tag.COMPRESSION, Tag.ROWS_PER_STRIP, Tag.PREDICTOR,
             Tag.TILE_WIDTH, Tag.TILE_HEIGHT)  # fmt: skip
_BIG_HEADER_BYTES = 16


class PlaneFile:
    """A BigTIFF that exists only as a view: one plane of a file on disk.

    Parameters
    ----------
    path : Path
        The file; it stays open as long as the view.
    header : bytes
        What stands before the bytes of the file: a BigTIFF start and one directory.

    Notes
    -----
    libvips 8.18 reads planes in strips of several rows wrongly when streaming and refuses
    planes in tiles, while one band alone it reads well. The offsets of the view are those of
    the file plus the length of the part before it; no pixel is copied.
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


def open_planes(
    path: Path, *, file_name: str | None = None, page: int = 0, access: str = "sequential"
) -> list[pyvips.Image]:
    """Return one lazy image of one band per plane of a picture, none if it has no planes.

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
    images : list of pyvips.Image
        In the order of the bands; the first carries the colour profile. Empty unless the file
        is a TIFF with PlanarConfiguration 2 and several samples. Images made from them keep the
        file open; a region does not, so hold its image as long as the region.

    Raises
    ------
    DamagedFileError
        If the planes are not listed completely.
    pyvips.Error
        From the decoder.
    """
    with path.open("rb") as stream:
        if stream.read(4) not in _TIFF_STARTS:
            return []
        walker = TiffWalker(
            stream,
            size_bytes=path.stat().st_size,
            file_name=file_name or path.name,
            limits=DEFAULT_LIMITS,
        )
        directory = next(itertools.islice(walker.directories(), page, None), None)
        samples = walker.number(directory, Tag.SAMPLES, 1) if directory else 1
        if directory is None or samples == 1 or walker.number(directory, Tag.PLANAR, 1) != 2:
            return []
        headers = [_plane_header(walker, directory, plane) for plane in range(samples)]
        profile = walker.raw(directory, Tag.ICC)
    # Each plane is read at its own pace, so each has its own view of the file.
    images = [
        pyvips.Image.new_from_source(PlaneFile(path, header=header).source(), "", access=access, fail_on="warning")
        for header in headers
    ]
    if profile:
        images[0] = images[0].copy()
        images[0].set_type(pyvips.GValue.blob_type, "icc-profile-data", profile)
    return images


def _plane_header(walker: TiffWalker, directory: Directory, plane: int) -> bytes:
    is_tiled = Tag.TILE_WIDTH in directory.entries
    offset_tag = Tag.TILE_OFFSETS if is_tiled else Tag.STRIP_OFFSETS
    size_tag = Tag.TILE_BYTES if is_tiled else Tag.STRIP_BYTES
    offsets, sizes = walker.array(directory, offset_tag), walker.array(directory, size_tag)
    samples = walker.number(directory, Tag.SAMPLES, 1)
    count = len(offsets) // samples
    if not count or len(sizes) < len(offsets):
        raise DamagedFileError(file_name=walker.file_name, what="it does not list all its planes")
    part = slice(plane * count, (plane + 1) * count)
    shorts = {Tag.SAMPLES: 1, Tag.PLANAR: 1, Tag.PHOTOMETRIC: _grey(walker, directory)}
    for tag in (Tag.BITS, Tag.SAMPLE_FORMAT):
        values = walker.numbers(directory, tag)
        if values:
            shorts[tag] = int(values[0])
    entries = {tag: (_SHORT, [value]) for tag, value in shorts.items()}
    for tag in _KEPT_TAGS:
        if tag in directory.entries:
            entries[tag] = (_LONG, [walker.number(directory, tag)])
    entries[size_tag] = (_LONG8, sizes[part].tolist())
    entries[offset_tag] = (_LONG8, offsets[part].tolist())
    return _packed(entries, moved_tag=offset_tag, order=walker.order)


def _grey(walker: TiffWalker, directory: Directory) -> int:
    return 0 if walker.number(directory, Tag.PHOTOMETRIC, 1) == 0 else 1


def _packed(entries: dict[int, tuple[int, list[int]]], *, moved_tag: int, order: str) -> bytes:
    """Return a BigTIFF start and directory; offsets of `moved_tag` count from its own end."""
    letters = {_SHORT: "H", _LONG: "I", _LONG8: "Q"}
    directory_bytes = 8 + 20 * len(entries) + 8
    outside = _BIG_HEADER_BYTES + directory_bytes
    total = outside + sum(8 * len(v) for kind, v in entries.values() if kind == _LONG8 and len(v) > 1)
    mark = b"II" if order == "<" else b"MM"
    start = mark + struct.pack(order + "HHHQ", 43, 8, 0, _BIG_HEADER_BYTES)
    records, values_after = b"", b""
    for tag, (kind, values) in sorted(entries.items()):
        moved = [value + total for value in values] if tag == moved_tag else values
        packed = struct.pack(f"{order}{len(moved)}{letters[kind]}", *moved)
        if len(packed) > 8:
            place = struct.pack(order + "Q", outside + len(values_after))
            values_after += packed
        else:
            place = packed.ljust(8, b"\0")
        records += struct.pack(order + "HHQ", tag, kind, len(moved)) + place
    return start + struct.pack(order + "Q", len(entries)) + records + struct.pack(order + "Q", 0) + values_after
