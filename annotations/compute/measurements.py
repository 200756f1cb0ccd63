"""Lengths, areas, angles, densities in frame millimetres, each with its uncertainty.

Geometry lies in the plane of the frame: on a warped panel these are projected millimetres. Each
result carries its parts and a sentence key; texts are made where the language is known.
"""

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from shapely.geometry.base import BaseGeometry

from annotations.compute.uncertainty import (
    COVERAGE_FACTOR,
    ErrorBudget,
    Pick,
    RoundedPair,
    resolvable_mm,
    rounded_pair,
)
from annotations.errors import MeasurementError

__all__ = [
    "Contribution",
    "Measurement",
    "axial_difference_deg",
    "axial_mean_deg",
    "measure_angle",
    "measure_area",
    "measure_density",
    "measure_distance",
    "measure_length",
    "measure_spacing",
    "share_of_surface",
    "threads_per_cm",
]

# Axial directions that cancel to less than this mean length have no mean.
_SMALLEST_RESULTANT = 1e-9
_UNITS = {
    "distance": "mm",
    "length": "mm",
    "spacing": "mm",
    "area": "mm2",
    "angle": "deg",
    "density": "mm/mm2",
}


@dataclass(frozen=True)
class Contribution:
    """One standard uncertainty that went into the sum, in the unit of the measurement."""

    source: str
    standard: float


@dataclass(frozen=True)
class Measurement:
    """A quantity with its uncertainty.

    Parameters
    ----------
    quantity : str
        'distance', 'length', 'area', 'angle', 'density' or 'spacing'.
    value, uncertainty : float
        Expanded uncertainty, k = 2.
    unit : str
        'mm', 'mm2', 'deg', 'mm/mm2'.
    parts : tuple of Contribution
        Standard uncertainties; their root sum of squares times k is the uncertainty.
    is_resolved : bool
        False below 3 px of the coarser image; then say ``resolvable_mm``, not the value.
    resolvable_mm : float, mm
        Smallest length that the images tell from a blur.
    sentence : str
        Key of the sentence to show: 'value', 'cross_modal' or 'not_resolved'.
    """

    quantity: str
    value: float
    uncertainty: float
    unit: str
    parts: tuple[Contribution, ...]
    is_resolved: bool
    resolvable_mm: float
    sentence: str

    @property
    def rounded(self) -> RoundedPair:
        """Value and uncertainty as digits, rounded to the same place."""
        return rounded_pair(self.value, self.uncertainty)


def measure_distance(
    start_mm: ArrayLike, end_mm: ArrayLike, *, picks: tuple[Pick, Pick], budget: ErrorBudget
) -> Measurement:
    """Return the straight distance of two places, each picked in its image.

    Parameters
    ----------
    start_mm, end_mm : (2,) float arrays, mm
    picks : 2 Pick
        Of the images in which start and end were read; the same one twice within one image.
    budget : ErrorBudget

    Notes
    -----
    ``u = sqrt(s1^2 + s2^2 + r^2 + (a L)^2)``, s per end the pixel (p / sqrt 12) and the pick.

    Examples
    --------
    >>> pick = Pick(0.02)
    >>> round(measure_distance([0, 0], [3, 4], picks=(pick, pick), budget=ErrorBudget()).uncertainty, 4)
    0.0589
    """
    length_mm = math.dist(np.asarray(start_mm, dtype=np.float64), np.asarray(end_mm, dtype=np.float64))
    parts = [
        Contribution("first end", picks[0].sigma_mm),
        Contribution("second end", picks[1].sigma_mm),
        *_budget_parts(budget, relative_factor=length_mm),
    ]
    result = _result("distance", length_mm, parts, picks=picks, size_mm=length_mm)
    is_cross_modal = result.is_resolved and (picks[0] != picks[1] or budget.registration_mm > 0.0)
    return dataclasses.replace(result, sentence="cross_modal") if is_cross_modal else result


def measure_length(geometry: BaseGeometry, *, pick: Pick, budget: ErrorBudget) -> Measurement:
    """Return the length of lines, or the perimeter of areas with their holes.

    Notes
    -----
    Vertices are taken as picked independently: each moves the length by the change of direction
    at it, an end by 1.

    Examples
    --------
    >>> line = shapely.LineString([(0, 0), (3, 4), (3, 10)])
    >>> measure_length(line, pick=Pick(0.02), budget=ErrorBudget()).value
    11.0
    """
    length_mm = float(geometry.length)
    gradients = [_length_gradient(np.asarray(line.coords)) for line in _lines(geometry)]
    if not gradients:
        raise MeasurementError(quantity="length", got=geometry.geom_type, needed="a line or an area")
    vertices = pick.sigma_mm * math.sqrt(float(sum(np.square(gradient).sum() for gradient in gradients)))
    parts = [Contribution("vertices", vertices), *_budget_parts(budget, relative_factor=length_mm)]
    return _result("length", length_mm, parts, picks=(pick,), size_mm=length_mm)


def measure_area(geometries: Sequence[BaseGeometry], *, pick: Pick, budget: ErrorBudget) -> Measurement:
    """Return the area that polygons cover together: their union, never the plain sum.

    Notes
    -----
    Per ring ``u = sigma / 2 * sqrt(sum |v(i+1) - v(i-1)|^2)`` for independent vertices; an error of
    scale counts twice. A shift by the registration does not change an area. Vertices that the
    union cuts anew count as picked.

    Examples
    --------
    >>> squares = [shapely.box(0, 0, 10, 10), shapely.box(5, 0, 15, 10)]
    >>> measure_area(squares, pick=Pick(0.02), budget=ErrorBudget()).value
    150.0
    """
    polygons = [part for geometry in geometries for part in shapely.get_parts(geometry)]
    wrong = [part.geom_type for part in polygons if not isinstance(part, shapely.Polygon)]
    if wrong or not polygons:
        raise MeasurementError(quantity="area", got=wrong[0] if wrong else "no shape", needed="areas")
    union = shapely.union_all(polygons)
    area_mm2 = float(union.area)
    squares = sum(_area_gradient_squares(np.asarray(ring.coords)) for ring in _lines(union))
    scale = ErrorBudget(relative_scale=budget.relative_scale)
    parts = [
        Contribution("vertices", 0.5 * pick.sigma_mm * math.sqrt(squares)),
        *_budget_parts(scale, relative_factor=2.0 * area_mm2),
    ]
    return _result("area", area_mm2, parts, picks=(pick,), size_mm=math.sqrt(area_mm2))


def measure_angle(
    start_mm: ArrayLike, end_mm: ArrayLike, *, picks: tuple[Pick, Pick], budget: ErrorBudget
) -> Measurement:
    """Return the axial angle of a line to the frame's x axis, from 0 up to 180 degrees.

    Positive anticlockwise as seen on the face, although y runs down.

    Examples
    --------
    >>> pick = Pick(0.02, repeatability_px=0.0)
    >>> measure_angle([0, 0], [10, -10], picks=(pick, pick), budget=ErrorBudget()).value
    45.0
    """
    x_mm, y_mm = np.asarray(end_mm, dtype=np.float64) - np.asarray(start_mm, dtype=np.float64)
    length_mm = float(np.hypot(x_mm, y_mm))
    if length_mm == 0.0:
        raise MeasurementError(quantity="angle", got="two ends on one place", needed="two places apart")
    # Only the component across the line turns it.
    parts = [
        Contribution(source, math.degrees(sigma_mm / length_mm))
        for source, sigma_mm in (
            ("first end", picks[0].sigma_mm),
            ("second end", picks[1].sigma_mm),
            ("registration", budget.registration_mm),
        )
        if sigma_mm > 0.0
    ]
    angle_deg = math.degrees(math.atan2(-y_mm, x_mm)) % 180.0
    return _result("angle", angle_deg, parts, picks=picks, size_mm=length_mm)


def axial_mean_deg(angles_deg: ArrayLike) -> float:
    """Return the mean direction of lines, for which 10 and 190 degrees are one.

    Doubled angles are averaged as unit vectors (Mardia and Jupp, Directional Statistics, 2000,
    section 9.1, from memory).

    Raises
    ------
    MeasurementError
        If there is no line, or the directions cancel.

    Examples
    --------
    >>> axial_mean_deg([170, 10]) % 180
    0.0
    """
    doubled = 2.0 * np.radians(np.asarray(angles_deg, dtype=np.float64))
    if not doubled.size:
        raise MeasurementError(quantity="mean angle", got="no line", needed="at least one")
    x, y = float(np.cos(doubled).mean()), float(np.sin(doubled).mean())
    if math.hypot(x, y) < _SMALLEST_RESULTANT:
        raise MeasurementError(quantity="mean angle", got="directions that cancel", needed="lines with a common trend")
    mean_deg = math.degrees(0.5 * math.atan2(y, x)) % 180.0
    # Rounding may leave a hair below 180, which is 0.
    return 0.0 if math.isclose(mean_deg, 180.0, abs_tol=1e-9) or mean_deg < 1e-9 else mean_deg


def axial_difference_deg(angle_deg: float, reference_deg: float) -> float:
    """Return by how much a line departs from a reference line, above -90 up to 90 degrees.

    Examples
    --------
    >>> round(axial_difference_deg(179.68, 0.0), 9)
    -0.32
    """
    difference = (angle_deg - reference_deg) % 180.0
    return difference - 180.0 if difference > 90.0 else difference


def measure_density(
    lines: Sequence[BaseGeometry], region: BaseGeometry, *, pick: Pick, budget: ErrorBudget
) -> Measurement:
    """Return the length of cracks per area of a region, mm/mm2; only what lies inside counts.

    Notes
    -----
    Relative uncertainties of length and area in quadrature; scale enters once, being common.
    """
    if any(shapely.get_dimensions(line) != 1 for line in lines):
        raise MeasurementError(quantity="density", got="a shape that is no line", needed="lines")
    no_scale = ErrorBudget(registration_mm=budget.registration_mm)
    area = measure_area([region], pick=pick, budget=ErrorBudget())
    inside = [shapely.intersection(line, region) for line in lines]
    lengths = [measure_length(line, pick=pick, budget=no_scale) for line in inside if shapely.length(line) > 0.0]
    if area.value == 0.0:
        raise MeasurementError(quantity="density", got="a region without area", needed="an area")
    length_mm = sum(length.value for length in lengths)
    density = length_mm / area.value
    length_u = math.hypot(*(length.uncertainty for length in lengths)) / COVERAGE_FACTOR if lengths else 0.0
    parts = [
        Contribution("length", length_u / area.value),
        Contribution("area", density * area.uncertainty / COVERAGE_FACTOR / area.value),
        Contribution("scale", budget.relative_scale * density),
    ]
    size_mm = math.sqrt(area.value)
    return _result("density", density, parts, picks=(pick,), size_mm=size_mm)


def measure_spacing(
    track: BaseGeometry, lines: Sequence[BaseGeometry], *, pick: Pick, budget: ErrorBudget
) -> Measurement:
    """Return the mean spacing of lines along a straight measuring track: length / crossings."""
    crossings = sum(
        shapely.get_num_geometries(shapely.intersection(track, line)) for line in lines if track.intersects(line)
    )
    if not crossings:
        raise MeasurementError(quantity="spacing", got="no crossing", needed="lines that cross the track")
    length = measure_length(track, pick=pick, budget=budget)
    parts = [Contribution(part.source, part.standard / crossings) for part in length.parts]
    spacing_mm = length.value / crossings
    return _result("spacing", spacing_mm, parts, picks=(pick,), size_mm=spacing_mm)


def threads_per_cm(threads: int, *, length_mm: float) -> tuple[float, float]:
    """Return thread density and its step of one thread, both per cm.

    Examples
    --------
    >>> threads_per_cm(71, length_mm=50.0)
    (14.2, 0.2)
    """
    if threads < 1 or not length_mm > 0.0:
        raise MeasurementError(
            quantity="thread count", got=f"{threads} threads on {length_mm} mm", needed="threads and a length"
        )
    return 10.0 * threads / length_mm, 10.0 / length_mm


def share_of_surface(area_mm2: float, *, surface_mm2: float) -> float:
    """Return an area as a share of the painted surface (0.01 is 1 %).

    Examples
    --------
    >>> round(100 * share_of_surface(128.0, surface_mm2=640.0 * 480.0), 4)
    0.0417
    """
    if not surface_mm2 > 0.0:
        raise MeasurementError(
            quantity="share", got=f"a painted surface of {surface_mm2} mm2", needed="its outline on the face"
        )
    return area_mm2 / surface_mm2


def _budget_parts(budget: ErrorBudget, *, relative_factor: float) -> list[Contribution]:
    parts = [
        Contribution("registration", budget.registration_mm),
        Contribution("scale", budget.relative_scale * relative_factor),
    ]
    return [part for part in parts if part.standard > 0.0]


def _result(
    quantity: str,
    value: float,
    parts: Sequence[Contribution],
    *,
    picks: Sequence[Pick],
    size_mm: float,
) -> Measurement:
    smallest_mm = resolvable_mm(*picks)
    is_resolved = size_mm >= smallest_mm
    return Measurement(
        quantity=quantity,
        value=float(value),
        uncertainty=COVERAGE_FACTOR * math.hypot(*(part.standard for part in parts)),
        unit=_UNITS[quantity],
        parts=tuple(parts),
        is_resolved=is_resolved,
        resolvable_mm=smallest_mm,
        sentence="value" if is_resolved else "not_resolved",
    )


def _lines(geometry: BaseGeometry) -> list[BaseGeometry]:
    """Return the lines of a geometry, and the rings of its areas."""
    lines: list[BaseGeometry] = []
    for part in shapely.get_parts(geometry):
        if isinstance(part, shapely.Polygon):
            lines += [part.exterior, *part.interiors]
        elif isinstance(part, shapely.LineString):
            lines.append(part)
    return lines


def _length_gradient(vertices_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return how the length changes with each vertex; a closed line has no ends."""
    steps = np.diff(vertices_mm, axis=0)
    lengths = np.hypot(*steps.T)
    directions = steps[lengths > 0.0] / lengths[lengths > 0.0, np.newaxis]
    if np.array_equal(vertices_mm[0], vertices_mm[-1]):
        before, after = np.roll(directions, 1, axis=0), directions
    else:
        none = np.zeros((1, 2))
        before, after = np.concatenate([none, directions]), np.concatenate([directions, none])
    gradient: NDArray[np.float64] = before - after
    return gradient


def _area_gradient_squares(ring_mm: NDArray[np.float64]) -> float:
    corners = ring_mm[:-1]
    return float(np.square(np.roll(corners, -1, axis=0) - np.roll(corners, 1, axis=0)).sum())
