"""From a master to a published pyramid: time beside a plain libvips save, and memory.

Time is the best of several runs of each kind, taken in turns, each in a process of its own: other
work on the machine then touches both alike. Memory is the largest anonymous resident memory;
mapped pages of the master are not counted, for the system takes them back whenever it wants.
"""

from __future__ import annotations

import functools
import tempfile
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

from tests.benchmarks.one_run import run_once
from tests.benchmarks.pictures import write_master
from tests.benchmarks.row import Row

__all__ = ["ROWS"]

ROUNDS = 3
SIDE_PX = 20_000
LARGE_SIDE_PX = 31_623
# 10 Gpx are a square of this side.
HUGE_SIDE_PX = 100_000
# Enough rows to fill every buffer.
HUGE_STRIP_PX = 3_000
LARGEST_MEMORY_MB = 2048.0


def publish() -> Iterator[Row]:
    """Nothing resampled, and resampled once, both kinds of samples."""
    for dtype, target in (("uint8", 2.5), ("uint16", 2.3)):
        best = _best(dtype, ("plain", "own", "resampled"))
        name = f"publish {dtype} 0.4 Gpx"
        yield Row(f"{name}, not resampled", best["own"], "s", best["plain"], 1.15)
        yield Row(f"{name}, resampled", best["resampled"], "s", best["plain"], target)


def publish_webp() -> Iterator[Row]:
    """WebP tiles, resampled beside not resampled."""
    best = _best("uint8", ("own_webp", "resampled_webp"), side_px=SIDE_PX // 2)
    name = "publish uint8 0.1 Gpx as WebP, resampled beside not resampled"
    yield Row(name, best["resampled_webp"], "s", best["own_webp"], 1.5)


def reading_levels() -> Iterator[Row]:
    """Lossless reading levels beside a plain uncompressed libvips pyramid."""
    best = _best("uint16", ("plain_lossless", "levels"), side_px=SIDE_PX // 2)
    name = "reading levels uint16 0.1 Gpx beside an uncompressed pyramid"
    yield Row(name, best["levels"], "s", best["plain_lossless"], 1.15)


def memory() -> Iterator[Row]:
    """Peak memory of a resampling build, up to the width of 10 Gpx: it grows with nothing else."""
    for size_px in ((SIDE_PX, SIDE_PX), (LARGE_SIDE_PX, LARGE_SIDE_PX), (HUGE_SIDE_PX, HUGE_STRIP_PX)):
        _, peak_mb = run_once("resampled", _master("uint16", size_px), _scratch())
        name = f"memory of publishing uint16 {size_px[0]} x {size_px[1]} px, resampled"
        yield Row(name, peak_mb, "MB", None, LARGEST_MEMORY_MB)
    _, peak_mb = run_once("levels", _master("uint16", (HUGE_SIDE_PX, HUGE_STRIP_PX)), _scratch())
    name = f"memory of reading levels uint16 {HUGE_SIDE_PX} x {HUGE_STRIP_PX} px"
    yield Row(name, peak_mb, "MB", None, LARGEST_MEMORY_MB)


ROWS: dict[str, Callable[[], Iterable[Row]]] = {
    "publish": publish,
    "publish_webp": publish_webp,
    "reading_levels": reading_levels,
    "memory": memory,
}


def _best(dtype: str, kinds: tuple[str, ...], *, side_px: int = SIDE_PX) -> dict[str, float]:
    master, out = _master(dtype, (side_px, side_px)), _scratch()
    run_once("read", master, out)
    best = dict.fromkeys(kinds, float("inf"))
    for _ in range(ROUNDS):
        for kind in kinds:
            seconds, _ = run_once(kind, master, out)
            best[kind] = min(best[kind], seconds)
    return best


@functools.cache
def _folder() -> tempfile.TemporaryDirectory[str]:
    return tempfile.TemporaryDirectory(prefix="mahlstick-benchmark-")


def _scratch() -> Path:
    return Path(_folder().name) / "out.tif"


@functools.cache
def _master(dtype: str, size_px: tuple[int, int]) -> Path:
    path = Path(_folder().name) / f"{dtype}-{size_px[0]}-{size_px[1]}.tif"
    write_master(path, size_px, dtype)
    return path
