"""Inverse of a smooth map by damped Newton iteration on many points at once."""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from imaging.map_errors import MapInversionError

__all__ = ["INVERSION_TOLERANCE_PX", "invert_by_iteration"]

# What is promised; the iteration aims far lower, because its last steps are nearly free.
INVERSION_TOLERANCE_PX = 0.01
_AIM_PX = 1e-6
_MOST_STEPS = 40

_PointMap = Callable[[NDArray[np.float64]], NDArray[np.float64]]


def invert_by_iteration(
    px_from_mm: _PointMap,
    jacobian_px_per_mm: _PointMap,
    *,
    points_px: NDArray[np.float64],
    start_mm: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Return the frame places whose images are the given pixels.

    Parameters
    ----------
    px_from_mm : function of (N, 2) mm to (N, 2) px
    jacobian_px_per_mm : function of (N, 2) mm to (N, 2, 2) px per mm
    points_px : (N, 2) float64 array, px
    start_mm : (N, 2) float64 array, mm
        First guesses.

    Returns
    -------
    points_mm : (N, 2) float64 array, mm

    Raises
    ------
    MapInversionError
        If a point ends more than 0.01 px from its pixel; it names the worst one.

    Notes
    -----
    Newton's method; a step that does not lessen the residual is halved, point by point.
    Memory: O(N).
    """
    points_mm = start_mm.copy()
    residual_px = points_px - px_from_mm(points_mm)
    error_px = _lengths(residual_px)
    share = np.ones(len(points_mm))
    for _ in range(_MOST_STEPS):
        active = np.flatnonzero(~(error_px <= _AIM_PX))
        if not len(active):
            return points_mm
        step_mm = _solved(jacobian_px_per_mm(points_mm[active]), residual_px[active])
        trial_mm = points_mm[active] + share[active, np.newaxis] * step_mm
        trial_residual_px = points_px[active] - px_from_mm(trial_mm)
        trial_error_px = _lengths(trial_residual_px)
        # NaN compares as worse, so a step over the horizon is taken back as well.
        better = trial_error_px < error_px[active]
        taken = active[better]
        points_mm[taken] = trial_mm[better]
        residual_px[taken] = trial_residual_px[better]
        error_px[taken] = trial_error_px[better]
        share[active] = np.where(better, np.minimum(2.0 * share[active], 1.0), 0.5 * share[active])
    _refuse_far_points(points_px, error_px)
    return points_mm


def _lengths(vectors: NDArray[np.float64]) -> NDArray[np.float64]:
    lengths: NDArray[np.float64] = np.hypot(vectors[:, 0], vectors[:, 1])
    return np.where(np.isfinite(lengths), lengths, np.inf)


def _solved(jacobian: NDArray[np.float64], residual: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the solutions of N systems of two equations; a singular one gives no step."""
    a, b, c, d = jacobian[:, 0, 0], jacobian[:, 0, 1], jacobian[:, 1, 0], jacobian[:, 1, 1]
    determinant = a * d - b * c
    usable = np.isfinite(determinant) & (determinant != 0.0)
    divisor = np.where(usable, determinant, np.inf)
    x, y = residual[:, 0], residual[:, 1]
    step = np.stack([(d * x - b * y) / divisor, (a * y - c * x) / divisor], axis=1)
    return np.where(usable[:, np.newaxis], step, 0.0)


def _refuse_far_points(points_px: NDArray[np.float64], error_px: NDArray[np.float64]) -> None:
    far = np.flatnonzero(error_px > INVERSION_TOLERANCE_PX)
    if len(far):
        worst = far[np.argmax(error_px[far])]
        x_px, y_px = points_px[worst].tolist()
        residual_px = float(error_px[worst]) if np.isfinite(error_px[worst]) else None
        raise MapInversionError(x_px=x_px, y_px=y_px, residual_px=residual_px, count=len(far))
