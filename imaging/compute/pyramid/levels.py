"""Reading levels: reduced versions of a master without loss, for windows at any scale."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from imaging.compute.masters.source import MasterSource
from imaging.compute.pyramid.aside_file import written_aside
from imaging.compute.pyramid.level_file import LevelFile
from imaging.compute.pyramid.tile_encoding import RawEncoder
from imaging.compute.pyramid.tile_grid import TileGrid
from imaging.compute.pyramid.writer import PyramidWriter, TileForm
from imaging.errors import DamagedPyramidError, WorkCancelledError

__all__ = ["LevelledSource", "build_reading_levels", "with_levels"]


def build_reading_levels(
    source: MasterSource,
    path: Path,
    *,
    progress: Callable[[int, int], None] | None = None,
    is_cancelled: Callable[[], bool] | None = None,
) -> tuple[int, ...]:
    """Write the 2 x 2 means of a master, again and again until one tile holds the picture.

    Parameters
    ----------
    source : MasterSource
        The master. If no window of it can be read, its full size is stored too.
    path : Path
        The file to write; replaced when complete.
    progress : callable, optional
        Called with ``(done, total)`` rows of tiles.
    is_cancelled : callable, optional
        Asked for each row of tiles.

    Returns
    -------
    scale_factors : tuple of int
        What is stored.

    Raises
    ------
    WorkCancelledError
        If it was cancelled; nothing stays behind.

    Notes
    -----
    Uncompressed tiled BigTIFF; same type as the master. Streams; holds seven rows of tiles. A
    mean of integers is rounded half up, at each halving.
    """
    grid = TileGrid(source.width_px, source.height_px)
    is_full_size_stored = 1 not in source.scale_factors or len(grid.zooms) == 1
    scale_factors = [zoom.scale_factor for zoom in reversed(grid.zooms)]
    if not is_full_size_stored:
        scale_factors = scale_factors[1:]
    form = TileForm(RawEncoder(), source.bands, source.dtype)
    with (
        written_aside(path) as file,
        PyramidWriter(file, grid, form=form, is_full_size_stored=is_full_size_stored) as writer,
    ):
        _copy_rows(source, writer, progress=progress, is_cancelled=is_cancelled)
        description = {
            "type": "mahlstick-levels",
            "version": 1,
            "width_px": source.width_px,
            "height_px": source.height_px,
            "bands": source.bands,
            "dtype": source.dtype.name,
            "tile_size_px": grid.tile_size_px,
            "scale_factors": scale_factors,
        }
        writer.finish(description=json.dumps(description, sort_keys=True), icc_profile=source.icc_profile)
    return tuple(scale_factors)


class LevelledSource:
    """A master together with its reading levels: windows at every scale factor.

    Parameters
    ----------
    source : MasterSource
        The master.
    levels : LevelFile
        Levels of the same master.

    Raises
    ------
    DamagedPyramidError
        If the levels are of another picture.
    """

    def __init__(self, source: MasterSource, levels: LevelFile) -> None:
        self._source, self._levels = source, levels
        self.name = source.name
        self.width_px, self.height_px = source.width_px, source.height_px
        self.bands, self.dtype = source.bands, source.dtype
        self.icc_profile = source.icc_profile
        self.scale_factors = tuple(sorted({*source.scale_factors, *levels.scale_factors}))
        got = (levels.width_px, levels.height_px, levels.bands, levels.dtype)
        needed = (source.width_px, source.height_px, source.bands, source.dtype)
        if got != needed:
            what = f"its reading levels are of {got}, the master is {needed}"
            raise DamagedPyramidError(file_name=source.name, what=what)

    def strips(self, height_px: int) -> Iterator[tuple[int, NDArray[Any]]]:
        """Yield ``(top row, strip)`` of the master downwards.

        Parameters
        ----------
        height_px : int, px
            Rows of every strip but the last.
        """
        return self._source.strips(height_px)

    def read_window(
        self, x_px: int, y_px: int, width_px: int, height_px: int, *, scale_factor: int = 1
    ) -> NDArray[Any]:
        """Return a window of the picture reduced by `scale_factor`.

        Parameters
        ----------
        x_px, y_px, width_px, height_px : int, px
            Place and size in the reduced picture, inside it.
        scale_factor : int
            One of `scale_factors`.
        """
        if scale_factor in self._source.scale_factors:
            return self._source.read_window(x_px, y_px, width_px, height_px)
        return self._levels.read_window(x_px, y_px, width_px, height_px, scale_factor=scale_factor)


def with_levels(source: MasterSource, levels_path: Path) -> LevelledSource:
    """Return a master joined with its reading levels."""
    return LevelledSource(source, LevelFile(levels_path))


def _copy_rows(
    source: MasterSource,
    writer: PyramidWriter,
    *,
    progress: Callable[[int, int], None] | None = None,
    is_cancelled: Callable[[], bool] | None = None,
) -> None:
    height_px = len(writer.rows)
    total = -(-source.height_px // height_px)
    for done, (_, strip) in enumerate(source.strips(height_px), 1):
        if is_cancelled is not None and is_cancelled():
            raise WorkCancelledError(file_name=source.name)
        np.copyto(writer.rows, strip)
        writer.commit_rows()
        if progress is not None:
            progress(done, total)
