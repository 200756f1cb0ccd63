"""Error of each control point in a fit made without it."""

import numpy as np
from numpy.typing import NDArray

from imaging.compute.registration.plane_fits import fit_plane_transform
from imaging.compute.registration.point_sets import NEEDED_POINTS
from imaging.compute.registration.smooth_fit import SmoothFit

__all__ = ["plane_leave_one_out_px", "smooth_leave_one_out_px"]


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
    """
    count = len(points_mm)
    misses_px = np.full((count, 2), np.nan)
    if count <= NEEDED_POINTS[model]:
        return misses_px
    for index in range(count):
        others = np.arange(count) != index
        fit = fit_plane_transform(points_mm[others], points_px[others], model=model, may_mirror=may_mirror)
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
