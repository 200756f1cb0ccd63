"""Geometries in frame millimetres: reading, checking, storing.

A geometry is a point, a line or a polygon with holes, or several of one kind. It is described by
a GeoJSON-like dictionary (RFC 7946 types and ring order free, but millimetres with y down instead
of degrees) and stored as WKB (OGC 06-103r4) in double precision.
"""

import sys
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry
from shapely.validation import explain_validity

from annotations.errors import (
    EmptyGeometryError,
    GeometryFormatError,
    InvalidGeometryError,
    OutOfBoundsGeometryError,
)

__all__ = [
    "BOUND_MM",
    "KINDS",
    "bounding_box_mm",
    "checked_geometry",
    "geometry_from_json",
    "geometry_from_wkb",
    "geometry_to_json",
    "geometry_to_wkb",
]

# No face reaches 100 m from its datum; larger numbers are pixels or metres taken for millimetres.
BOUND_MM = 100_000.0
_MOST_POINTS = 200_000
KINDS = ("Point", "MultiPoint", "LineString", "MultiLineString", "Polygon", "MultiPolygon")

_NOUNS = {"Point": "point", "LineString": "line", "Polygon": "area"}
# What GEOS finds wrong, in words for people; the place follows in every message.
_REASONS = {
    "Self-intersection": "This outline crosses itself",
    "Ring Self-intersection": "This outline touches itself",
    "Hole lies outside shell": "A hole lies outside its outline",
    "Holes are nested": "A hole lies within another hole",
    "Interior is disconnected": "A hole cuts this area in two",
    "Nested shells": "One area lies within another",
    "Duplicate Rings": "One outline is there twice",
    "Too few points in geometry component": "This outline has too few corners",
}
_DEPTHS = {"Point": 0, "MultiPoint": 1, "LineString": 1, "MultiLineString": 2, "Polygon": 2, "MultiPolygon": 3}


def geometry_from_json(document: Any) -> BaseGeometry:
    """Return the checked geometry that a dictionary describes.

    Parameters
    ----------
    document : dict
        ``{"type": ..., "coordinates": ...}`` in mm, two numbers to a place; rings may be open.

    Raises
    ------
    GeometryFormatError
        If a part is missing or wrong; it names the part.
    EmptyGeometryError, InvalidGeometryError, OutOfBoundsGeometryError
        As ``checked_geometry``.

    Examples
    --------
    >>> geometry_from_json({"type": "LineString", "coordinates": [[0, 0], [3, 4]]}).length
    5.0
    """
    if not isinstance(document, dict):
        raise GeometryFormatError(field="geometry", got=type(document).__name__, needed="an object")
    kind = document.get("type")
    if kind not in KINDS:
        raise GeometryFormatError(field="type", got=repr(kind)[:40], needed=f"one of {', '.join(KINDS)}")
    coordinates = document.get("coordinates")
    _refuse_coordinates(coordinates, "coordinates", depth=_DEPTHS[kind])
    if _place_count(coordinates, _DEPTHS[kind]) > _MOST_POINTS:
        raise GeometryFormatError(field="coordinates", got="more", needed=f"at most {_MOST_POINTS} places")
    _refuse_few(coordinates, kind)
    return checked_geometry(_built(kind, coordinates))


def geometry_to_json(geometry: BaseGeometry) -> dict[str, Any]:
    """Return the GeoJSON-like dictionary of a geometry, numbers unrounded, rings closed.

    Examples
    --------
    >>> geometry_to_json(shapely.Point(1, 2.5))
    {'type': 'Point', 'coordinates': [1.0, 2.5]}
    """
    mapping = shapely.geometry.mapping(geometry)
    return {"type": mapping["type"], "coordinates": _as_lists(mapping["coordinates"])}


def geometry_to_wkb(geometry: BaseGeometry) -> bytes:
    """Return the geometry as little-endian WKB in double precision, to be stored.

    Examples
    --------
    >>> len(geometry_to_wkb(shapely.Point(0.1, 0.2)))
    21
    """
    return bytes(shapely.to_wkb(geometry, byte_order=1, output_dimension=2))


def geometry_from_wkb(stored: bytes) -> BaseGeometry:
    """Return the checked geometry of stored WKB.

    Raises
    ------
    GeometryFormatError
        If the bytes are no WKB of one of the six kinds in two dimensions.
    """
    try:
        geometry = shapely.from_wkb(bytes(stored))
    except shapely.GEOSException as error:
        raise GeometryFormatError(field="WKB", got=str(error)[:80], needed="well-known binary") from error
    if geometry.geom_type not in KINDS or geometry.has_z:
        raise GeometryFormatError(
            field="WKB", got=geometry.geom_type, needed=f"one of {', '.join(KINDS)} in two dimensions"
        )
    return checked_geometry(geometry)


def checked_geometry(geometry: BaseGeometry) -> BaseGeometry:
    """Return the geometry when it is valid, non-empty and inside the bound.

    Raises
    ------
    EmptyGeometryError
        If it has no place, a line no length, or a polygon no area.
    OutOfBoundsGeometryError
        If a place lies more than 100 m from the datum along an axis, or is not a number.
    InvalidGeometryError
        If an outline crosses or touches itself, or a hole leaves it; it says where.

    Examples
    --------
    >>> checked_geometry(shapely.Polygon([(0, 0), (10, 10), (10, 0), (0, 10)]))
    Traceback (most recent call last):
        ...
    annotations.errors.InvalidGeometryError: This outline crosses itself at x 5.0, y 5.0 mm. \
An area has one boundary. Move that corner; nothing else was lost.
    """
    noun = _NOUNS[geometry.geom_type.removeprefix("Multi")]
    if geometry.is_empty:
        raise EmptyGeometryError(kind=noun, reason="it has no place")
    _refuse_outside(geometry)
    for part in shapely.get_parts(geometry):
        if noun == "line" and part.length == 0.0:
            raise EmptyGeometryError(kind=noun, reason="all its places are one")
        if noun == "area" and part.convex_hull.area == 0.0:
            raise EmptyGeometryError(kind=noun, reason="its outline encloses nothing")
    if not geometry.is_valid:
        raise _invalid(geometry)
    return geometry


def bounding_box_mm(geometry: BaseGeometry) -> tuple[float, float, float, float]:
    """Return ``(x_min, y_min, x_max, y_max)`` in mm."""
    x_min, y_min, x_max, y_max = geometry.bounds
    return float(x_min), float(y_min), float(x_max), float(y_max)


def _refuse_outside(geometry: BaseGeometry) -> None:
    places_mm = shapely.get_coordinates(geometry)
    # NaN compares as not inside.
    outside = places_mm[~(np.abs(places_mm) <= BOUND_MM).all(axis=1)]
    if len(outside):
        x_mm, y_mm = outside[0].tolist()
        raise OutOfBoundsGeometryError(x_mm=x_mm, y_mm=y_mm, bound_mm=BOUND_MM)


def _invalid(geometry: BaseGeometry) -> InvalidGeometryError:
    """Return the error with the reason and the place that GEOS found."""
    reason, _, place = explain_validity(geometry).partition("[")
    numbers = place.rstrip("]").split()
    if len(numbers) == 2:
        x_mm, y_mm = (float(number) for number in numbers)
    else:
        x_mm, y_mm = shapely.get_coordinates(geometry)[0].tolist()
    words = _REASONS.get(reason.strip(), f"This shape is not usable ({reason.strip()})")
    return InvalidGeometryError(reason=words, x_mm=x_mm, y_mm=y_mm)


def _refuse_coordinates(value: Any, field: str, *, depth: int) -> None:
    """Refuse whatever is not nested lists of places down to the depth."""
    if not isinstance(value, list | tuple):
        raise GeometryFormatError(field=field, got=type(value).__name__, needed="a list")
    if depth > 0:
        for index, part in enumerate(value):
            _refuse_coordinates(part, f"{field}[{index}]", depth=depth - 1)
        return
    if len(value) != 2:
        raise GeometryFormatError(field=field, got=f"{len(value)} numbers", needed="x and y in mm")
    for number in value:
        is_number = isinstance(number, int | float) and not isinstance(number, bool)
        # A whole number may be longer than any float; comparing it converts nothing.
        if not is_number or not abs(number) <= sys.float_info.max:
            raise GeometryFormatError(field=field, got=repr(number)[:40], needed="a finite number in mm")


def _place_count(value: Any, depth: int) -> int:
    return 1 if depth == 0 else sum(_place_count(part, depth - 1) for part in value)


def _refuse_few(coordinates: Any, kind: str) -> None:
    """Refuse lines of one place and rings of two, which shapely answers with its own errors."""
    groups = [coordinates] if kind in ("LineString", "Polygon") else coordinates
    if kind.endswith("LineString") and any(len(line) < 2 for line in groups):
        raise EmptyGeometryError(kind="line", reason="it has fewer than two places")
    if kind.endswith("Polygon"):
        for ring in (ring for polygon in groups for ring in polygon):
            if len({tuple(place) for place in ring}) < 3:
                raise EmptyGeometryError(kind="area", reason="an outline has fewer than three corners")


def _built(kind: str, coordinates: Any) -> BaseGeometry:
    builders = {
        "Point": shapely.Point,
        "MultiPoint": shapely.MultiPoint,
        "LineString": shapely.LineString,
        "MultiLineString": shapely.MultiLineString,
    }
    if kind in builders:
        return builders[kind](coordinates)
    polygons = [coordinates] if kind == "Polygon" else coordinates
    built = [shapely.Polygon(rings[0], rings[1:]) if rings else shapely.Polygon() for rings in polygons]
    return built[0] if kind == "Polygon" else shapely.MultiPolygon(built)


def _as_lists(value: Any) -> Any:
    return [_as_lists(part) for part in value] if isinstance(value, tuple | list) else float(value)
