"""Any window of a 16-bit master through a smooth map, beside plain resampling of the same pixels.

The plain way is given its coordinates ready made and reads exactly the pixels it needs; it only
resamples, tones and encodes. What is measured also evaluates the map.
"""

from __future__ import annotations

import io
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import tifffile
from scipy import ndimage

from imaging.compute.frames import CanvasGrid
from imaging.compute.maps import FrameMap
from imaging.compute.masters.source import MasterSource, open_master
from imaging.compute.pyramid.levels import build_reading_levels, with_levels
from imaging.compute.render.display_tone import DisplayTone
from imaging.compute.render.pixel_field import PixelField
from imaging.compute.render.shown_pixels import ShownPixels
from imaging.compute.render.window import render_window, sample_window
from imaging.compute.render.window_encoding import encode_values, encode_window
from tests.benchmarks.pictures import PITCH_MM, smooth_map, write_master
from tests.benchmarks.row import Row

__all__ = ["ROWS"]

SIDE_PX = 8_000
WINDOW_PX = 512
WINDOWS = 24
# The best of these at each place, taken in turns, against other work on the machine.
ROUNDS = 5
JPEG_QUALITY = 90
TARGET = 1.3


def windows() -> Iterator[Row]:
    """A toned window as JPEG, and a window of values as TIFF; medians over many places."""
    with tempfile.TemporaryDirectory() as folder:
        master, levels = Path(folder) / "master.tif", Path(folder) / "levels.tif"
        write_master(master, (SIDE_PX, SIDE_PX), "uint16")
        build_reading_levels(open_master(master), levels)
        source, frame_map = with_levels(open_master(master), levels), smooth_map(SIDE_PX)
        grids = _grids()
        yield _row("toned window 512 px, JPEG", _toned, (source, frame_map, grids))
        yield _row("values window 512 px, 16-bit TIFF", _values, (source, frame_map, grids))


ROWS: dict[str, Callable[[], Iterable[Row]]] = {"windows": windows}

Inputs = tuple[MasterSource, FrameMap, list[CanvasGrid]]
Pair = tuple[Callable[[], Any], Callable[[], Any]]


def _grids() -> list[CanvasGrid]:
    rng = np.random.default_rng(5)
    places_px = rng.integers(200, SIDE_PX - WINDOW_PX - 400, (WINDOWS, 2))
    whole = CanvasGrid(0.0, 0.0, PITCH_MM, SIDE_PX, SIDE_PX)
    return [whole.window(int(x), int(y), width_px=WINDOW_PX, height_px=WINDOW_PX) for x, y in places_px]


def _row(name: str, make_pair: Callable[..., Pair], inputs: Inputs) -> Row:
    source, frame_map, grids = inputs
    own_ms, plain_ms = [], []
    for grid in grids:
        own, plain = make_pair(source, frame_map, grid)
        own()
        times_ms = [(_milliseconds(own), _milliseconds(plain)) for _ in range(ROUNDS)]
        own_ms.append(min(time_ms for time_ms, _ in times_ms))
        plain_ms.append(min(time_ms for _, time_ms in times_ms))
    return Row(name, float(np.median(own_ms)), "ms", float(np.median(plain_ms)), TARGET)


def _milliseconds(run: Callable[[], Any]) -> float:
    start = time.perf_counter()
    run()
    return 1000 * (time.perf_counter() - start)


def _crop(source: MasterSource, index: np.ndarray, margin_px: int) -> tuple[np.ndarray, np.ndarray]:
    """Return the pixels that a window needs, and its places counted from their corner."""
    low = np.floor(index.min(axis=(0, 1))).astype(int) - margin_px
    high = np.ceil(index.max(axis=(0, 1))).astype(int) + margin_px + 1
    window = source.read_window(int(low[0]), int(low[1]), *(int(v) for v in high - low))
    return window, index - low


def _toned(source: MasterSource, frame_map: FrameMap, grid: CanvasGrid) -> Pair:
    tone = DisplayTone(2_000.0, 60_000.0, channels=(0, 1, 2))
    shown, lut = ShownPixels(source, tone), tone.lut(source.dtype)
    exact = PixelField(grid, frame_map).exact_block(0, 0, WINDOW_PX, WINDOW_PX)
    window, places = _crop(source, exact, 3)
    places = places.astype(np.float32)

    def plain() -> bytes:
        pixels = cv2.remap(np.ascontiguousarray(window), places, None, cv2.INTER_CUBIC)  # type: ignore[call-overload]
        toned = cv2.cvtColor(cv2.LUT(pixels, lut), cv2.COLOR_RGB2BGR)
        return cv2.imencode(".jpg", toned, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])[1].tobytes()

    def own() -> bytes:
        return encode_window(render_window(source, frame_map, grid=grid, shown=shown), "jpg")

    return own, plain


def _values(source: MasterSource, frame_map: FrameMap, grid: CanvasGrid) -> Pair:
    exact = PixelField(grid, frame_map).exact_block(0, 0, WINDOW_PX, WINDOW_PX)
    window, places = _crop(source, exact, 12)
    rows_columns = np.moveaxis(places[..., ::-1], 2, 0)

    def plain() -> bytes:
        bands = [
            ndimage.map_coordinates(window[..., band].astype(np.float64), rows_columns, order=3)
            for band in range(source.bands)
        ]
        values = np.clip(np.rint(np.stack(bands, axis=-1)), 0, 65535).astype(np.uint16)
        stream = io.BytesIO()
        tifffile.imwrite(stream, values, photometric="rgb")
        return stream.getvalue()

    def own() -> bytes:
        return encode_values(sample_window(source, frame_map, grid=grid))

    return own, plain
