"""Random access to uncompressed tiles of a BigTIFF written here."""

from __future__ import annotations

import mmap
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from imaging.compute.pyramid.tiff_index import TileIndex, read_tiff_index

__all__ = ["LevelFile"]


class LevelFile:
    """The reduced versions of a master (and, where needed, its full size) without loss.

    Parameters
    ----------
    path : Path
        A file made by `build_reading_levels`.

    Raises
    ------
    DamagedPyramidError
        If it is something else, or ends too early.
    """

    def __init__(self, path: Path) -> None:
        with path.open("rb") as file:
            self._bytes = mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ)
        index = read_tiff_index(self._bytes, name=path.name, kind="mahlstick-levels")
        self.description: dict[str, Any] = index.description
        self.icc_profile = index.icc_profile
        self.width_px: int = self.description["width_px"]
        self.height_px: int = self.description["height_px"]
        self.bands: int = self.description["bands"]
        self.dtype = np.dtype(self.description["dtype"])
        self._tile_px: int = self.description["tile_size_px"]
        scale_factors: list[int] = self.description["scale_factors"]
        self._images: dict[int, TileIndex] = dict(zip(scale_factors, index.images, strict=True))
        for image in index.images:
            image.refuse_short_tiles(self._tile_px**2 * self.bands * self.dtype.itemsize)

    @property
    def scale_factors(self) -> tuple[int, ...]:
        """Stored scale factors, ascending."""
        return tuple(self._images)

    def read_window(self, x_px: int, y_px: int, width_px: int, height_px: int, *, scale_factor: int) -> NDArray[Any]:
        """Return a window of one stored size.

        Parameters
        ----------
        x_px, y_px, width_px, height_px : int, px
            Place and size in the reduced picture, inside it.
        scale_factor : int
            One of `scale_factors`.

        Returns
        -------
        window : (height_px, width_px, bands) array
            A copy.
        """
        window = np.empty((height_px, width_px, self.bands), self.dtype)
        size = self._tile_px
        for row in range(y_px // size, -(-(y_px + height_px) // size)):
            for column in range(x_px // size, -(-(x_px + width_px) // size)):
                self._copy_tile(scale_factor, (column, row), window, (x_px, y_px))
        return window

    def _copy_tile(
        self,
        scale_factor: int,
        tile: tuple[int, int],
        window: NDArray[Any],
        origin_px: tuple[int, int],
    ) -> None:
        image, size = self._images[scale_factor], self._tile_px
        offset = int(image.offsets[tile[1] * image.columns + tile[0]])
        pixels = np.ndarray((size, size, self.bands), self.dtype, self._bytes, offset)
        left, top = tile[0] * size - origin_px[0], tile[1] * size - origin_px[1]
        right, bottom = min(left + size, window.shape[1]), min(top + size, window.shape[0])
        x0, y0 = max(left, 0), max(top, 0)
        window[y0:bottom, x0:right] = pixels[y0 - top : bottom - top, x0 - left : right - left]
