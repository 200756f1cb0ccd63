"""Shapes carried through a map: straight in millimetres may be bent in the pixels of an image."""

from collections.abc import Callable

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

__all__ = ["projected_shape"]

_Places = NDArray[np.float64]
# Each edge is judged at seven places, so that a bend to both sides is not missed.
_PARTS_AN_EDGE = 8
# 2^12 pieces an edge: a map that needs more is no map of a painting.
_MOST_HALVINGS = 12


def projected_shape(
    shape: BaseGeometry, project: Callable[[_Places], _Places], *, tolerance: float = 0.05
) -> BaseGeometry:
    """Return a shape carried through a map, with vertices added where edges would leave it.

    Parameters
    ----------
    shape : shapely geometry
        Points, lines or areas, for instance in mm.
    project : callable
        Maps (N, 2) places, for instance to px.
    tolerance : float
        Largest distance, in units of the result, by which a straight edge of the result may miss
        the true place of the edge; above zero.

    Returns
    -------
    projected : shapely geometry
        Of the same kind. Through a map that keeps lines straight no vertex is added.

    Raises
    ------
    ValueError
        If the tolerance is not above zero.

    Notes
    -----
    Edges are halved until seven inner places of each are within the tolerance. Memory: O(vertices).

    Examples
    --------
    >>> shapely.to_wkt(projected_shape(shapely.LineString([(0, 0), (4, 2)]), lambda p: p * 10), trim=True)
    'LINESTRING (0 0, 40 20)'
    """
    if not tolerance > 0.0:
        raise ValueError(f"tolerance must be above zero, got {tolerance}")
    if shape.geom_type in {"Point", "MultiPoint"}:
        return shapely.transform(shape, project)
    if shape.geom_type in {"LineString", "LinearRing"}:
        line = _refined_line(shapely.get_coordinates(shape), project, tolerance)
        return shapely.linestrings(project(line))
    if shape.geom_type == "Polygon":
        rings = [
            project(_refined_line(shapely.get_coordinates(ring), project, tolerance))
            for ring in (shape.exterior, *shape.interiors)
        ]
        return shapely.Polygon(rings[0], rings[1:])
    parts = [projected_shape(part, project, tolerance=tolerance) for part in shape.geoms]
    return type(shape)(parts)


def _refined_line(line: _Places, project: Callable[[_Places], _Places], tolerance: float) -> _Places:
    """Return the vertices of a line with more of them where the map bends it."""
    for _halving in range(_MOST_HALVINGS):
        bent = np.flatnonzero(_edge_misses(line, project) > tolerance)
        if not len(bent):
            break
        line = np.insert(line, bent + 1, (line[bent] + line[bent + 1]) / 2.0, axis=0)
    return line


def _edge_misses(line: _Places, project: Callable[[_Places], _Places]) -> NDArray[np.float64]:
    """Return how far each straight edge of the result misses the true place of the edge, at most."""
    shares = np.arange(1, _PARTS_AN_EDGE) / _PARTS_AN_EDGE
    starts, ends = line[:-1], line[1:]
    inner = starts[:, np.newaxis] + shares[:, np.newaxis] * (ends - starts)[:, np.newaxis]
    true_places = project(inner.reshape(-1, 2)).reshape(inner.shape)
    vertices = project(line)
    chords = (vertices[1:] - vertices[:-1])[:, np.newaxis]
    offsets = true_places - vertices[:-1, np.newaxis]
    # Distance to the chord's line: sliding along the edge is no miss.
    squared = (chords**2).sum(axis=-1)
    along = np.divide((offsets * chords).sum(axis=-1), squared, out=np.zeros(offsets.shape[:2]), where=squared > 0.0)
    misses: NDArray[np.float64] = np.hypot(*np.moveaxis(offsets - along[..., np.newaxis] * chords, -1, 0)).max(axis=1)
    return misses
