"""The header of a PNG master, and its chunks before the pixels."""

import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

from imaging.errors import (
    DamagedFileError,
    HugeClaimError,
    ImplausibleSizeError,
    OversizedTagError,
    TruncatedFileError,
    UnsupportedColourError,
    UnsupportedSampleError,
    WholePictureError,
)

from .exif_basics import orientation_and_pitch
from .icc_profile import summarise_profile
from .limits import MasterLimits
from .master_header import MasterHeader, um_per_px_from_density
from .size_check import refuse_huge_claims

__all__ = ["PngChunk", "inflate_bounded", "png_chunks", "read_png_header"]

_SIGNATURE_BYTES = 8
_MOST_CHUNKS = 4096
# Deflate: 258 bytes in two bits (RFC 1951).
_LARGEST_RATIO = 1032
_READ_CHUNKS = (b"IHDR", b"iCCP", b"pHYs", b"eXIf", b"iTXt", b"zTXt", b"tEXt", b"sRGB")
_COLOURS = {0: ("grey", 1, False), 2: ("rgb", 3, False), 4: ("grey", 2, True), 6: ("rgb", 4, True)}


@dataclass(frozen=True)
class PngChunk:
    """One chunk before the pixels."""

    kind: bytes
    payload: bytes


def png_chunks(stream: BinaryIO, *, file_name: str, file_bytes: int, limits: MasterLimits) -> Iterator[PngChunk]:
    """Yield the chunks that say something about the picture, up to its pixels.

    Parameters
    ----------
    stream : binary file
        Open for reading.
    file_name : str
        For messages.
    file_bytes : int
        Size of the file.
    limits : MasterLimits
        Larger chunks of text are passed over; larger profiles are refused.

    Yields
    ------
    chunk : PngChunk
        In the order of the file.

    Raises
    ------
    DamagedFileError, TruncatedFileError, HugeClaimError, OversizedTagError
        If the chain breaks off, never ends, or holds a huge profile.

    Notes
    -----
    PNG, third edition (W3C, 2025), clause 5. The check sum is compared for the header only;
    the others are compared when the pixels are decoded.
    """
    position = _SIGNATURE_BYTES
    for _ in range(_MOST_CHUNKS):
        stream.seek(position)
        head = stream.read(8)
        if len(head) < 8:
            raise TruncatedFileError(
                file_name=file_name,
                what="the PNG header",
                needed_bytes=position + 8,
                got_bytes=file_bytes,
            )
        length, kind = struct.unpack(">I4s", head)
        if kind == b"IDAT":
            return
        if kind == b"IEND":
            raise DamagedFileError(file_name=file_name, what="it ends before its pixels begin")
        if position + 12 + length > file_bytes:
            raise TruncatedFileError(
                file_name=file_name,
                what="a PNG chunk",
                needed_bytes=position + 12 + length,
                got_bytes=file_bytes,
            )
        if kind in _READ_CHUNKS:
            if length <= limits.max_tag_bytes:
                yield PngChunk(kind=kind, payload=stream.read(length))
            elif kind == b"iCCP":
                raise OversizedTagError(
                    file_name=file_name,
                    what="a colour profile",
                    got_bytes=length,
                    limit_bytes=limits.max_tag_bytes,
                )
        position += 12 + length
    raise HugeClaimError(
        file_name=file_name,
        what="chunks before its pixels",
        got=_MOST_CHUNKS + 1,
        limit=_MOST_CHUNKS,
    )


def read_png_header(stream: BinaryIO, *, file_name: str, file_bytes: int, limits: MasterLimits) -> MasterHeader:
    """Return what a PNG says about its picture; decode nothing.

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
        ``layout`` is ``"whole"`` for an interlaced picture.

    Raises
    ------
    MasterFileError
        One of its classes, if the file cannot be a master.
    """
    chunks = list(png_chunks(stream, file_name=file_name, file_bytes=file_bytes, limits=limits))
    if not chunks or chunks[0].kind != b"IHDR" or len(chunks[0].payload) != 13:
        raise DamagedFileError(file_name=file_name, what="its first chunk is no PNG header")
    width, height, bits, kind, _, _, interlace = struct.unpack(">IIBBBBB", chunks[0].payload)
    _refuse_damaged_start(stream, chunks[0].payload, (width, height), file_name=file_name)
    if kind == 3:
        raise UnsupportedColourError(file_name=file_name, got="a palette picture", remedy="Save it as RGB.")
    if kind not in _COLOURS:
        raise DamagedFileError(file_name=file_name, what=f"its colour kind is {kind}")
    if bits not in (8, 16):
        raise UnsupportedSampleError(file_name=file_name, got=f"{bits}-bit PNG samples")
    colour, bands, has_alpha = _COLOURS[kind]
    refuse_huge_claims(width, height, bands=bands, file_name=file_name, limits=limits)
    orientation, exif_pitch = 1, None
    for chunk in chunks:
        if chunk.kind == b"eXIf":
            orientation, exif_pitch = orientation_and_pitch(chunk.payload, limits=limits)
    profile = _profile(chunks, limits=limits)
    summary = summarise_profile(profile) if profile else None
    header = MasterHeader(
        file_name=file_name,
        format="png",
        file_bytes=file_bytes,
        width_px=width,
        height_px=height,
        bands=bands,
        sample_format="u16" if bits == 16 else "u8",
        colour=colour,
        has_alpha=has_alpha,
        layout="whole" if interlace else "rows",
        compression="deflate",
        icc_profile=profile or None,
        icc_name=_profile_name(chunks, summary.name if summary else ""),
        um_per_px=_pitch(chunks) or exif_pitch,
        orientation=orientation,
    )
    _refuse_bombs(header, limits=limits)
    return header


def inflate_bounded(data: bytes, *, limit_bytes: int) -> bytes | None:
    """Return the inflated data, None if it is damaged or would be larger than the limit.

    Parameters
    ----------
    data : bytes
        A zlib stream.
    limit_bytes : int
        Largest result.

    Returns
    -------
    inflated : bytes or None
        Never more than `limit_bytes` are produced.
    """
    inflater = zlib.decompressobj()
    try:
        inflated = inflater.decompress(data, limit_bytes)
    except zlib.error:
        return None
    return inflated if inflater.eof else None


def _refuse_damaged_start(stream: BinaryIO, payload: bytes, size_px: tuple[int, int], *, file_name: str) -> None:
    stream.seek(_SIGNATURE_BYTES + 8 + len(payload))
    (stated,) = struct.unpack(">I", stream.read(4))
    if stated != zlib.crc32(b"IHDR" + payload):
        raise DamagedFileError(file_name=file_name, what="the check sum of its header is wrong")
    if 0 in size_px:
        raise DamagedFileError(file_name=file_name, what=f"its picture is {size_px[0]} × {size_px[1]} px")


def _refuse_bombs(header: MasterHeader, *, limits: MasterLimits) -> None:
    possible = header.file_bytes * _LARGEST_RATIO
    if header.decoded_bytes > possible:
        raise ImplausibleSizeError(
            file_name=header.file_name,
            width_px=header.width_px,
            height_px=header.height_px,
            claimed_bytes=header.decoded_bytes,
            stored_bytes=header.file_bytes,
            compression="PNG",
            possible_bytes=possible,
        )
    if header.layout == "whole" and header.decoded_bytes > limits.max_whole_picture_bytes:
        raise WholePictureError(
            file_name=header.file_name,
            form="an interlaced PNG",
            needed_bytes=header.decoded_bytes,
            limit_bytes=limits.max_whole_picture_bytes,
        )


def _profile(chunks: list[PngChunk], *, limits: MasterLimits) -> bytes:
    for chunk in chunks:
        if chunk.kind == b"iCCP":
            _, _, packed = chunk.payload.partition(b"\0")
            return inflate_bounded(packed[1:], limit_bytes=limits.max_tag_bytes) or b""
    return b""


def _profile_name(chunks: list[PngChunk], inner: str) -> str:
    if inner:
        return inner
    if any(chunk.kind == b"sRGB" for chunk in chunks):
        return "sRGB"
    return ""


def _pitch(chunks: list[PngChunk]) -> tuple[float, float] | None:
    for chunk in chunks:
        if chunk.kind == b"pHYs" and len(chunk.payload) == 9:
            x, y, unit = struct.unpack(">IIB", chunk.payload)
            # Unit 1 is the metre; 0 says only the shape of the pixel.
            if unit != 1:
                return None
            pitch_x = um_per_px_from_density(x, unit_um=1e6)
            pitch_y = um_per_px_from_density(y, unit_um=1e6)
            return None if pitch_x is None or pitch_y is None else (pitch_x, pitch_y)
    return None
