"""Compressed tiles straight from a pyramid file, and a bounded set of open files."""

from __future__ import annotations

import mmap
import threading
from collections import OrderedDict
from pathlib import Path
from typing import Any

from imaging.compute.frames import CanvasGrid
from imaging.compute.pyramid.tiff_index import read_tiff_index
from imaging.compute.pyramid.tile_grid import TileGrid, Zoom
from imaging.errors import DamagedPyramidError, ImagingError

__all__ = ["OpenPyramids", "PyramidFile"]


class PyramidFile:
    """An open pyramid.

    Parameters
    ----------
    path : Path
        A file made by `build_pyramid`.

    Raises
    ------
    DamagedPyramidError
        If it is something else, or an entry leads out of the file.

    Notes
    -----
    The file is mapped and its index used in place: opening costs well under a millisecond, a
    tile a few microseconds.
    """

    def __init__(self, path: Path) -> None:
        with path.open("rb") as file:
            try:
                self._bytes = mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ)
            except ValueError:
                raise DamagedPyramidError(file_name=path.name, what="it is empty") from None
        index = read_tiff_index(self._bytes, name=path.name, kind="mahlstick-pyramid")
        self.description: dict[str, Any] = index.description
        try:
            self.grid = CanvasGrid.from_json(self.description["grid"])
            self.tile_size_px = int(self.description["tile_size_px"])
            self.media_type = str(self.description["media_type"])
            tile_grid = TileGrid(self.grid.width_px, self.grid.height_px, self.tile_size_px)
        except (KeyError, ValueError, TypeError, ImagingError) as err:
            what = f"its description is incomplete ({err})"
            raise DamagedPyramidError(file_name=path.name, what=what) from err
        self.zooms: tuple[Zoom, ...] = tile_grid.zooms
        # The file begins with full size, zooms with the coarsest.
        self._images = index.images[::-1]
        sizes = [(image.width_px, image.height_px) for image in self._images]
        if sizes != [(zoom.width_px, zoom.height_px) for zoom in self.zooms]:
            raise DamagedPyramidError(file_name=path.name, what=f"its zooms have sizes {sizes}")

    def tile(self, zoom: int, column: int, row: int) -> bytes | None:
        """Return one tile as it is stored, or None if the pyramid has no such tile.

        Parameters
        ----------
        zoom : int
            0 is the coarsest.
        column, row : int
            Counted from the top left.
        """
        if not 0 <= zoom < len(self._images):
            return None
        image = self._images[zoom]
        if not (0 <= column < image.columns and 0 <= row < image.rows):
            return None
        number = row * image.columns + column
        start = int(image.offsets[number])
        return self._bytes[start : start + int(image.counts[number])]


class OpenPyramids:
    """Keeps the pyramids used last open, up to a limit; safe to share between threads.

    Parameters
    ----------
    limit : int
        Most files open at a time.
    """

    def __init__(self, *, limit: int = 64) -> None:
        if limit < 1:
            raise ValueError(f"limit must be at least 1, got {limit}")
        self._limit = limit
        self._files: OrderedDict[Path, PyramidFile] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, path: Path) -> PyramidFile:
        """Return an open pyramid.

        Parameters
        ----------
        path : Path
            A published file; its name never gets another content.

        Raises
        ------
        FileNotFoundError
            If there is no such file.
        DamagedPyramidError
            If it is no pyramid.
        """
        with self._lock:
            file = self._files.get(path)
            if file is not None:
                self._files.move_to_end(path)
                return file
        file = PyramidFile(path)
        with self._lock:
            self._files[path] = file
            while len(self._files) > self._limit:
                # Its mapping goes when nobody reads from it any more.
                self._files.popitem(last=False)
        return file

    def forget(self, path: Path) -> None:
        """Close a file that was withdrawn."""
        with self._lock:
            self._files.pop(path, None)

    def __len__(self) -> int:
        """Return how many files are open."""
        return len(self._files)
