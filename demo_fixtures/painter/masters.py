"""Master files written in place, block by block: TIFF, above 3.5 GB BigTIFF."""

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import tifffile
from numpy.typing import NDArray

from demo_fixtures.painter.icc import profile_bytes

__all__ = ["MasterForm", "write_in_blocks"]

_BIG_BYTES = 3_500_000_000


def _blocks(size_px: tuple[int, int], side_px: int) -> Iterator[tuple[int, int, int, int]]:
    """Yield left, top, width, height of the blocks of an image."""
    for top in range(0, size_px[1], side_px):
        for left in range(0, size_px[0], side_px):
            yield left, top, min(side_px, size_px[0] - left), min(side_px, size_px[1] - top)


class MasterForm(NamedTuple):
    """Size, channels, bits, pitch and block side of a master."""

    width_px: int
    height_px: int
    channels: int
    bits: int
    pitch_um: float
    side_px: int


def _open_tiff(path: Path, form: MasterForm) -> NDArray[Any]:
    """Create a TIFF of the form and return its pixels, mapped from disk."""
    is_grey = form.channels == 1
    shape = (form.height_px, form.width_px) if is_grey else (form.height_px, form.width_px, form.channels)
    per_inch = round(25400.0 / form.pitch_um * 1000)
    pixels: NDArray[Any] = tifffile.memmap(
        path,
        shape=shape,
        dtype=np.uint16 if form.bits == 16 else np.uint8,
        photometric="minisblack" if is_grey else "rgb",
        planarconfig=None if is_grey else "contig",
        bigtiff=form.width_px * form.height_px * form.channels * form.bits // 8 > _BIG_BYTES,
        metadata=None,
        software="Mahlstick procedural painter",
        rowsperstrip=64,
        resolution=((per_inch, 1000), (per_inch, 1000)),
        resolutionunit=2,
        iccprofile=None if is_grey else profile_bytes(),
    )
    return pixels


def write_in_blocks(
    path: Path,
    form: MasterForm,
    *,
    render: Callable[[int, int, tuple[int, int]], NDArray[Any]],
    progress: Callable[[float], None],
) -> None:
    """Write an image whose blocks ``render(left, top, (width, height))`` returns, on both cores.

    The file appears under its name only when whole.
    """
    aside = path.with_name(f".{path.name}.part")
    pixels = _open_tiff(aside, form)
    blocks = list(_blocks((form.width_px, form.height_px), form.side_px))

    def place(block: tuple[int, int, int, int]) -> None:
        left, top, width, height = block
        pixels[top : top + height, left : left + width] = render(left, top, (width, height))

    with ThreadPoolExecutor(2) as pool:
        for number, _ in enumerate(pool.map(place, blocks), 1):
            progress(number / len(blocks))
    if isinstance(pixels, np.memmap):
        pixels.flush()
    aside.replace(path)
