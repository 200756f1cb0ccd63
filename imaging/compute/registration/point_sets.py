"""Checks of control points before any fit: number, spread, doubles, mirroring."""

import itertools
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from imaging.map_errors import (
    CollinearControlPointsError,
    DuplicateControlPointsError,
    TooFewControlPointsError,
)

__all__ = [
    "NEEDED_POINTS",
    "is_mirror_set",
    "refuse_duplicates",
    "refuse_narrow_sets",
    "refuse_too_few",
]

NEEDED_POINTS = {"similarity": 2, "affine": 3, "projective": 4, "smooth": 6}
# Breadth against length below which points count as lying on one line.
_SMALLEST_BREADTH_RATIO = 0.02
# Two picks nearer than this are one place.
_SAME_PLACE_PX = 0.5
_MOST_TRIPLES = 4000
_FEW_POINTS = 30


def refuse_too_few(count: int, *, model: str) -> None:
    """Raise TooFewControlPointsError when the model needs more points."""
    if count < NEEDED_POINTS[model]:
        raise TooFewControlPointsError(given=count, needed=NEEDED_POINTS[model], model=model)


def refuse_duplicates(points_mm: NDArray[np.float64], points_px: NDArray[np.float64], *, labels: Sequence[str]) -> None:
    """Raise DuplicateControlPointsError when two points are nearer than half a pixel.

    The pitch that turns half a pixel into millimetres is estimated from the spread of both sets.
    """
    spread_px = float(np.sqrt(points_px.var(axis=0).sum()))
    spread_mm = float(np.sqrt(points_mm.var(axis=0).sum()))
    same_mm = _SAME_PLACE_PX * spread_mm / spread_px if spread_px > 0.0 else 0.0
    for points, limit, system in ((points_mm, same_mm, "frame"), (points_px, _SAME_PLACE_PX, "image")):
        pairs = KDTree(points).query_pairs(limit)
        if pairs:
            first, second = min(pairs)
            raise DuplicateControlPointsError(first=labels[first], second=labels[second], system=system)


def refuse_narrow_sets(points_mm: NDArray[np.float64], points_px: NDArray[np.float64], *, model: str) -> None:
    """Raise CollinearControlPointsError when the points do not hold the model across a line.

    A similarity may lie on one line. A projective map needs more: no point may be the only one
    off a line, or the perspective is not determined.
    """
    if model == "similarity":
        return
    for points, unit in ((points_mm, "mm"), (points_px, "px")):
        sets = [points]
        if model == "projective":
            sets += [np.delete(points, index, axis=0) for index in _deciding_points(points)]
        for members in sets:
            length, breadth = _length_and_breadth(members)
            if breadth < _SMALLEST_BREADTH_RATIO * length:
                raise CollinearControlPointsError(breadth=breadth, length=length, unit=unit, model=model)


def _deciding_points(points: NDArray[np.float64]) -> list[int]:
    """Return the points any of which may be the only one off a line: all of a few, else the farthest."""
    if len(points) <= _FEW_POINTS:
        return list(range(len(points)))
    centred = points - points.mean(axis=0)
    across = centred @ np.linalg.svd(centred, full_matrices=False)[2][1]
    return [int(np.abs(across).argmax())]


def _length_and_breadth(points: NDArray[np.float64]) -> tuple[float, float]:
    """Return the extent of the points along and across their main direction."""
    centred = points - points.mean(axis=0)
    directions = np.linalg.svd(centred, full_matrices=False)[2]
    along_and_across = np.ptp(centred @ directions.T, axis=0)
    return float(along_and_across[0]), float(along_and_across[1])


def is_mirror_set(points_mm: NDArray[np.float64], points_px: NDArray[np.float64]) -> bool:
    """Return whether most triangles of points turn the other way in the image.

    Each triangle votes with the geometric mean of its two areas, so that a single slip or a few
    flat triangles do not decide. Above 30 points a seeded sample of triangles votes.

    Examples
    --------
    >>> square = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
    >>> is_mirror_set(square, square * [-1.0, 1.0])
    True
    """
    count = len(points_mm)
    if count < 3:
        return False
    if count <= _FEW_POINTS:
        triples = np.array(list(itertools.combinations(range(count), 3)))
    else:
        triples = np.random.default_rng(0).integers(0, count, size=(_MOST_TRIPLES, 3))
    areas_mm2, areas_px2 = _signed_areas(points_mm[triples]), _signed_areas(points_px[triples])
    products = areas_mm2 * areas_px2
    return bool((np.sign(products) * np.sqrt(np.abs(products))).sum() < 0.0)


def _signed_areas(triangles: NDArray[np.float64]) -> NDArray[np.float64]:
    a, b = triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]
    areas: NDArray[np.float64] = 0.5 * (a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])
    return areas
