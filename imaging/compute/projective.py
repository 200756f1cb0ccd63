"""Projective transforms of the plane as (3, 3) matrices that act on column vectors."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from imaging.map_errors import SingularMapError

__all__ = [
    "apply_projective",
    "is_affine",
    "normalised_projective",
    "projective_depth",
    "projective_jacobian",
]

# Below this share of a plain matrix the rows count as dependent (float64 carries 2e-16).
_SINGULAR_SHARE = 1e-13


def is_affine(matrix: NDArray[np.float64]) -> bool:
    """Return whether the last row is (0, 0, something), so that parallels stay parallel."""
    return bool(matrix[2, 0] == 0.0 and matrix[2, 1] == 0.0)


def apply_projective(matrix: NDArray[np.float64], points: ArrayLike) -> NDArray[np.float64]:
    """Return the images of (N, 2) points.

    Points on or beyond the horizon (depth not above zero) have no image and give NaN.

    Examples
    --------
    >>> apply_projective(np.diag([2.0, 4.0, 2.0]), [[1.0, 1.0]]).tolist()
    [[1.0, 2.0]]
    """
    points = np.asarray(points, dtype=np.float64)
    # Component by component: three times as fast as a matrix product of N x 2 by 2 x 2.
    x, y = points[:, 0], points[:, 1]
    depth = projective_depth(matrix, points)
    result = np.empty(points.shape)
    result[:, 0] = matrix[0, 0] * x + matrix[0, 1] * y + matrix[0, 2]
    result[:, 1] = matrix[1, 0] * x + matrix[1, 1] * y + matrix[1, 2]
    if is_affine(matrix) and matrix[2, 2] == 1.0:
        return result
    result /= np.where(depth > 0.0, depth, np.nan)[:, np.newaxis]
    return result


def projective_depth(matrix: NDArray[np.float64], points: ArrayLike) -> NDArray[np.float64]:
    """Return the homogeneous third coordinate of (N, 2) points; at zero lies the horizon."""
    points = np.asarray(points, dtype=np.float64)
    depth: NDArray[np.float64] = matrix[2, 0] * points[:, 0] + matrix[2, 1] * points[:, 1] + matrix[2, 2]
    return depth


def projective_jacobian(matrix: NDArray[np.float64], points: ArrayLike) -> NDArray[np.float64]:
    """Return the (N, 2, 2) derivatives: row of the result, column of the argument."""
    points = np.asarray(points, dtype=np.float64)
    depth = projective_depth(matrix, points)
    images = apply_projective(matrix, points)
    linear = matrix[:2, :2] - images[:, :, np.newaxis] * matrix[2, :2]
    jacobian: NDArray[np.float64] = linear / depth[:, np.newaxis, np.newaxis]
    return jacobian


def normalised_projective(
    matrix: NDArray[np.float64], *, visible_px: tuple[float, float] | None, field: str = "projective"
) -> NDArray[np.float64]:
    """Return the same transform scaled so that its depth is above zero in the picture.

    Parameters
    ----------
    matrix : (3, 3) float array
        Frame millimetres to image pixels, up to any factor.
    visible_px : 2 floats, px, or None
        A place that is certainly in front of the horizon, e.g. the middle of the image;
        without it the frame's datum (0, 0) is taken.
    field : str
        Name for the error.

    Returns
    -------
    matrix : (3, 3) float64 array
        Lower right element 1 or -1, where it is not negligible.

    Raises
    ------
    SingularMapError
        If the matrix has no inverse.
    """
    scales = np.linalg.norm(matrix, axis=1)
    if not scales.all():
        raise SingularMapError(field=field)
    # Translations of 1e5 px would hide a collapse, so columns and rows are brought to one size.
    balanced = matrix / scales[:, np.newaxis]
    balanced = balanced / np.maximum(np.linalg.norm(balanced, axis=0), 1e-300)
    singular_values = np.linalg.svd(balanced, compute_uv=False)
    if singular_values[2] <= _SINGULAR_SHARE * singular_values[0]:
        raise SingularMapError(field=field)
    corner = matrix[2, 2]
    is_corner_usable = abs(corner) > 1e-12 * np.abs(matrix).max()
    scaled = matrix / (abs(corner) if is_corner_usable else np.linalg.norm(matrix[2]))
    if visible_px is None:
        sign = scaled[2, 2]
    else:
        sign = np.linalg.inv(scaled)[2] @ np.array([*visible_px, 1.0])
    return scaled if sign >= 0.0 else -scaled
