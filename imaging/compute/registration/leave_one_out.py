"""Error of each control point in a fit made without it."""

import numpy as np
from numpy.typing import NDArray

from imaging.compute.registration.plane_fits import fit_plane_transform
from imaging.compute.registration.point_sets import NEEDED_POINTS
from imaging.compute.registration.smooth_fit import SmoothFit

__all__ = ["plane_leave_one_out_px", "smooth_leave_one_out_px"]

_MOST_REFITS = 60
_LEAST_SPARE = 1e-9


def plane_leave_one_out_px(
    points_mm: NDArray[np.float64],
    points_px: NDArray[np.float64],
    *,
    model: str,
    may_mirror: bool = False,
) -> NDArray[np.float64]:
    """Return what each point misses in a fit made from all others.

    Parameters
    ----------
    points_mm, points_px : (N, 2) float64 arrays
    model : 'similarity', 'affine' or 'projective'
    may_mirror : bool
        Whether a similarity may mirror.

    Returns
    -------
    miss_px : (N, 2) float64 array, px
        Set place minus predicted place; NaN where the others do not carry the model.

    Notes
    -----
    Similarity and affine by their leverage, which is exact (Cook and Weisberg, Residuals and
    Influence in Regression, 1982, from memory); projective by refits, above 60 points by leverage
    too, then to first order.
    """
    count = len(points_mm)
    if count <= NEEDED_POINTS[model]:
        return np.full((count, 2), np.nan)
    if model == "projective" and count <= _MOST_REFITS:
        return _by_refits(points_mm, points_px)
    fit = fit_plane_transform(points_mm, points_px, model=model, may_mirror=may_mirror)
    design = fit.design_px(points_mm)
    flat = design.reshape(-1, design.shape[2])
    leverage = design @ np.linalg.pinv(flat.T @ flat) @ design.transpose(0, 2, 1)
    rest_px = points_px - fit.predicted_px(points_mm)
    # A point that alone holds the model (leverage 1) has no prediction from the others.
    alone = np.linalg.eigvalsh(leverage)[:, -1] > 1.0 - _LEAST_SPARE
    left_over = np.eye(2) - np.where(alone[:, np.newaxis, np.newaxis], 0.0, leverage)
    misses_px = np.array(np.linalg.solve(left_over, rest_px[:, :, np.newaxis])[:, :, 0], dtype=np.float64)
    misses_px[alone] = np.nan
    return misses_px


def _by_refits(points_mm: NDArray[np.float64], points_px: NDArray[np.float64]) -> NDArray[np.float64]:
    misses_px = np.empty(points_px.shape)
    for index in range(len(points_mm)):
        others = np.arange(len(points_mm)) != index
        fit = fit_plane_transform(points_mm[others], points_px[others], model="projective")
        misses_px[index] = points_px[index] - fit.predicted_px(points_mm[index : index + 1])[0]
    return misses_px


def smooth_leave_one_out_px(
    fit: SmoothFit, points_mm: NDArray[np.float64], *, rest_px: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return what each point misses in a smooth fit made from all others.

    Exact for a linear smoother with its penalty held: residual / (1 - leverage).
    """
    residual_px = rest_px - fit.displacement.displacement_px(points_mm)
    misses_px: NDArray[np.float64] = residual_px / (1.0 - fit.leverage)[:, np.newaxis]
    return misses_px
