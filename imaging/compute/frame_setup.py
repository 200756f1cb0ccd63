"""A frame from what somebody clicks and measures: one corner, the far end of the top edge, a length."""

import math
from collections.abc import Sequence

import numpy as np
import shapely
from shapely.validation import explain_validity

from imaging.compute.maps import FrameMap

__all__ = ["map_from_corner_and_edge", "outline_area_mm2", "outline_problem"]


def outline_problem(outline_mm: Sequence[Sequence[float]]) -> str:
    """Return what is wrong with an outline, or an empty string.

    Parameters
    ----------
    outline_mm : sequence of (x, y), mm
        Corners in order; the last joins the first.

    Returns
    -------
    problem : str
        English, with the place in mm; empty when the outline bounds one area.

    Examples
    --------
    >>> outline_problem([(0, 0), (10, 0), (10, 10), (0, 10)])
    ''
    >>> outline_problem([(0, 0), (10, 10), (10, 0), (0, 10)])
    'Self-intersection[5 5]'
    """
    corners = np.asarray(outline_mm, dtype=np.float64)
    if corners.ndim != 2 or corners.shape[1] != 2 or len(corners) < 3:
        return f"{len(corners)} corners; at least three are needed"
    if not np.isfinite(corners).all():
        return "a corner that is not a number"
    polygon = shapely.Polygon(corners)
    if polygon.is_valid and polygon.area > 0.0:
        return ""
    return str(explain_validity(polygon)) if not polygon.is_valid else "an outline without area"


def outline_area_mm2(outline_mm: Sequence[Sequence[float]]) -> float:
    """Return the area of an outline in mm2: the denominator of every percentage.

    Parameters
    ----------
    outline_mm : sequence of (x, y), mm

    Returns
    -------
    area_mm2 : float, mm2

    Examples
    --------
    >>> outline_area_mm2([(0, 0), (640, 0), (640, 480), (0, 480)])
    307200.0
    """
    return float(shapely.Polygon(np.asarray(outline_mm, dtype=np.float64)).area)


def map_from_corner_and_edge(
    corner_px: Sequence[float],
    edge_end_px: Sequence[float],
    *,
    edge_length_mm: float,
    image_size_px: tuple[int, int],
    is_mirrored: bool = False,
) -> FrameMap:
    """Return the map of an image on which the zero corner and the end of the top edge were clicked.

    Parameters
    ----------
    corner_px, edge_end_px : (x, y), px
        The corner that becomes 0, 0 and the other end of the edge that becomes the x axis.
    edge_length_mm : float, mm
        Measured length between the two.
    image_size_px : 2 ints, px
    is_mirrored : bool
        Whether the picture shows the face as in a mirror.

    Returns
    -------
    frame_map : FrameMap
        A similarity: one scale, one rotation.

    Raises
    ------
    ValueError
        If the two places coincide or the length is not above zero.

    Examples
    --------
    >>> frame_map = map_from_corner_and_edge((100, 50), (1100, 50), edge_length_mm=50, image_size_px=(1200, 900))
    >>> frame_map.px_from_mm([[10.0, 5.0]]).round(6).tolist()
    [[300.0, 150.0]]
    """
    start, end = np.asarray(corner_px, dtype=np.float64), np.asarray(edge_end_px, dtype=np.float64)
    along = end - start
    length_px = float(math.hypot(*along))
    if length_px <= 0.0 or not edge_length_mm > 0.0:
        raise ValueError(f"an edge of {length_px} px and {edge_length_mm} mm gives no scale")
    scale_px_per_mm = length_px / edge_length_mm
    cosine, sine = along / length_px * scale_px_per_mm
    down = np.array([-sine, cosine]) * (-1.0 if is_mirrored else 1.0)
    matrix = np.array([[cosine, down[0], start[0]], [sine, down[1], start[1]], [0.0, 0.0, 1.0]])
    return FrameMap(matrix, image_size_px=image_size_px)
