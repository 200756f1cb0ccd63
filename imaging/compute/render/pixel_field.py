"""Where the pixels of a grid on the face lie in a master, exactly or on a coarse lattice."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from imaging.compute.frames import CanvasGrid, pixel_centres_px, sample_index_from_px
from imaging.compute.maps import FrameMap

__all__ = ["DenseBlock", "PixelField"]

FIRST_STEP_PX = 16
# A pixel may lie this far from its exact place because the map is interpolated linearly.
LARGEST_ERROR_PX = 0.01
# Beyond the horizon of a perspective map; any place outside every picture does.
_NOWHERE_PX = -1e6


@dataclass(frozen=True)
class DenseBlock:
    """Source sample indices of the pixels of one block.

    Parameters
    ----------
    index : (rows, columns, 2) float32 array
        x and y relative to `origin_index`; overwritten by the next block.
    origin_index : tuple of int
        Sample that counts as (0, 0), so that float32 is exact enough far out.
    low, high : float64 array of 2
        Bounds of the indices, relative to the whole picture.
    """

    index: NDArray[np.float32]
    origin_index: tuple[int, int]
    low: NDArray[np.float64]
    high: NDArray[np.float64]


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
        self._buffer: NDArray[np.float32] = np.empty((0, 0, 2), np.float32)

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

    def dense_block(self, x_px: int, y_px: int, width_px: int, height_px: int) -> DenseBlock:
        """Return a block's sample indices, interpolated linearly in a lattice of the map.

        Parameters
        ----------
        x_px, y_px, width_px, height_px : int, px
            The block in the grid.

        Returns
        -------
        block : DenseBlock
            Each index within 0.01 of the exact one: the lattice is made finer until its
            midpoints agree.
        """
        step_px = FIRST_STEP_PX
        while step_px > 1:
            lattice, worst = self._lattice((x_px, y_px, width_px, height_px), step_px)
            if worst < LARGEST_ERROR_PX:
                return self._enlarged(lattice, step_px, (width_px, height_px))
            step_px //= 2
        exact = self.exact_block(x_px, y_px, width_px, height_px)
        low, high, origin = _bounds(exact)
        return DenseBlock((exact - origin).astype(np.float32), _pair(origin), low, high)

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

    def _enlarged(self, nodes: NDArray[np.float64], step_px: int, size_px: tuple[int, int]) -> DenseBlock:
        low, high, origin = _bounds(nodes)
        rows, columns = nodes.shape[:2]
        shape = (rows * step_px, columns * step_px, 2)
        if self._buffer.shape != shape:
            self._buffer = np.empty(shape, np.float32)
        # Enlarging puts node i at the middle of its cell, which is where it was evaluated.
        cv2.resize(
            (nodes - origin).astype(np.float32),
            (shape[1], shape[0]),
            dst=self._buffer,
            interpolation=cv2.INTER_LINEAR,
        )
        width_px, height_px = size_px
        index = self._buffer[step_px : step_px + height_px, step_px : step_px + width_px]
        return DenseBlock(index, _pair(origin), low, high)


def _bounds(
    index: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    low, high = index.min(axis=(0, 1)), index.max(axis=(0, 1))
    return low, high, np.floor(low)


def _pair(origin: NDArray[np.float64]) -> tuple[int, int]:
    return int(origin[0]), int(origin[1])
