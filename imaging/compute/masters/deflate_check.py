"""The checksum of every compressed block of a deflate TIFF, which its decoder does not look at."""

import zlib
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from typing import BinaryIO

from imaging.errors import DamagedFileError

from .limits import DEFAULT_LIMITS
from .master_header import MasterHeader
from .tiff_directory import TiffWalker
from .tiff_header import Tag

__all__ = ["refuse_damaged_deflate"]

_THREADS = 2
# Blocks read ahead of the threads: bounds the memory by a few compressed blocks.
_BLOCKS_AHEAD = 16
# Decoded bytes are thrown away in pieces of this size; a bomb costs time, never memory.
_PIECE_BYTES = 2**20


def refuse_damaged_deflate(path: Path, header: MasterHeader) -> None:
    """Refuse a TIFF of which one deflate block is not what was written.

    Parameters
    ----------
    path : Path
        Where the file lies.
    header : MasterHeader
        From `read_header`; files with another compression pass unread.

    Raises
    ------
    DamagedFileError
        Naming the number of the first bad strip or tile, from 0.

    Notes
    -----
    A block of this compression is a zlib stream (TIFF technical note 3), which ends with the
    Adler-32 of its content (RFC 1950, 2.2). libtiff stops at the last sample it needs and never
    reads that, so that damage in the middle of a block may decode without a warning: 2,000 bytes
    set to zero in a strip of 237,000 did. Streams; two blocks are decoded at the same time.
    """
    if header.compression != "deflate" or header.format not in ("tiff", "bigtiff"):
        return
    with path.open("rb") as stream, ThreadPoolExecutor(_THREADS) as threads:
        blocks = _blocks(stream, path, header)
        waiting: list[tuple[int, Future[str]]] = []
        for number, data in enumerate(blocks):
            waiting.append((number, threads.submit(_problem, data)))
            if len(waiting) >= _BLOCKS_AHEAD:
                _refuse(*_first(waiting), header=header)
        while waiting:
            _refuse(*_first(waiting), header=header)


def _first(waiting: list[tuple[int, Future[str]]]) -> tuple[int, str]:
    number, job = waiting.pop(0)
    return number, job.result()


def _refuse(number: int, problem: str, *, header: MasterHeader) -> None:
    if problem:
        kind = "tile" if header.layout == "tiles" else "strip"
        raise DamagedFileError(
            file_name=header.file_name,
            what=f"its pixels cannot all be decoded ({kind} {number}: {problem})",
        )


def _blocks(stream: BinaryIO, path: Path, header: MasterHeader) -> Iterator[bytes]:
    """Yield the compressed blocks of every page that is read, in the order of the file's lists."""
    with path.open("rb") as lists:
        walker = TiffWalker(lists, size_bytes=header.file_bytes, file_name=header.file_name, limits=DEFAULT_LIMITS)
        pages = header.bands if header.storage == "pages" else 1
        for page, directory in enumerate(walker.directories()):
            if page == pages:
                return
            is_tiled = Tag.TILE_OFFSETS in directory.entries
            offsets = walker.array(directory, Tag.TILE_OFFSETS if is_tiled else Tag.STRIP_OFFSETS)
            sizes = walker.array(directory, Tag.TILE_BYTES if is_tiled else Tag.STRIP_BYTES)
            for offset, size in zip(offsets.tolist(), sizes.tolist(), strict=True):
                stream.seek(offset)
                yield stream.read(size)


def _problem(data: bytes) -> str:
    """Return what is wrong with one zlib stream; one without its checksum is left to the decoder."""
    if not data:
        # A block of no bytes is all zero by the specification of sparse files.
        return ""
    inflate = zlib.decompressobj()
    try:
        inflate.decompress(data, _PIECE_BYTES)
        while inflate.unconsumed_tail:
            inflate.decompress(inflate.unconsumed_tail, _PIECE_BYTES)
        inflate.flush()
    except zlib.error as err:
        return str(err).removeprefix("Error -3 while decompressing data: ")
    return ""
