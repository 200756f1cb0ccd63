"""The header of a HEIC master: the boxes of an ISO base media file, walked in bounds."""

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

from imaging.errors import (
    DamagedFileError,
    OversizedTagError,
    TruncatedFileError,
    UnsupportedSampleError,
    WholePictureError,
)

from .icc_profile import summarise_profile
from .limits import MasterLimits
from .master_header import MasterHeader
from .size_check import refuse_huge_claims

__all__ = ["HEIF_BRANDS", "read_heif_header"]

# Brands of files whose pictures are HEVC (ISO/IEC 23008-12); AVIF is another one.
HEIF_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"mif1", b"msf1")
_MOST_BOXES = 4096
_ALPHA_URNS = (b"urn:mpeg:hevc:2015:auxid:1", b"urn:mpeg:mpegB:cicp:systems:auxiliary:alpha")
_HVCC_DEPTH_BYTE = 17


@dataclass(frozen=True)
class _Box:
    """One box: its four-letter kind and its content."""

    kind: bytes
    content: bytes


def read_heif_header(stream: BinaryIO, *, file_name: str, file_bytes: int, limits: MasterLimits) -> MasterHeader:
    """Return what a HEIC file says about its primary picture; decode nothing.

    Parameters
    ----------
    stream : binary file
        Open for reading.
    file_name : str
        For messages.
    file_bytes : int
        Size of the file.
    limits : MasterLimits
        Bounds on every claim.

    Returns
    -------
    header : MasterHeader
        Size after the turning, mirroring and cropping that the file orders, which the decoder
        carries out; so `orientation` is 1 and `layout` ``"whole"``.

    Raises
    ------
    MasterFileError
        One of its classes, if the file cannot be a master.

    Notes
    -----
    ISO/IEC 14496-12 (boxes) and 23008-12 (pitm, ipma, ispe, pixi, irot, clap, auxC), layout of
    the fields from memory, checked against libheif in the tests.
    """
    content = _meta(stream, file_name=file_name, file_bytes=file_bytes, limits=limits)
    boxes = {box.kind: box.content for box in _boxes(content[4:], file_name=file_name)}
    try:
        picture = _picture(boxes, file_name=file_name)
    except (struct.error, IndexError) as err:
        raise DamagedFileError(file_name=file_name, what="its picture boxes break off") from err
    width, height = picture.size_px
    refuse_huge_claims(width, height, bands=picture.bands, file_name=file_name, limits=limits)
    summary = summarise_profile(picture.profile) if picture.profile else None
    header = MasterHeader(
        file_name=file_name,
        format="heic",
        file_bytes=file_bytes,
        width_px=width,
        height_px=height,
        bands=picture.bands,
        sample_format="u8" if picture.bits == 8 else "u16",
        colour="grey" if picture.bands == 1 else "rgb",
        has_alpha=picture.has_alpha,
        layout="whole",
        compression="hevc",
        icc_profile=picture.profile or None,
        icc_name=summary.name if summary else "",
    )
    if 2 * header.decoded_bytes > limits.max_whole_picture_bytes:
        raise WholePictureError(
            file_name=file_name,
            form="a HEIC picture",
            needed_bytes=2 * header.decoded_bytes,
            limit_bytes=limits.max_whole_picture_bytes,
        )
    return header


@dataclass(frozen=True)
class _Picture:
    """The primary picture as its properties describe it."""

    size_px: tuple[int, int]
    bands: int
    bits: int
    has_alpha: bool
    profile: bytes


def _meta(stream: BinaryIO, *, file_name: str, file_bytes: int, limits: MasterLimits) -> bytes:
    """Return the content of the ``meta`` box, the only one needed before decoding."""
    position = 0
    for _ in range(_MOST_BOXES):
        stream.seek(position)
        head = stream.read(16)
        if len(head) < 8:
            break
        size, kind = struct.unpack(">I4s", head[:8])
        start = 8
        if size == 1 and len(head) == 16:
            (size,) = struct.unpack(">Q", head[8:])
            start = 16
        elif size == 0:
            size = file_bytes - position
        if size < start:
            raise DamagedFileError(file_name=file_name, what=f"a box of {size} bytes")
        if position + size > file_bytes:
            raise TruncatedFileError(
                file_name=file_name,
                what=f"its box {kind.decode('ascii', 'replace')}",
                needed_bytes=position + size,
                got_bytes=file_bytes,
            )
        if kind == b"meta":
            if size > limits.max_tag_bytes:
                raise OversizedTagError(
                    file_name=file_name,
                    what="a description",
                    got_bytes=size,
                    limit_bytes=limits.max_tag_bytes,
                )
            stream.seek(position + start)
            return stream.read(size - start)
        position += size
    raise DamagedFileError(file_name=file_name, what="it does not describe any picture")


def _boxes(content: bytes, *, file_name: str) -> Iterator[_Box]:
    position = 0
    for _ in range(_MOST_BOXES):
        if position + 8 > len(content):
            return
        size, kind = struct.unpack_from(">I4s", content, position)
        if size == 0:
            size = len(content) - position
        if size < 8 or position + size > len(content):
            raise DamagedFileError(file_name=file_name, what=f"its box {kind.decode('ascii', 'replace')} breaks off")
        yield _Box(kind=kind, content=content[position + 8 : position + size])
        position += size


def _picture(boxes: dict[bytes, bytes], *, file_name: str) -> _Picture:
    if not {b"pitm", b"iprp"} <= set(boxes):
        raise DamagedFileError(file_name=file_name, what="it names no primary picture")
    primary = boxes[b"pitm"]
    (item,) = struct.unpack_from(">I" if primary[0] else ">H", primary, 4)
    groups = {box.kind: box.content for box in _boxes(boxes[b"iprp"], file_name=file_name)}
    properties = list(_boxes(groups.get(b"ipco", b""), file_name=file_name))
    own = [
        properties[index - 1]
        for index in _associations(groups.get(b"ipma", b""), item)
        if 1 <= index <= len(properties)
    ]
    size_px = _size_px(own)
    if min(size_px) <= 0:
        raise DamagedFileError(file_name=file_name, what="its picture has no size")
    channels = next((box.content for box in own if box.kind == b"pixi"), b"")
    depths = [box.content[_HVCC_DEPTH_BYTE] & 7 for box in properties if box.kind == b"hvcC"]
    bits = channels[5] if len(channels) > 5 else 8 + max(depths, default=0)
    if bits not in (8, 10, 12):
        raise UnsupportedSampleError(file_name=file_name, got=f"{bits}-bit HEIC samples")
    has_alpha = any(box.kind == b"auxC" and box.content[4:].split(b"\0", 1)[0] in _ALPHA_URNS for box in properties)
    colour_bands = 1 if len(channels) > 4 and channels[4] == 1 else 3
    profiles = [box.content[4:] for box in own if box.kind == b"colr" and box.content[:4] in (b"prof", b"rICC")]
    return _Picture(
        size_px=size_px,
        bands=colour_bands + has_alpha,
        bits=bits,
        has_alpha=has_alpha,
        profile=profiles[0] if profiles else b"",
    )


def _associations(content: bytes, wanted_item: int) -> list[int]:
    """Return the numbers of the properties of one item, in the order they apply."""
    if len(content) < 8:
        return []
    version, flags = content[0], content[3]
    (count,) = struct.unpack_from(">I", content, 4)
    position = 8
    item_format, item_bytes = (">H", 2) if version < 1 else (">I", 4)
    for _ in range(min(count, _MOST_BOXES)):
        (item,) = struct.unpack_from(item_format, content, position)
        number = content[position + item_bytes]
        position += item_bytes + 1
        if flags & 1:
            found = [value & 0x7FFF for value in struct.unpack_from(f">{number}H", content, position)]
            position += 2 * number
        else:
            found = [value & 0x7F for value in content[position : position + number]]
            position += number
        if item == wanted_item:
            return found
    return []


def _size_px(properties: list[_Box]) -> tuple[int, int]:
    width, height = 0, 0
    for box in properties:
        if box.kind == b"ispe":
            width, height = struct.unpack_from(">II", box.content, 4)
        elif box.kind == b"clap":
            parts = struct.unpack_from(">IIII", box.content)
            if parts[1] and parts[3]:
                width, height = parts[0] // parts[1], parts[2] // parts[3]
        elif box.kind == b"irot" and box.content[0] & 1:
            width, height = height, width
    return width, height
