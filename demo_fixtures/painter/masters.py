"""Master files written in place, block by block: TIFF, above 3.5 GB BigTIFF."""

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import tifffile
from numpy.typing import NDArray

from demo_fixtures.painter.icc import profile_bytes

__all__ = ["write_in_blocks"]

_BIG_BYTES = 3_500_000_000


def _blocks(size_px: tuple[int, int], side_px: int) -> Iterator[tuple[int, int, int, int]]:
    """Yield left, top, width, height of the blocks of an image."""
    for top in range(0, size_px[1], side_px):
        for left in range(0, size_px[0], side_px):
            yield left, top, min(side_px, size_px[0] - left), min(side_px, size_px[1] - top)


def write_in_blocks(
    path: Path,
    render: Callable[[int, int, tuple[int, int]], NDArray[np.unsignedinteger]],
    *,
    size_px: tuple[int, int],
    sensor: tuple[int, int, float],
    side_px: int,
    progress: Callable[[float], None],
) -> None:
    """Write an image whose blocks ``render(left, top, (width, height))`` returns.

    ``sensor`` is channels, bits and pitch in um. The file appears under its name only when whole.
    """
    channels, bits, pitch = sensor
    shape = (size_px[1], size_px[0]) if channels == 1 else (size_px[1], size_px[0], channels)
    dtype = np.uint16 if bits == 16 else np.uint8
    per_inch = round(25400.0 / pitch * 1000)
    aside = path.with_name(f".{path.name}.part")
    pixels = tifffile.memmap(
        aside, shape=shape, dtype=dtype, photometric="minisblack" if channels == 1 else "rgb", planarconfig=None if channels == 1 else "contig",
        bigtiff=int(np.prod(shape)) * bits // 8 > _BIG_BYTES, metadata=None, software="Mahlstick procedural painter", rowsperstrip=64,
        resolution=((per_inch, 1000), (per_inch, 1000)), resolutionunit=2, iccprofile=None if channels == 1 else profile_bytes(),
    )  # fmt: skip
    blocks = list(_blocks(size_px, side_px))

    def place(block: tuple[int, int, int, int]) -> None:
        left, top, width, height = block
        pixels[top : top + height, left : left + width] = render(left, top, (width, height))

    with ThreadPoolExecutor(2) as pool:
        for number, _ in enumerate(pool.map(place, blocks), 1):
            progress(number / len(blocks))
    pixels.flush()
    del pixels
    aside.replace(path)
