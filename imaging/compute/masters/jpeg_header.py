"""The header of a JPEG master, and its metadata segments."""

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

from imaging.errors import (
    DamagedFileError,
    HugeClaimError,
    ImplausibleSizeError,
    TruncatedFileError,
    UnsupportedColourError,
    UnsupportedCompressionError,
    UnsupportedSampleError,
    WholePictureError,
)

from .exif_basics import orientation_and_pitch
from .icc_profile import summarise_profile
from .limits import MasterLimits
from .master_header import MasterHeader, um_per_px_from_density
from .size_check import refuse_huge_claims

__all__ = ["JpegSegment", "jpeg_profile", "jpeg_segments", "read_jpeg_header"]

# ITU-T T.81 table B.1. Baseline, extended and progressive Huffman coding are read.
_START_OF_FRAME = {0xC0: False, 0xC1: False, 0xC2: True}
_OTHER_FRAMES = {
    0xC3: "lossless JPEG", 0xC5: "hierarchical JPEG", 0xC6: "hierarchical JPEG",
    0xC7: "hierarchical JPEG", 0xC9: "arithmetic JPEG", 0xCA: "arithmetic JPEG",
    0xCB: "arithmetic JPEG", 0xCD: "hierarchical JPEG", 0xCE: "hierarchical JPEG",
    0xCF: "hierarchical JPEG", 0xF7: "JPEG-LS",
}  # fmt: skip
_APP0, _APP1, _APP2, _APP13, _APP14, _START_OF_SCAN, _END = 0xE0, 0xE1, 0xE2, 0xED, 0xEE, 0xDA, 0xD9
_WITHOUT_LENGTH = {0x01, *range(0xD0, 0xD8)}
_MOST_SEGMENTS = 4096
# 64 samples of a flat block in one bit of a progressive scan, doubled by halved chroma.
_LARGEST_RATIO = 1024


@dataclass(frozen=True)
class JpegSegment:
    """One marker segment before the pixels."""

    marker: int
    payload: bytes


def jpeg_segments(stream: BinaryIO, *, file_name: str, file_bytes: int) -> Iterator[JpegSegment]:
    """Yield the segments from the start to the first scan, which is the last one yielded.

    Parameters
    ----------
    stream : binary file
        Open for reading.
    file_name : str
        For messages.
    file_bytes : int
        Size of the file.

    Yields
    ------
    segment : JpegSegment
        Never larger than 65,533 bytes.

    Raises
    ------
    DamagedFileError, TruncatedFileError, HugeClaimError
        If the markers break off, do not follow each other, or never end.
    """
    position = 2
    for _ in range(_MOST_SEGMENTS):
        stream.seek(position)
        head = stream.read(4)
        if len(head) < 4:
            raise TruncatedFileError(
                file_name=file_name,
                what="the JPEG header",
                needed_bytes=position + 4,
                got_bytes=file_bytes,
            )
        if head[0] != 0xFF:
            raise DamagedFileError(file_name=file_name, what=f"no JPEG marker stands at byte {position:,}")
        if head[1] == 0xFF or head[1] in _WITHOUT_LENGTH:
            position += 1 if head[1] == 0xFF else 2
            continue
        if head[1] == _END:
            raise DamagedFileError(file_name=file_name, what="it ends before its pixels begin")
        (length,) = struct.unpack(">H", head[2:])
        payload = stream.read(max(length - 2, 0))
        if length < 2 or len(payload) < length - 2:
            raise TruncatedFileError(
                file_name=file_name,
                what="a JPEG segment",
                needed_bytes=position + 2 + max(length, 2),
                got_bytes=file_bytes,
            )
        yield JpegSegment(marker=head[1], payload=payload)
        if head[1] == _START_OF_SCAN:
            return
        position += 2 + length
    raise HugeClaimError(
        file_name=file_name,
        what="segments before its pixels",
        got=_MOST_SEGMENTS + 1,
        limit=_MOST_SEGMENTS,
    )


def read_jpeg_header(stream: BinaryIO, *, file_name: str, file_bytes: int, limits: MasterLimits) -> MasterHeader:
    """Return what a JPEG says about its picture; decode nothing.

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
        ``layout`` is ``"whole"`` if the decoder must hold all coefficients at once.

    Raises
    ------
    MasterFileError
        One of its classes, if the file cannot be a master.

    Notes
    -----
    ITU-T T.81 (1992) annex B; JFIF 1.02 for the density; Exif 2.32 overrides JFIF.
    """
    segments = list(jpeg_segments(stream, file_name=file_name, file_bytes=file_bytes))
    frame = _frame(segments, file_name=file_name)
    _refuse_unread_kinds(segments, frame, file_name=file_name)
    refuse_huge_claims(frame.width_px, frame.height_px, bands=frame.bands, file_name=file_name, limits=limits)
    _refuse_bombs(frame, file_name=file_name, file_bytes=file_bytes, limits=limits)
    profile = jpeg_profile(segments)
    summary = summarise_profile(profile) if profile else None
    orientation, pitch = 1, _density(segments)
    for segment in segments:
        if segment.marker == _APP1 and segment.payload[:6] == b"Exif\0\0":
            orientation, exif_pitch = orientation_and_pitch(segment.payload[6:], limits=limits)
            pitch = exif_pitch or pitch
            break
    return MasterHeader(
        file_name=file_name,
        format="jpeg",
        file_bytes=file_bytes,
        width_px=frame.width_px,
        height_px=frame.height_px,
        bands=frame.bands,
        sample_format="u8",
        colour="grey" if frame.bands == 1 else "rgb",
        layout="whole" if frame.is_held_whole else "rows",
        compression="jpeg",
        icc_profile=profile or None,
        icc_name=summary.name if summary else "",
        um_per_px=pitch,
        orientation=orientation,
    )


@dataclass(frozen=True)
class _Frame:
    """The frame header, and whether the picture comes in more than one scan."""

    width_px: int
    height_px: int
    bands: int
    bits: int
    is_held_whole: bool


def _frame(segments: list[JpegSegment], *, file_name: str) -> _Frame:
    frame = next((each for each in segments if each.marker in _START_OF_FRAME), None)
    if frame is None:
        other = next((each for each in segments if each.marker in _OTHER_FRAMES), None)
        if other is not None:
            raise UnsupportedCompressionError(file_name=file_name, got=_OTHER_FRAMES[other.marker])
        raise DamagedFileError(file_name=file_name, what="it has no JPEG frame header")
    scan = segments[-1]
    if len(frame.payload) < 6 or not scan.payload:
        raise DamagedFileError(file_name=file_name, what="its JPEG frame header is too short")
    bits, height, width, bands = struct.unpack(">BHHB", frame.payload[:6])
    if width == 0 or height == 0:
        raise DamagedFileError(file_name=file_name, what=f"its picture is {width} × {height} px")
    # Colours in scans of their own are collected as coefficients, like a progressive picture.
    is_held_whole = _START_OF_FRAME[frame.marker] or scan.payload[0] < bands
    return _Frame(width_px=width, height_px=height, bands=bands, bits=bits, is_held_whole=is_held_whole)


def _refuse_unread_kinds(segments: list[JpegSegment], frame: _Frame, *, file_name: str) -> None:
    if frame.bits != 8:
        raise UnsupportedSampleError(file_name=file_name, got=f"{frame.bits}-bit JPEG samples")
    if frame.bands == 4:
        raise UnsupportedColourError(
            file_name=file_name, got="CMYK", remedy="Convert it to RGB with its profile first."
        )
    if frame.bands not in (1, 3):
        raise UnsupportedColourError(
            file_name=file_name,
            got=f"a JPEG of {frame.bands} bands",
            remedy="Save it as RGB or grey.",
        )
    if segments[-1].marker != _START_OF_SCAN:
        raise DamagedFileError(file_name=file_name, what="it holds no pixels")


def _refuse_bombs(frame: _Frame, *, file_name: str, file_bytes: int, limits: MasterLimits) -> None:
    claimed = frame.width_px * frame.height_px * frame.bands
    if claimed > file_bytes * _LARGEST_RATIO:
        raise ImplausibleSizeError(
            file_name=file_name,
            width_px=frame.width_px,
            height_px=frame.height_px,
            claimed_bytes=claimed,
            stored_bytes=file_bytes,
            compression="JPEG",
            possible_bytes=file_bytes * _LARGEST_RATIO,
        )
    # One 16-bit coefficient per sample.
    if frame.is_held_whole and 2 * claimed > limits.max_whole_picture_bytes:
        raise WholePictureError(
            file_name=file_name,
            form="a progressive JPEG",
            needed_bytes=2 * claimed,
            limit_bytes=limits.max_whole_picture_bytes,
        )


def _density(segments: list[JpegSegment]) -> tuple[float, float] | None:
    for segment in segments:
        if segment.marker == _APP0 and segment.payload[:5] == b"JFIF\0" and len(segment.payload) >= 12:
            unit, x, y = struct.unpack(">BHH", segment.payload[7:12])
            unit_um = {1: 25_400.0, 2: 10_000.0}.get(unit)
            if unit_um is None:
                return None
            pitch_x = um_per_px_from_density(x, unit_um=unit_um)
            pitch_y = um_per_px_from_density(y, unit_um=unit_um)
            return None if pitch_x is None or pitch_y is None else (pitch_x, pitch_y)
    return None


def jpeg_profile(segments: list[JpegSegment]) -> bytes:
    """Return the ICC profile put together from its numbered segments; empty if incomplete.

    Parameters
    ----------
    segments : list of JpegSegment
        From `jpeg_segments`.

    Returns
    -------
    profile : bytes
        ICC.1:2010 annex B.4: 14 bytes of name, number and count before each part.
    """
    parts: dict[int, bytes] = {}
    count = 0
    for segment in segments:
        if segment.marker == _APP2 and segment.payload[:12] == b"ICC_PROFILE\0":
            number, count = segment.payload[12:14] if len(segment.payload) >= 14 else (0, 0)
            parts.setdefault(number, segment.payload[14:])
    if count == 0 or set(parts) != set(range(1, count + 1)):
        return b""
    return b"".join(parts[number] for number in range(1, count + 1))
