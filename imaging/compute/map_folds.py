"""Search for places where a map folds over itself."""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from imaging.map_errors import FoldedMapError

__all__ = ["refuse_fold"]

# A local area below this share of the median is as good as a fold: 1 px would cover 50.
_SMALLEST_AREA_RATIO = 0.02
_SAMPLES_PER_STEP = 6
_FEWEST_SAMPLES = 33
_MOST_SAMPLES = 1500
_POLISHED_PLACES = 8
_POLISHING_ROUNDS = 6

_AreaFactor = Callable[[NDArray[np.float64]], NDArray[np.float64]]


def refuse_fold(
    area_factor: _AreaFactor, extent_mm: tuple[float, float, float, float], *, step_mm: float | None
) -> None:
    """Raise when the signed local area changes sign or nearly vanishes within the extent.

    Parameters
    ----------
    area_factor : function of (N, 2) mm to (N,) px2 per mm2
        Determinant of the derivatives of the map; NaN beyond a horizon.
    extent_mm : 4 floats, mm
        ``(x_min, y_min, x_max, y_max)``.
    step_mm : float, mm, or None
        Node distance of the displacement, the scale on which the map can change.

    Raises
    ------
    FoldedMapError
        With the worst place in mm.

    Notes
    -----
    Six samples to a node distance (at least 33 on each side, at most 1500), then a finer search
    around the eight lowest. A fold smaller than that is not found.
    """
    x_mm, y_mm = (_samples(extent_mm[axis], extent_mm[axis + 2], step_mm) for axis in (0, 1))
    points_mm = np.stack(np.meshgrid(x_mm, y_mm), axis=-1).reshape(-1, 2)
    areas = area_factor(points_mm)
    seen = areas[np.isfinite(areas)]
    # The median is the usual state of the map, mirrored or not.
    usual = float(np.median(seen)) if len(seen) else float("nan")
    if not np.isfinite(usual) or usual == 0.0:
        raise FoldedMapError(x_mm=points_mm[0, 0], y_mm=points_mm[0, 1], area_ratio=0.0)
    ratios = _ratios(areas, usual)
    spacing_mm = np.array([x_mm[1] - x_mm[0], y_mm[1] - y_mm[0]])
    worst_mm, worst_ratio = points_mm[np.argmin(ratios)], float(ratios.min())
    for place in np.argsort(ratios)[:_POLISHED_PLACES]:
        lowest_mm, ratio = _lowest_near(
            lambda near_mm: _ratios(area_factor(np.clip(near_mm, extent_mm[:2], extent_mm[2:])), usual),
            points_mm[place],
            spacing_mm=spacing_mm,
        )
        lowest_mm = np.clip(lowest_mm, extent_mm[:2], extent_mm[2:])
        if ratio < worst_ratio:
            worst_mm, worst_ratio = lowest_mm, ratio
    if worst_ratio < _SMALLEST_AREA_RATIO:
        x, y = worst_mm.tolist()
        # Beyond the horizon there is no area.
        raise FoldedMapError(x_mm=x, y_mm=y, area_ratio=worst_ratio if np.isfinite(worst_ratio) else 0.0)


def _samples(low_mm: float, high_mm: float, step_mm: float | None) -> NDArray[np.float64]:
    wanted = _FEWEST_SAMPLES
    if step_mm is not None:
        wanted = int(np.ceil((high_mm - low_mm) / step_mm)) * _SAMPLES_PER_STEP + 1
    return np.linspace(low_mm, high_mm, min(max(wanted, _FEWEST_SAMPLES), _MOST_SAMPLES))


def _ratios(areas: NDArray[np.float64], usual: float) -> NDArray[np.float64]:
    return np.where(np.isfinite(areas), areas / usual, -np.inf)


def _lowest_near(
    ratios_at: _AreaFactor, place_mm: NDArray[np.float64], *, spacing_mm: NDArray[np.float64]
) -> tuple[NDArray[np.float64], float]:
    """Return the lowest place and ratio found by a search that narrows around a sample."""
    offsets = np.stack(np.meshgrid(np.linspace(-1, 1, 7), np.linspace(-1, 1, 7)), axis=-1).reshape(-1, 2)
    lowest = float("inf")
    for _ in range(_POLISHING_ROUNDS):
        around_mm = place_mm + offsets * spacing_mm
        ratios = ratios_at(around_mm)
        place_mm, lowest = around_mm[np.argmin(ratios)], float(ratios.min())
        spacing_mm = spacing_mm / 3.0
    return place_mm, lowest
