"""One timed run in a process of its own: `python -m tests.benchmarks.one_run KIND MASTER OUT`.

Prints the seconds and the largest anonymous memory as JSON.
"""

from __future__ import annotations

import json
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pyvips

from imaging.compute.frames import CanvasGrid
from imaging.compute.masters.source import MasterSource, open_master
from imaging.compute.pyramid.build import PyramidPlan, build_pyramid, grid_to_publish
from imaging.compute.pyramid.levels import build_reading_levels
from imaging.compute.pyramid.tile_encoding import JpegEncoder, TileEncoder, WebpEncoder
from imaging.compute.render.display_tone import DisplayTone
from tests.benchmarks.pictures import PITCH_MM, smooth_map

__all__ = ["KINDS", "run_once"]

REPOSITORY = Path(__file__).resolve().parents[2]
SAMPLE_PERIOD_S = 0.02


def run_once(kind: str, master: Path, out: Path) -> tuple[float, float]:
    """Return the seconds and the peak of anonymous memory in MB of a run in a fresh process."""
    command = [sys.executable, "-m", "tests.benchmarks.one_run", kind, str(master), str(out)]
    done = subprocess.run(command, cwd=REPOSITORY, capture_output=True, text=True, check=True)
    result = json.loads(done.stdout.splitlines()[-1])
    return result["seconds"], result["peak_mb"]


def _plain(master: Path, out: Path) -> None:
    image = pyvips.Image.new_from_file(str(master), access="sequential")
    if image.format == "ushort":
        image = (image >> 8).cast("uchar")
    image.tiffsave(
        str(out), tile=True, pyramid=True, compression="jpeg", Q=85,
        tile_width=256, tile_height=256, bigtiff=True, subifd=True,
    )  # fmt: skip


def _plain_lossless(master: Path, out: Path) -> None:
    image = pyvips.Image.new_from_file(str(master), access="sequential")
    image.tiffsave(
        str(out), tile=True, pyramid=True, compression="none",
        tile_width=256, tile_height=256, bigtiff=True, subifd=True,
    )  # fmt: skip


def _tone(source: MasterSource) -> DisplayTone:
    return DisplayTone.whole_range(source.dtype, channels=(0, 1, 2))


def _own(master: Path, out: Path, encoder: TileEncoder | None = None) -> None:
    source = open_master(master)
    grid = CanvasGrid(0.0, 0.0, PITCH_MM, source.width_px, source.height_px)
    plan = PyramidPlan(grid, None, _tone(source), encoder or JpegEncoder())
    build_pyramid(source, out, plan=plan)


def _own_webp(master: Path, out: Path) -> None:
    _own(master, out, WebpEncoder())


def _resampled(master: Path, out: Path, encoder: TileEncoder | None = None) -> None:
    source = open_master(master)
    frame_map = smooth_map(source.width_px, source.height_px)
    grid = grid_to_publish(frame_map, canvas_pitch_mm=PITCH_MM / 1.01)
    # The plain save sees as many pixels: no more than the master's own are published.
    grid = CanvasGrid(grid.x0_mm, grid.y0_mm, grid.pitch_mm, source.width_px, source.height_px)
    plan = PyramidPlan(grid, frame_map, _tone(source), encoder or JpegEncoder())
    assert plan.is_resampled
    build_pyramid(source, out, plan=plan)


def _resampled_webp(master: Path, out: Path) -> None:
    _resampled(master, out, WebpEncoder())


def _levels(master: Path, out: Path) -> None:
    build_reading_levels(open_master(master), out)


def _read(master: Path, out: Path) -> None:
    """Touch every byte once, so that the first timed run does not pay for the disk."""
    with master.open("rb") as file:
        while file.read(1 << 24):
            pass


KINDS: dict[str, Callable[[Path, Path], None]] = {
    "plain": _plain,
    "plain_lossless": _plain_lossless,
    "own": _own,
    "own_webp": _own_webp,
    "resampled": _resampled,
    "resampled_webp": _resampled_webp,
    "levels": _levels,
    "read": _read,
}


class _MemoryWatch(threading.Thread):
    """Largest anonymous resident memory of this process, mapped files not counted."""

    def __init__(self) -> None:
        super().__init__(daemon=True)
        self.peak_mb = 0.0
        self.is_over = threading.Event()

    def run(self) -> None:
        while not self.is_over.wait(SAMPLE_PERIOD_S):
            status = Path("/proc/self/status").read_text()
            line = next(line for line in status.splitlines() if line.startswith("RssAnon"))
            self.peak_mb = max(self.peak_mb, int(line.split()[1]) / 1024)


def _main(kind: str, master: str, out: str) -> None:
    watch = _MemoryWatch()
    watch.start()
    start = time.perf_counter()
    KINDS[kind](Path(master), Path(out))
    seconds = time.perf_counter() - start
    watch.is_over.set()
    print(json.dumps({"seconds": seconds, "peak_mb": watch.peak_mb}))


if __name__ == "__main__":
    _main(*sys.argv[1:])
