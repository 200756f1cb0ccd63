"""The pixel-centre convention, and pixel grids laid on the millimetre frame.

Continuous pixel coordinates (``_px``) have x to the right and y down. Pixel (0, 0) covers
``[0, 1) x [0, 1)`` and its centre is (0.5, 0.5). Array libraries (numpy, scipy, OpenCV) put
integer *sample indices* on pixel centres instead. Only this module converts between the two.
"""

import math
from dataclasses import dataclass
from typing import Any, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from imaging.compute.map_fields import finite_number, known_fields, positive_number, whole_number

__all__ = [
    "PIXEL_CENTRE",
    "CanvasGrid",
    "canvas_grid_over",
    "pixel_centres_px",
    "pixel_containing",
    "px_from_sample_index",
    "sample_index_from_px",
    "sample_matrix_from_px_matrix",
]

PIXEL_CENTRE = 0.5
# A lattice line closer than this share of a pixel counts as met, so that 0.1 + 0.2 adds no column.
_LATTICE_SLACK_PX = 1e-6


def sample_index_from_px(position_px: ArrayLike) -> NDArray[np.float64]:
    """Return array sample indices for continuous pixel coordinates.

    Parameters
    ----------
    position_px : float array of any shape, px
        Continuous coordinates; the centre of the first pixel is 0.5.

    Returns
    -------
    index : float64 array of the same shape
        Coordinates for ``scipy.ndimage.map_coordinates``, ``cv2.remap`` and the like.

    Examples
    --------
    >>> sample_index_from_px([0.5, 10.0]).tolist()
    [0.0, 9.5]
    """
    return np.asarray(position_px, dtype=np.float64) - PIXEL_CENTRE


def px_from_sample_index(index: ArrayLike) -> NDArray[np.float64]:
    """Return continuous pixel coordinates for array sample indices.

    Examples
    --------
    >>> px_from_sample_index([0, 9.5]).tolist()
    [0.5, 10.0]
    """
    return np.asarray(index, dtype=np.float64) + PIXEL_CENTRE


def sample_matrix_from_px_matrix(matrix_px: ArrayLike) -> NDArray[np.float64]:
    """Return the matrix between sample indices that equals one between pixel coordinates.

    Parameters
    ----------
    matrix_px : (3, 3) float array
        Homogeneous transform between continuous pixel coordinates of two images.

    Returns
    -------
    matrix : (3, 3) float64 array
        The same transform for libraries that count from pixel centres.

    Examples
    --------
    >>> sample_matrix_from_px_matrix([[2, 0, 0], [0, 2, 0], [0, 0, 1]])[0].tolist()
    [2.0, 0.0, 0.5]
    """
    px_from_index = np.array([[1, 0, PIXEL_CENTRE], [0, 1, PIXEL_CENTRE], [0, 0, 1]], dtype=np.float64)
    index_from_px = np.array([[1, 0, -PIXEL_CENTRE], [0, 1, -PIXEL_CENTRE], [0, 0, 1]], dtype=np.float64)
    return index_from_px @ np.asarray(matrix_px, dtype=np.float64) @ px_from_index


def pixel_centres_px(count: int) -> NDArray[np.float64]:
    """Return the continuous coordinates of the centres of ``count`` pixels in a row.

    Examples
    --------
    >>> pixel_centres_px(3).tolist()
    [0.5, 1.5, 2.5]
    """
    return px_from_sample_index(np.arange(count))


def pixel_containing(position_px: ArrayLike) -> NDArray[np.int64]:
    """Return the array index of the pixel that covers each continuous coordinate.

    Examples
    --------
    >>> pixel_containing([0.0, 0.99, 1.0]).tolist()
    [0, 0, 1]
    """
    return np.floor(np.asarray(position_px, dtype=np.float64)).astype(np.int64)


@dataclass(frozen=True)
class CanvasGrid:
    """A grid of square pixels laid parallel to the axes of the frame.

    Parameters
    ----------
    x0_mm, y0_mm : float, mm
        Frame place of the outer corner of pixel (0, 0).
    pitch_mm : float, mm per px
        Side of one pixel on the face, above zero.
    width_px, height_px : int, px
        Size of the grid, at least 1.

    Examples
    --------
    >>> grid = CanvasGrid(x0_mm=-10.0, y0_mm=0.0, pitch_mm=0.05, width_px=2000, height_px=1000)
    >>> grid.mm_from_px([[200.0, 10.0]]).tolist()
    [[0.0, 0.5]]
    >>> grid.zoomed(1).pitch_mm
    0.1
    """

    x0_mm: float
    y0_mm: float
    pitch_mm: float
    width_px: int
    height_px: int

    def __post_init__(self) -> None:
        """Refuse numbers that make no grid."""
        finite_number(self.x0_mm, "x0_mm")
        finite_number(self.y0_mm, "y0_mm")
        positive_number(self.pitch_mm, "pitch_mm")
        whole_number(self.width_px, "width_px", at_least=1)
        whole_number(self.height_px, "height_px", at_least=1)

    @property
    def extent_mm(self) -> tuple[float, float, float, float]:
        """The outer border as ``(x_min, y_min, x_max, y_max)`` in mm."""
        return (
            self.x0_mm,
            self.y0_mm,
            self.x0_mm + self.width_px * self.pitch_mm,
            self.y0_mm + self.height_px * self.pitch_mm,
        )

    @property
    def px_from_mm_matrix(self) -> NDArray[np.float64]:
        """The (3, 3) homogeneous matrix from frame millimetres to pixels of the grid."""
        scale_px_per_mm = 1.0 / self.pitch_mm
        return np.array(
            [
                [scale_px_per_mm, 0.0, -self.x0_mm * scale_px_per_mm],
                [0.0, scale_px_per_mm, -self.y0_mm * scale_px_per_mm],
                [0.0, 0.0, 1.0],
            ]
        )

    def mm_from_px(self, points_px: ArrayLike) -> NDArray[np.float64]:
        """Return frame millimetres of continuous pixel coordinates, shape (..., 2)."""
        origin_mm = np.array([self.x0_mm, self.y0_mm])
        points_mm: NDArray[np.float64] = origin_mm + np.asarray(points_px, dtype=np.float64) * self.pitch_mm
        return points_mm

    def px_from_mm(self, points_mm: ArrayLike) -> NDArray[np.float64]:
        """Return continuous pixel coordinates of frame millimetres, shape (..., 2)."""
        origin_mm = np.array([self.x0_mm, self.y0_mm])
        points_px: NDArray[np.float64] = (np.asarray(points_mm, dtype=np.float64) - origin_mm) / self.pitch_mm
        return points_px

    def zoomed(self, halvings: int) -> "CanvasGrid":
        """Return the grid of the picture halved ``halvings`` times, sizes rounded up.

        Examples
        --------
        >>> CanvasGrid(0, 0, 0.02, 1001, 5).zoomed(2)
        CanvasGrid(x0_mm=0, y0_mm=0, pitch_mm=0.08, width_px=251, height_px=2)
        """
        if halvings < 0:
            raise ValueError(f"halvings must be 0 or more, got {halvings}")
        factor = 2**halvings
        return CanvasGrid(
            self.x0_mm,
            self.y0_mm,
            self.pitch_mm * factor,
            width_px=-(-self.width_px // factor),
            height_px=-(-self.height_px // factor),
        )

    def window(self, left_px: int, top_px: int, *, width_px: int, height_px: int) -> "CanvasGrid":
        """Return the grid of a part, which may reach beyond this one.

        Examples
        --------
        >>> CanvasGrid(0.0, 0.0, 0.5, 100, 100).window(10, -2, width_px=4, height_px=4).y0_mm
        -1.0
        """
        return CanvasGrid(
            self.x0_mm + left_px * self.pitch_mm,
            self.y0_mm + top_px * self.pitch_mm,
            self.pitch_mm,
            width_px,
            height_px,
        )

    def to_json(self) -> dict[str, Any]:
        """Return the grid as a dictionary of numbers."""
        return {
            "x0_mm": float(self.x0_mm),
            "y0_mm": float(self.y0_mm),
            "pitch_mm": float(self.pitch_mm),
            "width_px": int(self.width_px),
            "height_px": int(self.height_px),
        }

    @classmethod
    def from_json(cls, document: Any) -> Self:
        """Read what ``to_json`` wrote.

        Raises
        ------
        MapFormatError
            If a field is missing, unknown, not finite or out of range; it names the field.
        """
        names = ["x0_mm", "y0_mm", "pitch_mm", "width_px", "height_px"]
        fields = known_fields(document, "grid", required=names)
        return cls(**{name: fields[name] for name in names})


def canvas_grid_over(
    extent_mm: tuple[float, float, float, float], *, canvas_pitch_mm: float, own_pitch_mm: float
) -> CanvasGrid:
    """Return the grid on which a resampled image is published.

    The pitch is ``canvas_pitch_mm * 2**k`` with the largest integer k that is not coarser than
    the image's own pitch; the origin lies on the lattice of that pitch through (0, 0) mm, so that
    pixels of any two images of a face nest exactly.

    Parameters
    ----------
    extent_mm : 4 floats, mm
        ``(x_min, y_min, x_max, y_max)`` to be covered.
    canvas_pitch_mm : float, mm per px
        Canvas pitch of the frame version.
    own_pitch_mm : float, mm per px
        Finest pitch of the image over the extent.

    Returns
    -------
    grid : CanvasGrid
        Covers the extent, grown to whole pixels.

    Examples
    --------
    >>> canvas_grid_over((0.03, 0.0, 9.9, 5.0), canvas_pitch_mm=0.02, own_pitch_mm=0.05)
    CanvasGrid(x0_mm=0.0, y0_mm=0.0, pitch_mm=0.04, width_px=248, height_px=125)
    """
    positive_number(canvas_pitch_mm, "canvas_pitch_mm")
    positive_number(own_pitch_mm, "own_pitch_mm")
    x_min, y_min, x_max, y_max = (finite_number(value, "extent_mm") for value in extent_mm)
    # The tiny allowance keeps k when the two pitches differ only by rounding.
    doublings = math.floor(math.log2(own_pitch_mm / canvas_pitch_mm) + 1e-9)
    pitch_mm = canvas_pitch_mm * 2.0**doublings
    left_px = math.floor(x_min / pitch_mm + _LATTICE_SLACK_PX)
    top_px = math.floor(y_min / pitch_mm + _LATTICE_SLACK_PX)
    right_px = math.ceil(x_max / pitch_mm - _LATTICE_SLACK_PX)
    bottom_px = math.ceil(y_max / pitch_mm - _LATTICE_SLACK_PX)
    return CanvasGrid(
        left_px * pitch_mm,
        top_px * pitch_mm,
        pitch_mm,
        width_px=max(right_px - left_px, 1),
        height_px=max(bottom_px - top_px, 1),
    )
