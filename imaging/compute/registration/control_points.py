"""Maps from control points: fit, slips, leave-one-out error, check points, local uncertainty."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from imaging.compute.map_fields import finite_array, positive_number
from imaging.compute.maps import FrameMap
from imaging.compute.registration.findings import QualityNote, Slip, quality_note, slips_by_name
from imaging.compute.registration.plane_fits import fit_plane_transform
from imaging.compute.registration.point_sets import (
    NEEDED_POINTS,
    is_mirror_set,
    refuse_duplicates,
    refuse_narrow_sets,
    refuse_too_few,
)
from imaging.compute.registration.slips import (
    PRIOR_FREEDOM,
    find_plainer_slips,
    find_plane_slips,
    find_smooth_slips,
)
from imaging.compute.registration.solutions import Extent, FitOptions, Solution, fit_solution, plane_base_of
from imaging.compute.registration.uncertainty import UncertaintyGrid, coverage_factor, uncertainty_grid
from imaging.map_errors import MirroredControlPointsError

__all__ = ["MODELS", "ControlPointFit", "fit_control_points"]

MODELS = tuple(NEEDED_POINTS)
# Share by which the box around the points is grown where neither face nor image size is known.
_EXTENT_MARGIN = 0.1
# Between points lies about this share of their spacing; so far the support reaches past the outer ones.
_SUPPORT_SHARE = 0.5
# Points that agree this many times worse than picks can be repeated raise a doubt.
_DISAGREEMENT = 3.0
_ONE_SIDED_SHARE = 0.25


@dataclass(frozen=True, eq=False)
class ControlPointFit:
    """A fitted map and everything measured about it; N is the number of points given.

    Parameters
    ----------
    model : str
    frame_map : FrameMap
    is_check, is_used : (N,) bool arrays
        Held-out points; points that made the fit (neither check points nor slips left out).
    residual_px, residual_mm : (N,) float arrays
        Distance of every point from where the map puts it.
    leave_one_out_mm : (N,) float array, mm
        Distance in a fit made without the point; NaN for check points and where nothing is spare.
    slips : tuple of Slip
    uncertainty : UncertaintyGrid
        95 % radius in mm.
    point_sigma_px : float, px
        Standard deviation of a point along one axis, from residuals and the stated repeatability.
    notes : tuple of QualityNote
    """

    model: str
    frame_map: FrameMap
    is_check: NDArray[np.bool_]
    is_used: NDArray[np.bool_]
    residual_px: NDArray[np.float64]
    residual_mm: NDArray[np.float64]
    leave_one_out_mm: NDArray[np.float64]
    slips: tuple[Slip, ...]
    uncertainty: UncertaintyGrid
    point_sigma_px: float
    notes: tuple[QualityNote, ...]

    @property
    def check_error_mm(self) -> NDArray[np.float64]:
        """Distances of the check points, which took no part in the fit."""
        return self.residual_mm[self.is_check]

    @property
    def rms_px(self) -> float:
        """Root mean square residual of the points used; always too good."""
        return _rms(self.residual_px[self.is_used])

    @property
    def rms_mm(self) -> float:
        """Root mean square residual of the points used; always too good."""
        return _rms(self.residual_mm[self.is_used])

    @property
    def rms_leave_one_out_mm(self) -> float | None:
        """Root mean square leave-one-out error of the points used, None when nothing is spare."""
        values = self.leave_one_out_mm[self.is_used]
        return _rms(values) if np.isfinite(values).all() else None

    @property
    def rms_check_mm(self) -> float | None:
        """Root mean square error of the check points, None without any."""
        return _rms(self.check_error_mm) if self.is_check.any() else None

    def to_json(self) -> dict[str, Any]:
        """Return all that a registration keeps beside the map document; no number is NaN."""
        return {
            "model": self.model,
            "rms_px": self.rms_px,
            "rms_mm": self.rms_mm,
            "rms_leave_one_out_mm": self.rms_leave_one_out_mm,
            "rms_check_mm": self.rms_check_mm,
            "check_points": int(self.is_check.sum()),
            "point_sigma_px": self.point_sigma_px,
            "is_check": self.is_check.tolist(),
            "is_used": self.is_used.tolist(),
            "residual_px": _numbers(self.residual_px),
            "residual_mm": _numbers(self.residual_mm),
            "leave_one_out_mm": _numbers(self.leave_one_out_mm),
            "slips": [slip.to_json() for slip in self.slips],
            "uncertainty": self.uncertainty.to_json(),
            "notes": [note.to_json() for note in self.notes],
        }


def fit_control_points(
    points_mm: ArrayLike,
    points_px: ArrayLike,
    *,
    model: str,
    check: ArrayLike | None = None,
    options: FitOptions | None = None,
) -> ControlPointFit:
    """Return the map that control points give, and how far it can be trusted.

    Parameters
    ----------
    points_mm, points_px : (N, 2) float arrays, mm and px
        The same features in the frame and in the image (continuous pixel coordinates).
    model : 'similarity', 'affine', 'projective' or 'smooth'
        Needs 2, 3, 4 or 6 points.
    check : (N,) bool array, optional
        Points held out of the fit to judge it.
    options : FitOptions, optional

    Returns
    -------
    fit : ControlPointFit
        Slips are named there, and left out of the fit where enough other points remain.

    Raises
    ------
    TooFewControlPointsError, CollinearControlPointsError, DuplicateControlPointsError
        If the points that are not check points do not carry the model.
    MirroredControlPointsError
        If the image is mirrored and that was not allowed.
    FoldedMapError
        If the fitted map folds among the points.

    Examples
    --------
    >>> corners_mm = np.array([[0, 0], [200, 0], [200, 100], [0, 100]], dtype=float)
    >>> fit = fit_control_points(corners_mm, corners_mm * 20 + 7, model="affine")
    >>> fit.frame_map.px_from_mm([[1.0, 1.0]]).round(6).tolist(), round(fit.rms_px, 9)
    ([[27.0, 27.0]], 0.0)
    """
    if model not in MODELS:
        raise ValueError(f"model must be one of {', '.join(MODELS)}, got {model!r}")
    options = options or FitOptions()
    positive_number(options.point_sigma_px, "point_sigma_px")
    all_mm = finite_array(points_mm, "points_mm", shape=(None, 2))
    all_px = finite_array(points_px, "points_px", shape=(len(all_mm), 2))
    labels = _labels(options.labels, len(all_mm))
    is_check = np.zeros(len(all_mm), dtype=np.bool_)
    if check is not None:
        is_check |= np.asarray(check, dtype=np.bool_)
    control = np.flatnonzero(~is_check)
    _refuse_unfit_points(
        all_mm[control],
        all_px[control],
        labels=[labels[index] for index in control],
        model=model,
        options=options,
    )
    extent_mm = _judged_extent(all_mm[control], all_px[control], options)
    found, is_left_out = _find_slips(
        all_mm[control], all_px[control], model=model, extent_mm=extent_mm, options=options
    )
    slipped = control[found]
    agreeing = np.setdiff1d(control, slipped)
    used = agreeing if is_left_out else control
    mirror = options.may_be_mirrored
    solution = fit_solution(all_mm[used], all_px[used], model=model, extent_mm=extent_mm, may_mirror=mirror)
    # Where the wanted model cannot do without the slip, a similarity of the others says how far it is.
    judge = solution
    if not is_left_out:
        judge = fit_solution(
            all_mm[agreeing], all_px[agreeing], model="similarity", extent_mm=extent_mm, may_mirror=mirror
        )
    slips = slips_by_name(slipped, (all_mm, all_px), solution=judge, labels=labels, is_left_out=is_left_out)
    return _measured(solution, (all_mm, all_px), is_check=is_check, slips=slips, given=(model, extent_mm, options))


def _measured(
    solution: Solution,
    points: tuple[NDArray[np.float64], NDArray[np.float64]],
    *,
    is_check: NDArray[np.bool_],
    slips: tuple[Slip, ...],
    given: tuple[str, Extent, FitOptions],
) -> ControlPointFit:
    """Return the fit with its residuals, uncertainty and doubts."""
    all_mm, all_px = points
    model, extent_mm, options = given
    is_used = ~is_check
    is_used[[slip.index for slip in slips if slip.is_left_out]] = False
    frame_map = FrameMap(
        solution.plane.px_from_mm,
        None if solution.smooth is None else solution.smooth.displacement,
        image_size_px=options.image_size_px,
        support_mm=_support(solution.points_mm),
    )
    frame_map.refuse_folds(_box(solution.points_mm))
    residual_px = all_px - solution.predicted_px(all_mm)
    left_out_px = np.where(is_check[:, np.newaxis], np.nan, residual_px)
    left_out_px[is_used] = solution.leave_one_out_px(may_mirror=options.may_be_mirrored)
    mm_per_px = np.linalg.inv(frame_map.jacobian_px_per_mm(all_mm))
    squares = float(np.square(residual_px[is_used]).sum())
    prior_squares = PRIOR_FREEDOM * options.point_sigma_px**2
    variance_px2 = (prior_squares + squares) / (PRIOR_FREEDOM + solution.freedom)
    uncertainty = uncertainty_grid(
        frame_map,
        extent_mm,
        covariance_px2=lambda places_mm: variance_px2 * solution.covariance_unit(places_mm),
        factor=coverage_factor(solution.freedom),
    )
    return ControlPointFit(
        model=model,
        frame_map=frame_map,
        is_check=is_check,
        is_used=is_used,
        residual_px=np.hypot(*residual_px.T),
        residual_mm=np.hypot(*np.einsum("nij,nj->ni", mm_per_px, residual_px).T),
        leave_one_out_mm=np.hypot(*np.einsum("nij,nj->ni", mm_per_px, left_out_px).T),
        slips=slips,
        uncertainty=uncertainty,
        point_sigma_px=float(np.sqrt(variance_px2)),
        notes=_doubts(solution, is_check, variance_px2=variance_px2, given=given),
    )


def _refuse_unfit_points(
    points_mm: NDArray[np.float64],
    points_px: NDArray[np.float64],
    *,
    labels: Sequence[str],
    model: str,
    options: FitOptions,
) -> None:
    refuse_too_few(len(points_mm), model=model)
    refuse_duplicates(points_mm, points_px, labels=labels)
    refuse_narrow_sets(points_mm, points_px, model=model)
    if options.may_be_mirrored or not is_mirror_set(points_mm, points_px):
        return
    rms_px = []
    for may_mirror in (True, False):
        fit = fit_plane_transform(points_mm, points_px, model="similarity", may_mirror=may_mirror)
        rms_px.append(_rms(np.hypot(*(points_px - fit.predicted_px(points_mm)).T)))
    raise MirroredControlPointsError(mirrored_rms_px=rms_px[0], upright_rms_px=rms_px[1])


def _find_slips(
    points_mm: NDArray[np.float64],
    points_px: NDArray[np.float64],
    *,
    model: str,
    extent_mm: Extent,
    options: FitOptions,
) -> tuple[list[int], bool]:
    """Return indices of slips, and whether the fit can and should be made without them."""
    sigma_px, mirror = options.point_sigma_px, options.may_be_mirrored
    if model == "smooth":
        rest_px = points_px - plane_base_of(points_mm, points_px).predicted_px(points_mm)
        return find_smooth_slips(points_mm, rest_px, extent_mm=extent_mm, point_sigma_px=sigma_px), True
    indices = find_plane_slips(points_mm, points_px, model=model, point_sigma_px=sigma_px, may_mirror=mirror)
    if indices or len(points_mm) >= NEEDED_POINTS[model] + 2 or model == "similarity":
        return indices, True
    indices = find_plainer_slips(points_mm, points_px, point_sigma_px=sigma_px, may_mirror=mirror)
    return indices, not indices


def _doubts(
    solution: Solution,
    is_check: NDArray[np.bool_],
    *,
    variance_px2: float,
    given: tuple[str, Extent, FitOptions],
) -> tuple[QualityNote, ...]:
    model, extent_mm, options = given
    notes = []
    count, sigma_px = len(solution.points_mm), float(np.sqrt(variance_px2))
    if not is_check.any():
        notes.append(quality_note("no_check_points"))
    if count <= NEEDED_POINTS[model]:
        notes.append(quality_note("nothing_spare", given=count, model=model, wanted=2))
    if sigma_px > _DISAGREEMENT * options.point_sigma_px:
        notes.append(quality_note("points_disagree", sigma_px=sigma_px, expected_px=options.point_sigma_px))
    x_min, y_min, x_max, y_max = extent_mm
    covered = shapely.intersection(shapely.MultiPoint(solution.points_mm).convex_hull, shapely.box(*extent_mm))
    share = covered.area / ((x_max - x_min) * (y_max - y_min))
    if share < _ONE_SIDED_SHARE:
        notes.append(quality_note("one_sided", share_percent=100.0 * share))
    return tuple(notes)


def _labels(labels: Sequence[str] | None, count: int) -> list[str]:
    if labels is None:
        return [f"P{index + 1}" for index in range(count)]
    if len(labels) != count:
        raise ValueError(f"labels must name all {count} points, got {len(labels)}")
    return [str(label) for label in labels]


def _box(points_mm: NDArray[np.float64]) -> Extent:
    (x_min, y_min), (x_max, y_max) = points_mm.min(axis=0).tolist(), points_mm.max(axis=0).tolist()
    return x_min, y_min, x_max, y_max


def _judged_extent(points_mm: NDArray[np.float64], points_px: NDArray[np.float64], options: FitOptions) -> Extent:
    """Return the face, else the image, else a box around the points."""
    if options.extent_mm is not None:
        return options.extent_mm
    x_min, y_min, x_max, y_max = _box(points_mm)
    margin_mm = _EXTENT_MARGIN * max(x_max - x_min, y_max - y_min)
    grown = (x_min - margin_mm, y_min - margin_mm, x_max + margin_mm, y_max + margin_mm)
    if options.image_size_px is None:
        return grown
    # A similarity carries the image border safely, where a projective could meet its horizon.
    plain = fit_plane_transform(points_mm, points_px, model="similarity", may_mirror=options.may_be_mirrored)
    image = FrameMap(plain.px_from_mm, image_size_px=options.image_size_px).extent_mm()
    return min(image[0], grown[0]), min(image[1], grown[1]), max(image[2], grown[2]), max(image[3], grown[3])


def _support(points_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the outline of the points, grown by half their usual spacing."""
    hull = shapely.MultiPoint(points_mm).convex_hull
    spacing_mm = max(float(np.sqrt(hull.area / len(points_mm))), hull.length / (2 * len(points_mm)))
    return np.asarray(hull.buffer(_SUPPORT_SHARE * spacing_mm, quad_segs=2).exterior.coords)[:-1]


def _rms(values: NDArray[np.float64]) -> float:
    return float(np.sqrt(np.square(values).mean()))


def _numbers(values: NDArray[np.float64]) -> list[float | None]:
    return [float(value) if np.isfinite(value) else None for value in values]
