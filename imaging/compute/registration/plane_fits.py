"""Least-squares fits of similarity, affine and projective transforms to control points.

All minimise distances in the image, in px. Points are first brought to unit spread (Hartley,
In defense of the eight-point algorithm, DOI 10.1109/34.601246), which the covariance needs as
much as the fit.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from imaging.compute.projective import apply_projective

__all__ = ["PARAMETERS", "PlaneFit", "fit_plane_transform"]

PARAMETERS = {"similarity": 4, "affine": 6, "projective": 8}
_REFINEMENTS = 20
# Relative change at which refinement stops.
_SETTLED = 1e-13


@dataclass(frozen=True)
class PlaneFit:
    """A fitted transform of the plane.

    Parameters
    ----------
    model : str
        'similarity', 'affine' or 'projective'.
    px_from_mm : (3, 3) float array
    unit_from_mm : (3, 3) float array
        Brings the control points to unit spread.
    unit_px_from_mm_unit : (3, 3) float array
        The transform between both sets at unit spread.
    scale_px : float
        Pixels per unit of the image set at unit spread.
    is_mirrored : bool
        Meant for a similarity, whose derivatives depend on it.
    """

    model: str
    px_from_mm: NDArray[np.float64]
    unit_from_mm: NDArray[np.float64]
    unit_px_from_mm_unit: NDArray[np.float64]
    scale_px: float
    is_mirrored: bool

    def predicted_px(self, points_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the image pixels of (N, 2) frame places."""
        return apply_projective(self.px_from_mm, points_mm)

    def design_px(self, points_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the (N, 2, k) derivatives of the pixels by the k parameters."""
        units = apply_projective(self.unit_from_mm, points_mm)
        matrix = self.unit_px_from_mm_unit
        return self.scale_px * _design(units, self.model, matrix=matrix, is_mirrored=self.is_mirrored)


def fit_plane_transform(
    points_mm: NDArray[np.float64],
    points_px: NDArray[np.float64],
    *,
    model: str,
    may_mirror: bool = False,
    is_rough: bool = False,
) -> PlaneFit:
    """Return the least-squares transform from frame millimetres to image pixels.

    Parameters
    ----------
    points_mm, points_px : (N, 2) float64 arrays
        Already checked for number, spread and doubles.
    model : 'similarity', 'affine' or 'projective'
    may_mirror : bool
        Whether a similarity may mirror; it does when that fits better.
    is_rough : bool
        Leave the projective transform unrefined: exact for four points, quick for trials.

    Notes
    -----
    Similarity and affine are linear; projective starts from the direct linear transform and is
    refined by Gauss-Newton steps with damping on the distances in the image.

    Examples
    --------
    >>> square_mm = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 10.0]])
    >>> fit = fit_plane_transform(square_mm, square_mm * 20.0 + 5.0, model="affine")
    >>> fit.predicted_px(np.array([[5.0, 5.0]])).round(9).tolist()
    [[105.0, 105.0]]
    """
    unit_from_mm, unit_from_px = _unit_spread(points_mm), _unit_spread(points_px)
    source, target = apply_projective(unit_from_mm, points_mm), apply_projective(unit_from_px, points_px)
    is_mirrored = False
    if model == "projective":
        matrix = _direct_linear(source, target)
        matrix = matrix if is_rough else _refined(matrix, source, target)
    else:
        matrix = _linear_fit(source, target, model=model, is_mirrored=False)
        if model == "similarity" and may_mirror:
            mirrored = _linear_fit(source, target, model=model, is_mirrored=True)
            if _squares(mirrored, source, target) < _squares(matrix, source, target):
                matrix, is_mirrored = mirrored, True
    px_from_mm = np.linalg.inv(unit_from_px) @ matrix @ unit_from_mm
    if model != "projective":
        px_from_mm[2] = (0.0, 0.0, 1.0)
    return PlaneFit(
        model=model,
        px_from_mm=px_from_mm / px_from_mm[2, 2],
        unit_from_mm=unit_from_mm,
        unit_px_from_mm_unit=matrix,
        scale_px=float(1.0 / unit_from_px[0, 0]),
        is_mirrored=is_mirrored,
    )


def _unit_spread(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the matrix that centres the points and brings their mean distance to sqrt(2)."""
    middle = points.mean(axis=0)
    distance = float(np.hypot(*(points - middle).T).mean())
    scale = np.sqrt(2.0) / distance if distance > 0.0 else 1.0
    return np.array([[scale, 0.0, -scale * middle[0]], [0.0, scale, -scale * middle[1]], [0.0, 0.0, 1.0]])


def _design(
    points: NDArray[np.float64], model: str, *, matrix: NDArray[np.float64], is_mirrored: bool
) -> NDArray[np.float64]:
    x, y = points[:, 0], points[:, 1]
    zero, one = np.zeros_like(x), np.ones_like(x)
    if model == "similarity":
        # Mirrored, y changes its sign before the turn.
        y_turned = -y if is_mirrored else y
        rows = [[x, -y_turned, one, zero], [y_turned, x, zero, one]]
        return np.stack([np.stack(row, axis=-1) for row in rows], axis=1)
    rows = [[x, y, one, zero, zero, zero], [zero, zero, zero, x, y, one]]
    if model == "affine":
        return np.stack([np.stack(row, axis=-1) for row in rows], axis=1)
    depth = matrix[2, 0] * x + matrix[2, 1] * y + matrix[2, 2]
    images = apply_projective(matrix, points)
    for row, image in zip(rows, images.T, strict=True):
        row += [-image * x, -image * y]
    design = np.stack([np.stack(row, axis=-1) for row in rows], axis=1)
    projective_design: NDArray[np.float64] = design / depth[:, np.newaxis, np.newaxis]
    return projective_design


def _linear_fit(
    source: NDArray[np.float64], target: NDArray[np.float64], *, model: str, is_mirrored: bool
) -> NDArray[np.float64]:
    design = _design(source, model, matrix=np.eye(3), is_mirrored=is_mirrored)
    solution = np.linalg.lstsq(design.reshape(-1, design.shape[2]), target.reshape(-1), rcond=None)[0]
    matrix = np.eye(3)
    if model == "affine":
        matrix[:2] = solution.reshape(2, 3)
        return matrix
    a, b, shift_x, shift_y = solution
    sign = -1.0 if is_mirrored else 1.0
    matrix[:2] = [[a, -b * sign, shift_x], [b, a * sign, shift_y]]
    return matrix


def _squares(matrix: NDArray[np.float64], source: NDArray[np.float64], target: NDArray[np.float64]) -> float:
    """Return the sum of squared distances, infinite when a point falls behind the horizon."""
    total = float(np.square(apply_projective(matrix, source) - target).sum())
    return total if np.isfinite(total) else float("inf")


def _direct_linear(source: NDArray[np.float64], target: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the direct linear transform, scaled so that its corner element is 1."""
    x, y = source[:, 0], source[:, 1]
    zero, one = np.zeros_like(x), np.ones_like(x)
    equations = []
    for row, image in zip(([x, y, one, zero, zero, zero], [zero, zero, zero, x, y, one]), target.T, strict=True):
        equations.append(np.stack([*row, -image * x, -image * y, -image], axis=-1))
    stacked = np.concatenate(equations)
    # Four points give eight equations; the ninth direction, wanted here, then needs the full set.
    solution = np.linalg.svd(stacked, full_matrices=len(stacked) < 9)[2][-1]
    matrix: NDArray[np.float64] = solution.reshape(3, 3)
    corner = matrix[2, 2]
    # Points at unit spread surround the origin, so a vanishing corner means a horizon among them.
    is_behind = abs(corner) < 1e-9
    scaled = np.eye(3) if is_behind else matrix / corner
    if np.isfinite(_squares(scaled, source, target)):
        return scaled
    return _linear_fit(source, target, model="affine", is_mirrored=False)


def _refined(
    matrix: NDArray[np.float64], source: NDArray[np.float64], target: NDArray[np.float64]
) -> NDArray[np.float64]:
    squares, damping = _squares(matrix, source, target), 0.0
    for _ in range(_REFINEMENTS):
        design = _design(source, "projective", matrix=matrix, is_mirrored=False).reshape(-1, 8)
        residual = (target - apply_projective(matrix, source)).reshape(-1)
        normal = design.T @ design
        step = np.linalg.lstsq(normal + damping * np.diag(np.diag(normal)), design.T @ residual, rcond=None)[0]
        trial = matrix + np.append(step, 0.0).reshape(3, 3)
        trial_squares = _squares(trial, source, target)
        if trial_squares <= squares:
            is_settled = squares - trial_squares <= _SETTLED * squares
            matrix, squares, damping = trial, trial_squares, damping / 10.0
            if is_settled:
                break
        else:
            damping = max(damping * 10.0, 1e-6)
    return matrix
