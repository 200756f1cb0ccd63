"""Search for gross slips: control points set on a wrong place.

The set with the least median of squares (Rousseeuw 1984, DOI 10.1080/01621459.1984.10477105) over
small subsets starts a forward search: points are added while they pass an F test on their
prediction error, Bonferroni-corrected. What stays outside has slipped.
"""

import itertools
import math

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtri

from imaging.compute.registration.plane_fits import PARAMETERS, fit_plane_transform
from imaging.compute.registration.point_sets import NEEDED_POINTS
from imaging.compute.registration.smooth_fit import SmoothFit, fit_smooth_displacement

__all__ = ["PRIOR_FREEDOM", "find_plainer_slips", "find_plane_slips", "find_smooth_slips"]

# The stated pick repeatability counts as much as this many degrees of freedom.
PRIOR_FREEDOM = 4
_FALSE_ALARM = 0.001
_MOST_SUBSETS = 1500
# More slips than this share means a wrong model, not slips.
_MOST_SLIPPED_SHARE = 0.25
# What is left must agree within this many pick repeatabilities before a plainer model may judge.
_PLAINER_AGREEMENT = 1.5


def find_plane_slips(
    points_mm: NDArray[np.float64],
    points_px: NDArray[np.float64],
    *,
    model: str,
    point_sigma_px: float,
    may_mirror: bool = False,
) -> list[int]:
    """Return the indices of points that do not agree with the others under a plane model.

    Parameters
    ----------
    points_mm, points_px : (N, 2) float64 arrays
    model : 'similarity', 'affine' or 'projective'
    point_sigma_px : float, px
        Expected standard deviation of a pick along one axis.
    may_mirror : bool
        Whether a similarity may mirror.

    Returns
    -------
    indices : list of int
        Empty when all agree, when fewer than two points are spare, or when more than a quarter
        would have to have slipped (then the model is wrong).

    Notes
    -----
    All minimal subsets are tried up to 1500, beyond that a seeded sample.
    """
    count, needed = len(points_mm), NEEDED_POINTS[model]
    if count < needed + 2:
        return []
    kept = _least_median_start(points_mm, points_px, model=model, may_mirror=may_mirror)
    while len(kept) < count:
        fit = fit_plane_transform(points_mm[kept], points_px[kept], model=model, may_mirror=may_mirror)
        design = fit.design_px(points_mm)
        inner = design[kept].reshape(-1, design.shape[2])
        spread = np.linalg.pinv(inner.T @ inner)
        leverage = 0.5 * np.einsum("nik,kl,nil->n", design, spread, design)
        squares = np.square(points_px - fit.predicted_px(points_mm)).sum(axis=1)
        freedom = max(2 * len(kept) - PARAMETERS[model], 0)
        variance = _pooled_variance(float(squares[kept].sum()), freedom, point_sigma_px)
        outside = np.setdiff1d(np.arange(count), kept)
        scores = squares[outside] / (1.0 + leverage[outside])
        # NaN, a point behind the horizon, never passes.
        passing = outside[scores / 2.0 <= variance * _limit(freedom, count)]
        if not len(passing):
            return outside.tolist() if len(outside) <= _most_slips(count) else []
        kept = np.sort(np.append(kept, passing))
    return []


def find_plainer_slips(
    points_mm: NDArray[np.float64],
    points_px: NDArray[np.float64],
    *,
    point_sigma_px: float,
    may_mirror: bool = False,
) -> list[int]:
    """Return slips that a similarity sees where the wanted model has too few spare points.

    Only when the points left agree closely under the similarity; else the picture may truly be
    in perspective, and nobody can say which point is off.
    """
    indices = find_plane_slips(
        points_mm, points_px, model="similarity", point_sigma_px=point_sigma_px, may_mirror=may_mirror
    )
    if not indices:
        return []
    kept = np.setdiff1d(np.arange(len(points_mm)), indices)
    fit = fit_plane_transform(points_mm[kept], points_px[kept], model="similarity", may_mirror=may_mirror)
    rest_px = points_px[kept] - fit.predicted_px(points_mm[kept])
    variance = float(np.square(rest_px).sum()) / max(2 * len(kept) - PARAMETERS["similarity"], 1)
    return indices if math.sqrt(variance) <= _PLAINER_AGREEMENT * point_sigma_px else []


def find_smooth_slips(
    points_mm: NDArray[np.float64],
    rest_px: NDArray[np.float64],
    *,
    extent_mm: tuple[float, float, float, float],
    point_sigma_px: float,
) -> list[int]:
    """Return the indices of points that a smooth displacement of the others does not explain.

    One after the other: of the four points that fit worst, the one whose removal lets the rest
    agree best has slipped when its prediction error fails the F test.
    """
    slipped: list[int] = []
    count = len(points_mm)
    while len(slipped) < _most_slips(count) and count - len(slipped) > NEEDED_POINTS["smooth"] + 1:
        kept = np.setdiff1d(np.arange(count), slipped)
        fit = fit_smooth_displacement(points_mm[kept], rest_px[kept], extent_mm=extent_mm)
        scores = _standardised_squares(fit, points_mm[kept], rest_px[kept])
        plane = fit_plane_transform(points_mm[kept], points_mm[kept] + rest_px[kept], model="affine")
        bent = np.square(points_mm[kept] + rest_px[kept] - plane.predicted_px(points_mm[kept])).sum(axis=1)
        candidates = {*kept[np.argsort(scores)[-2:]].tolist(), *kept[np.argsort(bent)[-2:]].tolist()}
        worst = max(
            (
                _smooth_judgement(points_mm, rest_px, kept=kept[kept != index], index=index, extent_mm=extent_mm)
                for index in sorted(candidates)
            ),
            key=lambda judgement: judgement[0] / _pooled_variance(judgement[1], judgement[2], point_sigma_px),
        )
        score, squares, freedom, index = worst
        if score / 2.0 <= _pooled_variance(squares, freedom, point_sigma_px) * _limit(freedom, count):
            break
        slipped.append(index)
    return sorted(slipped)


def _smooth_judgement(
    points_mm: NDArray[np.float64],
    rest_px: NDArray[np.float64],
    *,
    kept: NDArray[np.int64],
    index: int,
    extent_mm: tuple[float, float, float, float],
) -> tuple[float, float, float, int]:
    """Return a point's standardised squared error, the others' squares, their freedom, the index."""
    fit = fit_smooth_displacement(points_mm[kept], rest_px[kept], extent_mm=extent_mm)
    place_mm = points_mm[index : index + 1]
    miss_px = rest_px[index] - fit.displacement.displacement_px(place_mm)[0]
    score = float(np.square(miss_px).sum() / (1.0 + fit.variance_unit(place_mm)[0]))
    freedom = max(2.0 * float(len(kept) - fit.leverage.sum()), 1.0)
    mean_square = float(_standardised_squares(fit, points_mm[kept], rest_px[kept]).mean())
    return score, 0.5 * mean_square * freedom, freedom, index


def _standardised_squares(
    fit: SmoothFit, points_mm: NDArray[np.float64], rest_px: NDArray[np.float64]
) -> NDArray[np.float64]:
    residual_px = rest_px - fit.displacement.displacement_px(points_mm)
    squares: NDArray[np.float64] = np.square(residual_px).sum(axis=1) / (1.0 - fit.leverage)
    return squares


def _pooled_variance(squares: float, freedom: float, point_sigma_px: float) -> float:
    """Return the variance along one axis from residuals and the stated repeatability."""
    return (PRIOR_FREEDOM * point_sigma_px**2 + squares) / (PRIOR_FREEDOM + freedom)


def _limit(freedom: float, count: int) -> float:
    return float(fdtri(2, PRIOR_FREEDOM + freedom, 1.0 - _FALSE_ALARM / count))


def _most_slips(count: int) -> int:
    return max(1, math.floor(_MOST_SLIPPED_SHARE * count))


def _least_median_start(
    points_mm: NDArray[np.float64], points_px: NDArray[np.float64], *, model: str, may_mirror: bool
) -> NDArray[np.int64]:
    """Return the half of the points that some minimal subset explains best."""
    count, needed = len(points_mm), NEEDED_POINTS[model]
    half = (count + needed + 1) // 2
    best_score, best = math.inf, np.arange(half)
    for subset in _subsets(count, needed):
        try:
            fit = fit_plane_transform(
                points_mm[subset], points_px[subset], model=model, may_mirror=may_mirror, is_rough=True
            )
        except np.linalg.LinAlgError:
            continue  # a subset on one line says nothing
        squares = np.square(points_px - fit.predicted_px(points_mm)).sum(axis=1)
        squares = np.where(np.isfinite(squares), squares, np.inf)
        nearest = np.argsort(squares, kind="stable")[:half]
        score = float(squares[nearest[-1]])
        if score < best_score:
            best_score, best = score, np.sort(nearest)
    return best


def _subsets(count: int, size: int) -> list[NDArray[np.int64]]:
    if math.comb(count, size) <= _MOST_SUBSETS:
        return [np.array(subset) for subset in itertools.combinations(range(count), size)]
    generator = np.random.default_rng(0)
    return [generator.choice(count, size, replace=False) for _ in range(_MOST_SUBSETS)]
