"""Exif and TIFF tags as named values, unknown ones included."""

import base64
import datetime as dt
import hashlib
import io
import math
from pathlib import Path
from typing import Any

from PIL.ExifTags import GPSTAGS, TAGS

from imaging.compute.masters.limits import DEFAULT_LIMITS, MasterLimits
from imaging.compute.masters.tiff_directory import Directory, TiffWalker, Value
from imaging.compute.masters.tiff_header import Tag

__all__ = ["exif_of_block", "exif_of_tiff", "iso_time"]

_EXIF_DIRECTORY, _GPS_DIRECTORY, _INTEROPERABILITY_DIRECTORY = 34665, 34853, 40965
# They describe where the pixels lie, or are kept elsewhere.
_LEFT_OUT = {
    Tag.STRIP_OFFSETS, Tag.STRIP_BYTES, Tag.TILE_OFFSETS, Tag.TILE_BYTES, Tag.SUB_DIRECTORIES,
    Tag.XMP, Tag.IPTC, Tag.ICC, _EXIF_DIRECTORY, _GPS_DIRECTORY, _INTEROPERABILITY_DIRECTORY,
}  # fmt: skip
_MOST_VALUES = 256
_BYTE, _LONGEST_BYTE_LIST = 1, 4
_WHOLE_BYTES = 65_536
_EXIF_LIMITS = MasterLimits(max_pages=4, max_tags=DEFAULT_LIMITS.max_tags)


def exif_of_block(block: bytes) -> dict[str, Any]:
    """Return the tags of an Exif block as JSON values by name.

    Parameters
    ----------
    block : bytes
        From its byte order mark on.

    Returns
    -------
    tags : dict
        Names as in Exif 2.32; a number such as ``"0xC4A5"`` where none is known. The tags of
        the place on earth are in ``"GPS"``.

    Raises
    ------
    MasterFileError
        If the block is damaged.
    """
    walker = TiffWalker(io.BytesIO(block), size_bytes=len(block), file_name="Exif", limits=_EXIF_LIMITS)
    return _tags_of(walker, walker.directory(walker.first_offset))


def exif_of_tiff(path: Path) -> dict[str, Any]:
    """Return the tags of the first picture of a TIFF and of its Exif directory.

    Parameters
    ----------
    path : Path
        Its header was read before.

    Returns
    -------
    tags : dict
        As in `exif_of_block`, with the tags of the picture itself.

    Raises
    ------
    MasterFileError
        If the directories are damaged.
    """
    with path.open("rb") as stream:
        walker = TiffWalker(stream, size_bytes=path.stat().st_size, file_name=path.name)
        return _tags_of(walker, walker.directory(walker.first_offset))


def iso_time(stamp: object, offset: object) -> str:
    """Return an Exif time stamp in the form of ISO 8601, empty if it is none.

    Parameters
    ----------
    stamp : object
        Such as ``"2024:03:14 10:12:05"``.
    offset : object
        Such as ``"+01:00"``; left out if it is none.

    Returns
    -------
    time : str
        Without an offset where none is stated: the zone is then unknown.

    Examples
    --------
    >>> iso_time("2024:03:14 10:12:05", "+01:00")
    '2024-03-14T10:12:05+01:00'
    >>> iso_time("0000:00:00 00:00:00", None)
    ''
    """
    if not isinstance(stamp, str):
        return ""
    zone = offset.strip() if isinstance(offset, str) else ""
    try:
        written = dt.datetime.strptime(  # noqa: DTZ007 - Exif often states no zone
            stamp.strip().rstrip("\0"), "%Y:%m:%d %H:%M:%S"
        ).isoformat()
    except ValueError:
        return ""
    try:
        return dt.datetime.fromisoformat(written + zone).isoformat()
    except ValueError:
        return written


def _tags_of(walker: TiffWalker, directory: Directory) -> dict[str, Any]:
    tags = _named(walker, directory, TAGS)
    inner = walker.number(directory, _EXIF_DIRECTORY)
    if inner:
        tags |= _named(walker, walker.directory(inner), TAGS)
    place = walker.number(directory, _GPS_DIRECTORY)
    if place:
        tags["GPS"] = _named(walker, walker.directory(place), GPSTAGS)
    return tags


def _named(walker: TiffWalker, directory: Directory, names: dict[int, str]) -> dict[str, Any]:
    return {
        names.get(tag, f"0x{tag:04X}"): _plain(
            # A long row of bytes is a block of somebody's own, whichever type it was given.
            walker.raw(directory, tag)
            if entry.kind == _BYTE and entry.count > _LONGEST_BYTE_LIST
            else walker.value(directory, tag)
        )
        for tag, entry in directory.entries.items()
        if tag not in _LEFT_OUT
    }


def _plain(value: Value | None) -> Any:
    """Return a tag value as JSON can hold it; very long ones by size and check sum."""
    if isinstance(value, bytes):
        if len(value) > _WHOLE_BYTES:
            return {"bytes": len(value), "sha256": hashlib.sha256(value).hexdigest()}
        return {"base64": base64.b64encode(value).decode()}
    if isinstance(value, str):
        # PostgreSQL holds no zero characters.
        return value.replace("\0", "")[:_WHOLE_BYTES]
    if value is None:
        return None
    numbers = [None if isinstance(each, float) and not math.isfinite(each) else each for each in value[:_MOST_VALUES]]
    return numbers[0] if len(numbers) == 1 else numbers
