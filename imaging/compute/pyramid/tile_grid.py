"""How one picture is cut into square tiles at every zoom, the coarsest first."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

__all__ = ["TILE_SIZE_PX", "TileGrid", "Zoom"]

TILE_SIZE_PX = 256


@dataclass(frozen=True)
class Zoom:
    """One zoom of a tile grid: its reduction, its size and its tiles.

    Parameters
    ----------
    zoom : int
        0 is the coarsest; grows with detail.
    scale_factor : int
        1, 2, 4 ...: side of the square of full-size pixels behind one pixel.
    width_px, height_px : int, px
        Size of the picture at this zoom, rounded up.
    columns, rows : int
        Number of tiles.
    """

    zoom: int
    scale_factor: int
    width_px: int
    height_px: int
    columns: int
    rows: int


@dataclass(frozen=True)
class TileGrid:
    """The tiles of a picture of given size; every edge tile counts as a whole one.

    Parameters
    ----------
    width_px, height_px : int, px
        Size of the full picture, at least 1.
    tile_size_px : int, px
        Side of a tile; even, so that two rows of tiles halve into one.

    Examples
    --------
    >>> grid = TileGrid(513, 257)
    >>> [(zoom.scale_factor, zoom.columns, zoom.rows) for zoom in grid.zooms]
    [(4, 1, 1), (2, 2, 1), (1, 3, 2)]
    >>> grid.pixels_of_tile(2, 2, 1)
    (512, 256, 1, 1)
    """

    width_px: int
    height_px: int
    tile_size_px: int = TILE_SIZE_PX

    def __post_init__(self) -> None:
        """Refuse sizes that cannot be cut."""
        if self.width_px < 1 or self.height_px < 1:
            raise ValueError(f"a picture of {self.width_px} x {self.height_px} px has no tiles")
        if self.tile_size_px < 16 or self.tile_size_px % 16:
            # TIFF 6.0, section 15: tile sides are multiples of 16.
            raise ValueError(f"tile_size_px must be a multiple of 16, got {self.tile_size_px}")

    @cached_property
    def zooms(self) -> tuple[Zoom, ...]:
        """Every zoom, from the one that fits into one tile to full size."""
        count = 1
        while max(self.width_px, self.height_px) > self.tile_size_px << (count - 1):
            count += 1
        return tuple(self._zoom(zoom, 1 << (count - 1 - zoom)) for zoom in range(count))

    def zoom_of_scale_factor(self, scale_factor: int) -> Zoom:
        """Return the zoom that shows the picture reduced by `scale_factor`.

        Raises
        ------
        ValueError
            If the grid has no such zoom.
        """
        for zoom in self.zooms:
            if zoom.scale_factor == scale_factor:
                return zoom
        raise ValueError(f"no zoom has scale factor {scale_factor}")

    def pixels_of_tile(self, zoom: int, column: int, row: int) -> tuple[int, int, int, int]:
        """Return ``(x, y, width, height)`` of the picture's pixels in one tile, px of that zoom.

        Raises
        ------
        ValueError
            If the grid has no such tile.
        """
        if not 0 <= zoom < len(self.zooms):
            raise ValueError(f"zoom {zoom} is not among 0 ... {len(self.zooms) - 1}")
        here = self.zooms[zoom]
        if not (0 <= column < here.columns and 0 <= row < here.rows):
            raise ValueError(f"zoom {zoom} has no tile ({column}, {row})")
        x_px, y_px = column * self.tile_size_px, row * self.tile_size_px
        width_px = min(self.tile_size_px, here.width_px - x_px)
        return x_px, y_px, width_px, min(self.tile_size_px, here.height_px - y_px)

    def _zoom(self, zoom: int, scale_factor: int) -> Zoom:
        width_px = -(-self.width_px // scale_factor)
        height_px = -(-self.height_px // scale_factor)
        columns = -(-width_px // self.tile_size_px)
        rows = -(-height_px // self.tile_size_px)
        return Zoom(zoom, scale_factor, width_px, height_px, columns, rows)
