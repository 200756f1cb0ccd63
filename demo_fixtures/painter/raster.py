"""The stack of a whole painting on disk: painted tile by tile, resumable, read back in regions."""

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from demo_fixtures.painter.cracks import draw_cracks
from demo_fixtures.painter.plan import PLAN_VERSION, Plan
from demo_fixtures.painter.stack import STACK_CHANNELS, Paint, TileGrid, lay_ground, lay_strokes, lay_wash

__all__ = ["CRACK_CHANNEL", "RASTER_CHANNELS", "RASTER_ORIGIN_MM", "RASTER_SIZE_MM", "Raster", "paint_tile"]

# One channel more than the stack: the share of the pixel that is crack.
CRACK_CHANNEL = STACK_CHANNELS
RASTER_CHANNELS = STACK_CHANNELS + 1
RASTER_ORIGIN_MM = (-16.0, -16.0)
RASTER_SIZE_MM = (672.0, 512.0)
# Stored value = (value + offset) * scale; height in um, X-ray absorption up to 16.
_OFFSET = np.array([0, 0, 0, 0, 0, 0, 0, 0, 200, 0], np.float32)
_SCALE = np.array([60000] * 4 + [120000] * 3 + [4000, 40, 60000], np.float32)


def paint_tile(
    plan: Plan, grid: TileGrid, *, shape: tuple[int, int], hidden: NDArray[np.bool_] | None = None
) -> NDArray[np.float32]:
    """Return the paint of a tile, shape (rows, columns, 10); ``hidden`` kinds of stroke are left out."""
    left_out = np.zeros(8, np.bool_) if hidden is None else hidden
    tile = np.zeros((*shape, STACK_CHANNELS), np.float32)
    paint = Paint(plan.strokes, plan.films)
    lay_ground(tile, grid, plan.seed)
    lay_strokes(tile, paint, grid, (0, plan.wash_after), left_out)
    lay_wash(tile, grid, plan.wash_film, plan.seed)
    lay_strokes(tile, paint, grid, (plan.wash_after, len(plan.strokes.points)), left_out)
    cover = np.zeros(shape, np.float32)
    chosen = _cracks_near(plan, grid, shape)
    draw_cracks(cover, plan.cracks.ends_mm[chosen], plan.cracks.width_mm[chosen], grid, plan.seed)
    return np.concatenate([tile, cover[..., None]], axis=2)


def _cracks_near(plan: Plan, grid: TileGrid, shape: tuple[int, int]) -> NDArray[np.intp]:
    """Return the crack segments that can touch a tile, in order."""
    ends = plan.cracks.ends_mm
    left, top = grid.x0_mm + grid.column * grid.pitch_mm - 2.0, grid.y0_mm + grid.row * grid.pitch_mm - 2.0
    right, bottom = left + shape[1] * grid.pitch_mm + 4.0, top + shape[0] * grid.pitch_mm + 4.0
    near = (ends[:, 0] > left) & (ends[:, 0] < right) & (ends[:, 1] > top) & (ends[:, 1] < bottom)
    return np.flatnonzero(near)


class Raster:
    """A stack on the frame's own grid; pixel (0, 0) starts at ``origin_mm``.

    Set ``hidden`` before painting to leave kinds of stroke out (only without a folder).
    """

    def __init__(
        self,
        plan: Plan,
        *,
        pitch_mm: float,
        folder: Path | None,
        window_mm: tuple[float, float, float, float],
        tile_px: int = 512,
    ) -> None:
        self.plan = plan
        self.pitch_mm = pitch_mm
        self.origin_mm = (window_mm[0], window_mm[1])
        self.columns = round(window_mm[2] / pitch_mm)
        self.rows = round(window_mm[3] / pitch_mm)
        self.tile_px = tile_px
        self.hidden: NDArray[np.bool_] | None = None
        shape = (self.rows, self.columns, RASTER_CHANNELS)
        self.tiles_down = -(-self.rows // tile_px)
        self.tiles_across = -(-self.columns // tile_px)
        if folder is None:
            self.values = np.zeros(shape, np.uint16)
            self.done = np.zeros((self.tiles_down, self.tiles_across), np.uint8)
        else:
            self.values, self.done = self._open(folder, shape)

    def _open(self, folder: Path, shape: tuple[int, ...]) -> tuple[NDArray[np.uint16], NDArray[np.uint8]]:
        """Return the stack's files, kept when they belong to the same plan."""
        name = f"stack_v{PLAN_VERSION}_{self.plan.seed}_{round(self.pitch_mm * 1e6)}nm_{self.tile_px}"
        values, done = folder / f"{name}.u16", folder / f"{name}.done"
        tiles = (self.tiles_down, self.tiles_across)
        wanted = int(np.prod(shape)) * 2
        is_kept = values.exists() and done.exists() and values.stat().st_size == wanted
        if not is_kept:
            for path, size in ((values, wanted), (done, tiles[0] * tiles[1])):
                with path.open("wb") as file:
                    os.truncate(file.fileno(), size)
        return np.memmap(values, np.uint16, "r+", shape=shape), np.memmap(done, np.uint8, "r+", shape=tiles)

    def paint(self, progress: Callable[[float], None]) -> None:
        """Paint all tiles that are not there yet, on both cores."""
        missing = [(int(down), int(across)) for down, across in np.argwhere(self.done == 0)]
        total = max(len(missing), 1)
        with ThreadPoolExecutor(2) as pool:
            for number, _ in enumerate(pool.map(self._paint_one, missing), 1):
                progress(number / total)

    def _paint_one(self, place: tuple[int, int]) -> None:
        row, column = place[0] * self.tile_px, place[1] * self.tile_px
        shape = (min(self.tile_px, self.rows - row), min(self.tile_px, self.columns - column))
        tile = paint_tile(self.plan, self.grid_at(column, row), shape=shape, hidden=self.hidden)
        self.values[row : row + shape[0], column : column + shape[1]] = np.clip(
            (tile + _OFFSET) * _SCALE + 0.5, 0, 65535
        )
        self.done[place] = 1

    def grid_at(self, column: int, row: int) -> TileGrid:
        """Return the grid of a region that starts at a pixel."""
        return TileGrid(self.origin_mm[0], self.origin_mm[1], self.pitch_mm, column, row)

    def read(self, column: int, row: int, columns: int, rows: int) -> NDArray[np.float32]:
        """Return a region as floats; beyond the raster its edge is repeated."""
        down = np.clip(np.arange(row, row + rows), 0, self.rows - 1)
        across = np.clip(np.arange(column, column + columns), 0, self.columns - 1)
        if down[-1] - down[0] == rows - 1 and across[-1] - across[0] == columns - 1:
            region = self.values[down[0] : down[-1] + 1, across[0] : across[-1] + 1]
        else:
            region = self.values[down[0] : down[-1] + 1][:, across][down - down[0]]
        return region.astype(np.float32) * (1.0 / _SCALE) - _OFFSET
