"""One fitted map of any model, with the covariance of what it predicts."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from imaging.compute.registration.leave_one_out import plane_leave_one_out_px, smooth_leave_one_out_px
from imaging.compute.registration.plane_fits import PARAMETERS, PlaneFit, fit_plane_transform
from imaging.compute.registration.smooth_fit import SmoothFit, fit_smooth_displacement

__all__ = ["Extent", "FitOptions", "Solution", "fit_solution", "plane_base_of"]

# From this many points on, a smooth fit may stand on a projective instead of an affine base.
_PROJECTIVE_BASE_POINTS = 8

Extent = tuple[float, float, float, float]


@dataclass(frozen=True)
class FitOptions:
    """What is known beside the points.

    Parameters
    ----------
    labels : sequence of str, optional
        Names for findings; else P1, P2, ...
    image_size_px : 2 ints, px, optional
        Stored size of the image.
    extent_mm : 4 floats, mm, optional
        ``(x_min, y_min, x_max, y_max)`` to be judged, e.g. the face; else the image, else the points.
    may_be_mirrored : bool
        Whether the image may show the face as in a mirror.
    point_sigma_px : float, px
        Expected repeatability of a pick along one axis (standard deviation).
    """

    labels: Sequence[str] | None = None
    image_size_px: tuple[int, int] | None = None
    extent_mm: Extent | None = None
    may_be_mirrored: bool = False
    point_sigma_px: float = 1.0


@dataclass(frozen=True, eq=False)
class Solution:
    """A plane transform, perhaps with a smooth displacement, and the points that made it."""

    plane: PlaneFit
    smooth: SmoothFit | None
    points_mm: NDArray[np.float64]
    points_px: NDArray[np.float64]

    def predicted_px(self, points_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the image pixels of (N, 2) frame places."""
        points_px = self.plane.predicted_px(points_mm)
        if self.smooth is not None:
            points_px = points_px + self.smooth.displacement.displacement_px(points_mm)
        return points_px

    def covariance_unit(self, points_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the (N, 2, 2) covariance in px2 of predictions, for points of 1 px."""
        if self.smooth is not None:
            return self.smooth.variance_unit(points_mm)[:, np.newaxis, np.newaxis] * np.eye(2)
        inner = self.plane.design_px(self.points_mm)
        inner = inner.reshape(-1, inner.shape[2])
        design = self.plane.design_px(points_mm)
        covariance: NDArray[np.float64] = design @ np.linalg.pinv(inner.T @ inner) @ design.transpose(0, 2, 1)
        return covariance

    @property
    def freedom(self) -> float:
        """Degrees of freedom that the residuals have left."""
        if self.smooth is not None:
            return max(2.0 * float(len(self.points_mm) - self.smooth.leverage.sum()), 0.0)
        return float(max(2 * len(self.points_mm) - PARAMETERS[self.plane.model], 0))

    def leave_one_out_px(self, *, may_mirror: bool) -> NDArray[np.float64]:
        """Return what each point misses in a fit made without it, (N, 2) px."""
        if self.smooth is not None:
            rest_px = self.points_px - self.plane.predicted_px(self.points_mm)
            return smooth_leave_one_out_px(self.smooth, self.points_mm, rest_px=rest_px)
        return plane_leave_one_out_px(self.points_mm, self.points_px, model=self.plane.model, may_mirror=may_mirror)


def plane_base_of(points_mm: NDArray[np.float64], points_px: NDArray[np.float64]) -> PlaneFit:
    """Return the plane transform on which a smooth fit stands.

    Affine, or projective when there are at least 8 points and leaving one out says so.
    """
    if len(points_mm) >= _PROJECTIVE_BASE_POINTS:
        scores = {
            model: float(np.square(plane_leave_one_out_px(points_mm, points_px, model=model)).sum())
            for model in ("affine", "projective")
        }
        if scores["projective"] < scores["affine"]:
            return fit_plane_transform(points_mm, points_px, model="projective")
    return fit_plane_transform(points_mm, points_px, model="affine")


def fit_solution(
    points_mm: NDArray[np.float64],
    points_px: NDArray[np.float64],
    *,
    model: str,
    extent_mm: Extent,
    may_mirror: bool,
) -> Solution:
    """Return the fit of any of the four models to checked points."""
    if model != "smooth":
        plane = fit_plane_transform(points_mm, points_px, model=model, may_mirror=may_mirror)
        return Solution(plane, None, points_mm, points_px)
    plane = plane_base_of(points_mm, points_px)
    smooth = fit_smooth_displacement(points_mm, points_px - plane.predicted_px(points_mm), extent_mm=extent_mm)
    return Solution(plane, smooth, points_mm, points_px)
