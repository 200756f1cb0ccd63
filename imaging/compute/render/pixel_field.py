"""Where the pixels of a grid on the face lie in a master, exactly or on a coarse lattice."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from imaging.compute.frames import CanvasGrid, pixel_centres_px, sample_index_from_px
from imaging.compute.maps import FrameMap

__all__ = ["LARGEST_ERROR_PX", "BlockPlaces", "PixelField", "bounds_of_index"]

_FIRST_STEP_PX = 16
# A pixel may lie this far from its exact place because the map is interpolated linearly.
LARGEST_ERROR_PX = 0.01
# Beyond the horizon of a perspective map; any place outside every picture does.
_NOWHERE_PX = -1e6


def bounds_of_index(
    index: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the lowest and the highest x and y of ``(rows, columns, 2)`` indices.

    Examples
    --------
    >>> low, high = bounds_of_index(np.array([[[1.0, 5.0], [2.0, 3.0]]]))
    >>> low.tolist(), high.tolist()
    ([1.0, 3.0], [2.0, 5.0])
    """
    # One axis at a time: numpy is ten times slower along the short last axis.
    x, y = index[..., 0], index[..., 1]
    return np.array([x.min(), y.min()]), np.array([x.max(), y.max()])


@dataclass(frozen=True)
class BlockPlaces:
    """Where the pixels of one block lie, kept as a lattice or exactly.

    Parameters
    ----------
    nodes : (rows, columns, 2) float64 array
        Sample indices in the source, x and y: of the pixels when `step_px` is 1, otherwise at
        the middle of cells, one cell more than the block on every side.
    step_px : int, px
        Side of a cell.
    width_px, height_px : int, px
        Size of the block.
    """

    nodes: NDArray[np.float64]
    step_px: int
    width_px: int
    height_px: int

    @property
    def bounds(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Lowest and highest sample index, x and y."""
        return bounds_of_index(self.nodes)

    def index_from(self, origin: ArrayLike, buffer: NDArray[np.float32]) -> NDArray[np.float32]:
        """Return the sample indices of all pixels, counted from a sample of the source.

        Parameters
        ----------
        origin : 2 ints
            Sample that counts as (0, 0); a near one, so that float32 is exact enough.
        buffer : float32 array
            Of `buffer_shape`; overwritten.

        Returns
        -------
        index : (height_px, width_px, 2) float32 array
            x and y; a view of the buffer.
        """
        local = (self.nodes - np.asarray(origin, np.float64)).astype(np.float32)
        if self.step_px == 1:
            return local
        step_px = self.step_px
        # Enlarging puts node i at the middle of its cell, which is where it was evaluated.
        size = (buffer.shape[1], buffer.shape[0])
        cv2.resize(local, size, dst=buffer, interpolation=cv2.INTER_LINEAR)
        return buffer[step_px : step_px + self.height_px, step_px : step_px + self.width_px]

    @property
    def buffer_shape(self) -> tuple[int, int, int]:
        """Shape of the buffer that `index_from` needs."""
        rows, columns = self.nodes.shape[:2]
        return rows * self.step_px, columns * self.step_px, 2


class PixelField:
    """The places of a grid's pixels in a master reduced by a scale factor.

    Parameters
    ----------
    grid : CanvasGrid
        Pixels on the face.
    frame_map : FrameMap
        From the face to the master.
    scale_factor : int
        Reduction of the master that is read.

    Notes
    -----
    A 2 x 2 mean keeps continuous pixel coordinates: place in the reduced picture is place in
    the master divided by the factor.
    """

    def __init__(self, grid: CanvasGrid, frame_map: FrameMap, *, scale_factor: int = 1) -> None:
        self.grid, self.frame_map, self.scale_factor = grid, frame_map, scale_factor

    def sample_index_at(self, x_px: ArrayLike, y_px: ArrayLike) -> NDArray[np.float64]:
        """Return the sample indices where columns and rows of the grid cross.

        Parameters
        ----------
        x_px, y_px : (columns,) and (rows,) float arrays, px
            Continuous coordinates of the grid.

        Returns
        -------
        index : (rows, columns, 2) float64 array
            x and y in the reduced master; far outside where the map has no value.
        """
        x_mm = self.grid.x0_mm + np.asarray(x_px, np.float64) * self.grid.pitch_mm
        y_mm = self.grid.y0_mm + np.asarray(y_px, np.float64) * self.grid.pitch_mm
        places_px = self.frame_map.px_on_lattice(x_mm, y_mm) / self.scale_factor
        index = sample_index_from_px(places_px)
        return np.nan_to_num(index, copy=False, nan=_NOWHERE_PX, posinf=1e9, neginf=-1e9)

    def exact_block(self, x_px: int, y_px: int, width_px: int, height_px: int) -> NDArray[Any]:
        """Return the exact sample indices of a block's pixels, ``(rows, columns, 2)`` float64."""
        return self.sample_index_at(x_px + pixel_centres_px(width_px), y_px + pixel_centres_px(height_px))

    def block_places(self, x_px: int, y_px: int, width_px: int, height_px: int) -> BlockPlaces:
        """Return where a block's pixels lie, to be interpolated linearly in a lattice of the map.

        Parameters
        ----------
        x_px, y_px, width_px, height_px : int, px
            The block in the grid.

        Returns
        -------
        places : BlockPlaces
            Each within 0.01 px of the exact one: the lattice is made finer until its midpoints
            agree, down to every single pixel.
        """
        step_px = _FIRST_STEP_PX
        while step_px > 1:
            nodes, worst_px = self._lattice((x_px, y_px, width_px, height_px), step_px)
            if worst_px < LARGEST_ERROR_PX:
                return BlockPlaces(nodes, step_px, width_px, height_px)
            step_px //= 2
        nodes = self.exact_block(x_px, y_px, width_px, height_px)
        return BlockPlaces(nodes, 1, width_px, height_px)

    def _lattice(self, block: tuple[int, int, int, int], step_px: int) -> tuple[NDArray[np.float64], float]:
        """Return nodes at the middle of cells, one cell more on every side, and the error."""
        x_px, y_px, width_px, height_px = block
        columns, rows = -(-width_px // step_px), -(-height_px // step_px)
        node_x_px = x_px + step_px * pixel_centres_px(columns + 2) - step_px
        node_y_px = y_px + step_px * pixel_centres_px(rows + 2) - step_px
        nodes = self.sample_index_at(node_x_px, node_y_px)
        middle = self.sample_index_at(node_x_px[:-1] + step_px / 2, node_y_px[:-1] + step_px / 2)
        mean = (nodes[:-1, :-1] + nodes[1:, :-1] + nodes[:-1, 1:] + nodes[1:, 1:]) / 4
        return nodes, float(np.abs(middle - mean).max())
