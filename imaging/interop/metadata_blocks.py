"""Where a master keeps its Exif, XMP and IPTC blocks; taken out whole and in bounds."""

import base64
import struct
from dataclasses import dataclass
from pathlib import Path

import pillow_heif

from imaging.compute.masters.guard import GuardLimits, Progress, run_guarded
from imaging.compute.masters.jpeg_header import JpegSegment, jpeg_segments
from imaging.compute.masters.limits import DEFAULT_LIMITS
from imaging.compute.masters.master_header import MasterHeader
from imaging.compute.masters.png_header import PngChunk, inflate_bounded, png_chunks
from imaging.compute.masters.tiff_directory import TiffWalker
from imaging.compute.masters.tiff_header import Tag

__all__ = ["MetadataBlocks", "heif_blocks_json", "metadata_blocks"]

_APP1, _APP13 = 0xE1, 0xED
_EXIF_START = b"Exif\0\0"
# ISO 16684-1 names this address as the start of an XMP segment in JPEG.
_XMP_START = b"http://ns.adobe.com/xap/1.0/\0"
_RESOURCES_START = b"Photoshop 3.0\0"
_IPTC_RESOURCE = 0x0404
_XMP_KEYWORD = b"XML:com.adobe.xmp"
_HEIF_LIMITS = GuardLimits(memory_bytes=2**31, time_s=60.0)


@dataclass(frozen=True)
class MetadataBlocks:
    """The blocks of one file; empty where there is none.

    Parameters
    ----------
    exif : bytes
        From its byte order mark on. Empty for TIFF, whose own tags they are.
    xmp : bytes
        The packet.
    iptc : bytes
        Datasets of the IIM.
    """

    exif: bytes = b""
    xmp: bytes = b""
    iptc: bytes = b""


def metadata_blocks(path: Path, header: MasterHeader) -> MetadataBlocks:
    """Return the metadata blocks of a master whose header was read.

    Parameters
    ----------
    path : Path
        Where it lies.
    header : MasterHeader
        From `read_header`.

    Returns
    -------
    blocks : MetadataBlocks
        Each at most 16 MiB.

    Raises
    ------
    MasterFileError, GuardError
        If the file has changed since its header was read, or libheif dies on it.
    """
    if header.format == "heic":
        answer = run_guarded(
            "imaging.interop.metadata_blocks:heif_blocks_json",
            {"path": str(path.resolve()), "file_name": header.file_name},
            limits=_HEIF_LIMITS,
        )
        return MetadataBlocks(exif=base64.b64decode(answer["exif"]), xmp=base64.b64decode(answer["xmp"]))
    with path.open("rb") as stream:
        if header.format == "jpeg":
            return _from_jpeg(list(jpeg_segments(stream, file_name=header.file_name, file_bytes=header.file_bytes)))
        if header.format == "png":
            return _from_png(
                list(
                    png_chunks(
                        stream,
                        file_name=header.file_name,
                        file_bytes=header.file_bytes,
                        limits=DEFAULT_LIMITS,
                    )
                )
            )
        walker = TiffWalker(stream, size_bytes=header.file_bytes, file_name=header.file_name)
        directory = walker.directory(walker.first_offset)
        return MetadataBlocks(
            xmp=walker.raw(directory, Tag.XMP) or b"",
            iptc=walker.raw(directory, Tag.IPTC) or b"",
        )


def heif_blocks_json(path: str, *, file_name: str, progress: Progress | None = None) -> dict[str, str]:
    """Return the blocks of a HEIC file in base64: the form that runs in a guarded child.

    Parameters
    ----------
    path, file_name : str
        Where it lies, and what it is called in messages.
    progress : callable, optional
        Not used.
    """
    info = pillow_heif.open_heif(path).info
    exif = bytes(info.get("exif") or b"").removeprefix(_EXIF_START)
    xmp = bytes(info.get("xmp") or b"")
    limit = DEFAULT_LIMITS.max_tag_bytes // 4
    return {
        "exif": base64.b64encode(exif[:limit]).decode(),
        "xmp": base64.b64encode(xmp if len(xmp) <= limit else b"").decode(),
    }


def _from_jpeg(segments: list[JpegSegment]) -> MetadataBlocks:
    def first(marker: int, start: bytes) -> bytes:
        for segment in segments:
            if segment.marker == marker and segment.payload.startswith(start):
                return segment.payload[len(start) :]
        return b""

    resources = b"".join(
        segment.payload[len(_RESOURCES_START) :]
        for segment in segments
        if segment.marker == _APP13 and segment.payload.startswith(_RESOURCES_START)
    )
    return MetadataBlocks(exif=first(_APP1, _EXIF_START), xmp=first(_APP1, _XMP_START), iptc=_iptc_of(resources))


def _iptc_of(resources: bytes) -> bytes:
    """Return the IIM among numbered, named, even-padded resources."""
    position = 0
    while resources[position : position + 4] == b"8BIM" and position + 12 <= len(resources):
        (number,) = struct.unpack_from(">H", resources, position + 4)
        name_bytes = 1 + resources[position + 6]
        position += 6 + name_bytes + name_bytes % 2
        if position + 4 > len(resources):
            break
        (size,) = struct.unpack_from(">I", resources, position)
        if number == _IPTC_RESOURCE:
            return resources[position + 4 : position + 4 + size]
        position += 4 + size + size % 2
    return b""


def _from_png(chunks: list[PngChunk]) -> MetadataBlocks:
    exif = next((chunk.payload for chunk in chunks if chunk.kind == b"eXIf"), b"")
    for chunk in chunks:
        keyword, _, rest = chunk.payload.partition(b"\0")
        if chunk.kind == b"iTXt" and keyword == _XMP_KEYWORD and len(rest) > 2:
            # Compression flag and method, then language and translated keyword end with zeros.
            text = rest[2:].split(b"\0", 2)[-1]
            limit = DEFAULT_LIMITS.max_tag_bytes
            packet = (inflate_bounded(text, limit_bytes=limit) or b"") if rest[0] else text
            return MetadataBlocks(exif=exif, xmp=packet)
    return MetadataBlocks(exif=exif)
