"""Files that lie about themselves, written byte by byte."""

import struct
import zlib
from pathlib import Path

SHORT, LONG, ASCII, LONG8 = 3, 4, 2, 16


def tiff_bytes(
    *,
    width=8,
    height=8,
    bits=8,
    samples=1,
    sample_format=1,
    compression=1,
    photometric=1,
    data=None,
    strip_offset=None,
    strip_bytes=None,
    next_offset=0,
    extra=(),
):
    """Return a little-endian TIFF with one strip; any statement may be false."""
    data = bytes(width * height * samples * bits // 8) if data is None else data
    start = 8
    entries = [
        (256, LONG, width),
        (257, LONG, height),
        (258, SHORT, bits),
        (259, SHORT, compression),
        (262, SHORT, photometric),
        (273, LONG, start if strip_offset is None else strip_offset),
        (277, SHORT, samples),
        (278, LONG, height),
        (279, LONG, len(data) if strip_bytes is None else strip_bytes),
        (339, SHORT, sample_format),
        *extra,
    ]
    place = start + len(data) + len(data) % 2
    body = b"II*\0" + struct.pack("<I", place) + data + bytes(len(data) % 2)
    body += struct.pack("<H", len(entries))
    for entry in sorted(entries):
        tag, kind, value, count = (*entry, 1)[:4]
        body += struct.pack("<HHII", tag, kind, count, value)
    return body + struct.pack("<I", next_offset)


def directory_place(tiff):
    return struct.unpack_from("<I", tiff, 4)[0]


def shared_strips_tiff(*, side, strip):
    """Return a TIFF of a huge square whose strips are all the same few bytes."""
    rows, data_place = side, 8
    offsets_place = data_place + len(strip)
    sizes_place = offsets_place + 4 * rows
    directory = sizes_place + 4 * rows
    entries = [
        (256, LONG, 1, side),
        (257, LONG, 1, side),
        (258, SHORT, 1, 8),
        (259, SHORT, 1, 8),
        (262, SHORT, 1, 1),
        (273, LONG, rows, offsets_place),
        (277, SHORT, 1, 1),
        (278, LONG, 1, 1),
        (279, LONG, rows, sizes_place),
    ]
    body = b"II*\0" + struct.pack("<I", directory) + strip
    body += struct.pack(f"<{rows}I", *[data_place] * rows)
    body += struct.pack(f"<{rows}I", *[len(strip)] * rows)
    body += struct.pack("<H", len(entries))
    for tag, kind, count, value in entries:
        body += struct.pack("<HHII", tag, kind, count, value)
    return body + struct.pack("<I", 0)


def chain_of_directories(count):
    """Return a TIFF with very many directories of one tag each."""
    body = bytearray(b"II*\0" + struct.pack("<I", 8))
    for index in range(count):
        place = 8 + 18 * index
        following = place + 18 if index < count - 1 else 0
        body += struct.pack("<HHHIII", 1, 256, LONG, 1, 8, following)
    return bytes(body)


def png_bytes(*, width, height, bits=8, kind=0, interlace=0, data=b"", packed=None, chunks=()):
    """Return a PNG whose header may claim anything."""
    header = struct.pack(">IIBBBBB", width, height, bits, kind, 0, 0, interlace)
    parts = [(b"IHDR", header), *chunks, (b"IDAT", packed or zlib.compress(data)), (b"IEND", b"")]
    return b"\x89PNG\r\n\x1a\n" + b"".join(png_chunk(*part) for part in parts)


def png_chunk(kind, payload):
    checked = kind + payload
    return struct.pack(">I", len(payload)) + checked + struct.pack(">I", zlib.crc32(checked))


def with_jpeg_size(jpeg, *, width, height):
    """Return a JPEG whose frame header claims another size."""
    changed = bytearray(jpeg)
    for marker in (b"\xff\xc0", b"\xff\xc2"):
        place = bytes(changed).find(marker)
        if place > 0:
            struct.pack_into(">HH", changed, place + 5, height, width)
            return bytes(changed)
    raise AssertionError("no frame header")


def write(folder: Path, name: str, content: bytes) -> Path:
    path = folder / name
    path.write_bytes(content)
    return path
