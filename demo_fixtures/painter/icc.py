"""The colour profile of the masters: a wide matrix profile with gamma 2.2, written by hand.

Layout after the public specification ICC.1:2001-04 (version 2.4): header, tag table, tags.
"""

import struct

import numpy as np
from numpy.typing import NDArray

__all__ = ["PROFILE_GAMMA", "PROFILE_NAME", "profile_bytes", "profile_from_linear_srgb"]

PROFILE_NAME = "Mahlstick wide RGB, gamma 2.2"
PROFILE_GAMMA = 2.2
# Primaries and white of ITU-R BT.2020; white D65.
_PRIMARIES = np.array([[0.708, 0.292], [0.170, 0.797], [0.131, 0.046]])
_WHITE = np.array([0.3127, 0.3290])
_D50 = np.array([0.9642, 1.0, 0.8249])
_BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
# IEC 61966-2-1, linear sRGB to XYZ.
_SRGB_TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])


def _xyz(chromaticity: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return XYZ of unit luminance."""
    x, y = chromaticity
    return np.array([x / y, 1.0, (1.0 - x - y) / y])


def _to_xyz() -> NDArray[np.float64]:
    """Return the matrix from linear profile RGB to XYZ at D65."""
    columns = np.stack([_xyz(primary) for primary in _PRIMARIES], axis=1)
    matrix: NDArray[np.float64] = columns * np.linalg.solve(columns, _xyz(_WHITE))
    return matrix


def profile_from_linear_srgb() -> NDArray[np.float64]:
    """Return the matrix from linear sRGB to linear profile RGB."""
    matrix: NDArray[np.float64] = np.linalg.solve(_to_xyz(), _SRGB_TO_XYZ)
    matrix /= matrix.sum(axis=1, keepdims=True)
    return matrix


def _number(value: float) -> bytes:
    return struct.pack(">i", round(value * 65536.0))


def _xyz_tag(values: NDArray[np.float64]) -> bytes:
    return b"XYZ \0\0\0\0" + b"".join(_number(float(value)) for value in values)


def _text_tag(text: str) -> bytes:
    """Return a version 2 description: ASCII, then empty Unicode and script parts."""
    plain = text.encode("ascii") + b"\0"
    return b"desc\0\0\0\0" + struct.pack(">I", len(plain)) + plain + bytes(8) + bytes(3 + 67)


def profile_bytes() -> bytes:
    """Return the profile; the same bytes on every run."""
    white = _xyz(_WHITE)
    gain = np.diag((_BRADFORD @ _D50) / (_BRADFORD @ white))
    adapted = np.linalg.solve(_BRADFORD, gain @ _BRADFORD) @ _to_xyz()
    curve = b"curv\0\0\0\0" + struct.pack(">IH", 1, round(PROFILE_GAMMA * 256)) + b"\0\0"
    tags = {
        b"desc": _text_tag(PROFILE_NAME),
        b"cprt": b"text\0\0\0\0No copyright, use freely\0",
        b"wtpt": _xyz_tag(_D50),
        b"rXYZ": _xyz_tag(adapted[:, 0]),
        b"gXYZ": _xyz_tag(adapted[:, 1]),
        b"bXYZ": _xyz_tag(adapted[:, 2]),
        b"rTRC": curve,
        b"gTRC": curve,
        b"bTRC": curve,
    }
    table, body = b"", b""
    start = 128 + 4 + 12 * len(tags)
    for name, content in tags.items():
        padded = content + bytes(-len(content) % 4)
        table += name + struct.pack(">II", start + len(body), len(content))
        body += padded
    size = start + len(body)
    header = struct.pack(">I4sI4s4s4s", size, b"\0\0\0\0", 0x02400000, b"mntr", b"RGB ", b"XYZ ")
    header += struct.pack(">6H", 2026, 1, 1, 0, 0, 0) + b"acsp" + bytes(4 + 4 + 4 + 4 + 8 + 4)
    header += b"".join(_number(float(value)) for value in _D50)
    return header + bytes(128 - len(header)) + struct.pack(">I", len(tags)) + table + body
