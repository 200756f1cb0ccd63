"""Shapes in pixels of a source as the SVG of an SvgSelector, and back.

Web Annotation Data Model section 4.2.7: one shape element, coordinates relative to the full size
of the source, no style, script, text, animation or transform. No viewBox is written, because what
it would mean for a selector is left open by the Recommendation.

Points are circles of half a pixel around the place; lines are open, areas are closed and filled
by the even-odd rule, so that a hole is a hole whatever way round it is drawn.
"""

import re
from xml.etree.ElementTree import Element, ParseError

import defusedxml
import defusedxml.ElementTree
import shapely
from shapely.geometry.base import BaseGeometry

from annotations.errors import SelectorFormatError
from annotations.interop.svg_path import lines_and_rings_from_path

__all__ = ["DECIMALS_PX", "SVG_NAMESPACE", "shape_from_svg", "svg_of"]

SVG_NAMESPACE = "http://www.w3.org/2000/svg"
#: A hundredth of a pixel.
DECIMALS_PX = 2
_POINT_RADIUS_PX = 0.5
_NEEDED = "one SVG document with path, polygon, polyline, line, rect, circle or ellipse elements, without transform"
_NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
_LONGEST_SVG = 8_000_000
# A full circle keeps the area of an ellipse to 0.2 %.
_SEGMENTS_A_QUARTER = 16

_Parts = tuple[list[BaseGeometry], list[BaseGeometry], list[BaseGeometry]]


def _number_of(value: float) -> str:
    """Return a coordinate without needless digits.

    Examples
    --------
    >>> _number_of(12.50), _number_of(-0.001), _number_of(7.0)
    ('12.5', '0', '7')
    """
    text = f"{value:.{DECIMALS_PX}f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _pairs_of(geometry: BaseGeometry) -> list[str]:
    """Return the vertices of a line or ring as ``x,y`` texts, a ring without its repeated end."""
    coordinates = shapely.get_coordinates(geometry)
    if geometry.geom_type == "LinearRing":
        coordinates = coordinates[:-1]
    return [f"{_number_of(x)},{_number_of(y)}" for x, y in coordinates.tolist()]


def _element_of(shape_px: BaseGeometry) -> str:
    """Return the one shape element that draws a geometry."""
    parts = list(shapely.get_parts(shape_px))
    kind = parts[0].geom_type
    if kind == "Point":
        circles = [
            f'<circle cx="{_number_of(point.x)}" cy="{_number_of(point.y)}" r="{_POINT_RADIUS_PX}"/>' for point in parts
        ]
        return circles[0] if shape_px.geom_type == "Point" else f"<g>{''.join(circles)}</g>"
    if shape_px.geom_type == "LineString":
        return f'<polyline points="{" ".join(_pairs_of(shape_px))}"/>'
    if shape_px.geom_type == "Polygon" and not shape_px.interiors:
        return f'<polygon points="{" ".join(_pairs_of(shape_px.exterior))}"/>'
    if kind == "LineString":
        runs = ["M" + " L".join(_pairs_of(line)) for line in parts]
        return f'<path d="{" ".join(runs)}"/>'
    rings = [ring for area in parts for ring in (area.exterior, *area.interiors)]
    runs = ["M" + " L".join(_pairs_of(ring)) + " Z" for ring in rings]
    return f'<path fill-rule="evenodd" d="{" ".join(runs)}"/>'


def svg_of(shape_px: BaseGeometry) -> str:
    """Return the SVG document of a shape in pixels of its source.

    Parameters
    ----------
    shape_px : shapely geometry, px
        Points, lines or areas; continuous pixel coordinates of the source.

    Returns
    -------
    svg : str
        Well-formed XML, coordinates rounded to 0.01 px.

    Examples
    --------
    >>> svg_of(shapely.LineString([(1, 2), (3.456, 4)]))
    '<svg xmlns="http://www.w3.org/2000/svg"><polyline points="1,2 3.46,4"/></svg>'
    """
    return f'<svg xmlns="{SVG_NAMESPACE}">{_element_of(shape_px)}</svg>'


def shape_from_svg(svg: str) -> BaseGeometry:
    """Return the geometry that an SVG document draws, in pixels.

    Parameters
    ----------
    svg : str
        Text from outside: it is parsed to numbers and never passed on.

    Returns
    -------
    shape_px : shapely geometry, px
        A multi geometry only when more than one part was drawn.

    Raises
    ------
    SelectorFormatError
        If it is not well-formed, declares entities, draws nothing, mixes points, lines and areas,
        or uses a curve or a transform.

    Examples
    --------
    >>> shape_from_svg('<svg xmlns="http://www.w3.org/2000/svg"><rect x="1" y="2" width="3" height="4"/></svg>').area
    12.0
    """
    if len(svg) > _LONGEST_SVG:
        raise SelectorFormatError(selector="SVG", got=f"{len(svg)} characters", needed=_NEEDED)
    try:
        root = defusedxml.ElementTree.fromstring(svg, forbid_dtd=True)
    except (ParseError, defusedxml.DefusedXmlException, ValueError) as err:
        raise SelectorFormatError(selector="SVG", got=svg, needed=_NEEDED) from err
    parts: _Parts = ([], [], [])
    for element in root.iter():
        if "transform" in element.attrib:
            raise SelectorFormatError(selector="SVG", got="a transform", needed=_NEEDED)
        _collect(element, parts)
    return _united(parts, svg)


def _numbers_of(element: Element, *names: str) -> list[float]:
    """Return the numbers of some attributes, absent ones as 0."""
    values = []
    for name in names:
        text = element.attrib.get(name, "0").strip().removesuffix("px")
        if _NUMBER.fullmatch(text) is None:
            raise SelectorFormatError(selector="SVG", got=f"{name}={text!r}", needed="a number of pixels")
        values.append(float(text))
    return values


def _vertices_of(element: Element) -> list[tuple[float, float]]:
    """Return the vertices of a polygon or polyline."""
    numbers = [float(number) for number in _NUMBER.findall(element.attrib.get("points", ""))]
    if len(numbers) < 4 or len(numbers) % 2:
        raise SelectorFormatError(selector="SVG", got=f"{len(numbers)} numbers in points", needed=_NEEDED)
    return list(zip(numbers[::2], numbers[1::2], strict=True))


def _collect(element: Element, parts: _Parts) -> None:
    """Add what one element draws to the points, lines and areas found so far."""
    points, lines, areas = parts
    name = str(element.tag).rpartition("}")[2]
    if name == "polygon":
        areas.append(_polygon_of(_vertices_of(element)))
    elif name == "polyline":
        lines.append(shapely.LineString(_vertices_of(element)))
    elif name == "line":
        x1, y1, x2, y2 = _numbers_of(element, "x1", "y1", "x2", "y2")
        lines.append(shapely.LineString([(x1, y1), (x2, y2)]))
    elif name == "rect":
        x, y, width, height = _numbers_of(element, "x", "y", "width", "height")
        areas.append(shapely.box(x, y, x + width, y + height))
    elif name == "circle":
        x, y, radius = _numbers_of(element, "cx", "cy", "r")
        centre = shapely.Point(x, y)
        is_point = radius <= _POINT_RADIUS_PX
        (points if is_point else areas).append(centre if is_point else centre.buffer(radius, _SEGMENTS_A_QUARTER))
    elif name == "ellipse":
        areas.append(_ellipse_of(*_numbers_of(element, "cx", "cy", "rx", "ry")))
    elif name == "path":
        found_lines, rings = lines_and_rings_from_path(element.attrib.get("d", ""))
        lines.extend(shapely.LineString(line) for line in found_lines)
        areas.extend(_areas_of_rings(rings))
    elif name not in {"svg", "g", "title", "desc", "defs", "metadata"}:
        raise SelectorFormatError(selector="SVG", got=f"an element {name}", needed=_NEEDED)


def _ellipse_of(x: float, y: float, radius_x: float, radius_y: float) -> BaseGeometry:
    """Return an ellipse as a polygon."""
    circle = shapely.Point(0, 0).buffer(1.0, _SEGMENTS_A_QUARTER)
    return shapely.transform(circle, lambda places: places * (radius_x, radius_y) + (x, y))


def _polygon_of(vertices: list[tuple[float, float]]) -> BaseGeometry:
    """Return the area within a ring of three vertices or more."""
    if len(vertices) < 3:
        raise SelectorFormatError(selector="SVG", got=f"an area of {len(vertices)} corners", needed=_NEEDED)
    return shapely.Polygon(vertices)


def _areas_of_rings(rings: list[list[tuple[float, float]]]) -> list[BaseGeometry]:
    """Return areas with holes from rings, by the even-odd rule: a ring within an odd number of others is a hole."""
    outlines = [_polygon_of(ring) for ring in rings]
    # A vertex tells which ring lies in which: valid shapes touch in points at most.
    depth = [
        sum(
            other is not outline
            and other.contains_properly(outline.representative_point())
            and other.area > outline.area
            for other in outlines
        )
        for outline in outlines
    ]
    areas = []
    for outline, level in zip(outlines, depth, strict=True):
        if level % 2 == 0:
            holes = [
                inner.exterior.coords
                for inner, inner_level in zip(outlines, depth, strict=True)
                if inner_level == level + 1 and outline.contains(inner.representative_point())
            ]
            areas.append(shapely.Polygon(outline.exterior.coords, holes))
    return areas


def _united(parts: _Parts, svg: str) -> BaseGeometry:
    """Return the parts as one geometry of one kind."""
    filled = [group for group in parts if group]
    if len(filled) != 1:
        raise SelectorFormatError(selector="SVG", got=svg, needed=_NEEDED)
    group = filled[0]
    if len(group) == 1:
        return group[0]
    kinds = {"Point": shapely.MultiPoint, "LineString": shapely.MultiLineString, "Polygon": shapely.MultiPolygon}
    return kinds[group[0].geom_type](group)
