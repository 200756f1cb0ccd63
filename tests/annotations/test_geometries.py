import pytest
import shapely

from annotations.compute.geometries import (
    bounding_box_mm,
    checked_geometry,
    geometry_from_json,
    geometry_from_wkb,
    geometry_to_json,
    geometry_to_wkb,
)
from annotations.errors import (
    EmptyGeometryError,
    GeometryFormatError,
    InvalidGeometryError,
    OutOfBoundsGeometryError,
)

SQUARE = [[0, 0], [10, 0], [10, 10], [0, 10]]
HOLE = [[2, 2], [4, 2], [4, 4]]


@pytest.mark.parametrize(
    ("kind", "coordinates"),
    [
        ("Point", [118.2, 260.4]),
        ("MultiPoint", [[0.1, 0.2], [0.3, 0.4]]),
        ("LineString", [[0, 0], [3, 4], [3, 10]]),
        ("MultiLineString", [[[0, 0], [1, 1]], [[5, 5], [6, 7]]]),
        ("Polygon", [SQUARE, HOLE]),
        ("MultiPolygon", [[SQUARE, HOLE], [[[20, 20], [30, 20], [25, 30]]]]),
    ],
)
def test_every_kind_survives_json_and_wkb(kind, coordinates):
    geometry = geometry_from_json({"type": kind, "coordinates": coordinates})
    assert geometry.geom_type == kind
    assert geometry_from_json(geometry_to_json(geometry)).equals_exact(geometry, 0.0)
    assert geometry_from_wkb(geometry_to_wkb(geometry)).equals_exact(geometry, 0.0)


def test_wkb_keeps_every_bit_of_a_place():
    point = geometry_from_wkb(geometry_to_wkb(shapely.Point(0.1 + 0.2, 1 / 3)))
    assert (point.x, point.y) == (0.1 + 0.2, 1 / 3)


def test_the_box_around_a_line_is_its_extent():
    assert bounding_box_mm(shapely.LineString([(3, -1), (0, 7)])) == (0.0, -1.0, 3.0, 7.0)


@pytest.mark.parametrize(
    ("rings", "message"),
    [
        ([[[113.2, 255.4], [123.2, 265.4], [123.2, 255.4], [113.2, 265.4]]],
         r"This outline crosses itself at x 118\.2, y 260\.4 mm\. An area has one boundary\. Move that corner"),
        ([SQUARE, [[20, 20], [21, 20], [20, 21]]], r"A hole lies outside its outline at x 2\d\.0, y 2\d\.0 mm"),
        ([[[0, 0], [10, 0], [10, 10], [5, 0], [0, 10]]], r"This outline touches itself at x 5\.0, y 0\.0 mm"),
        ([SQUARE, [[1, 1], [9, 1], [9, 9], [1, 9]], [[3, 3], [5, 3], [4, 5]]], "A hole lies within another hole at x"),
    ],
)  # fmt: skip
def test_a_wrong_outline_says_why_and_where(rings, message):
    with pytest.raises(InvalidGeometryError, match=message):
        geometry_from_json({"type": "Polygon", "coordinates": rings})


@pytest.mark.parametrize(
    ("document", "error", "message"),
    [
        ([], GeometryFormatError, "'geometry' is list, needed is an object"),
        ({"type": "Circle"}, GeometryFormatError, "'type' is 'Circle', needed is one of Point"),
        ({"type": "Point"}, GeometryFormatError, "'coordinates' is NoneType, needed is a list"),
        ({"type": "Point", "coordinates": [1, 2, 3]}, GeometryFormatError, "3 numbers, needed is x and y in mm"),
        ({"type": "LineString", "coordinates": [[0, 0], [1, "2"]]}, GeometryFormatError, r"'coordinates\[1\]' is '2'"),
        ({"type": "Point", "coordinates": [True, 0]}, GeometryFormatError, "is True, needed is a finite number"),
        ({"type": "Point", "coordinates": [float("nan"), 0]}, GeometryFormatError, "is nan"),
        ({"type": "LineString", "coordinates": []}, EmptyGeometryError, "This line is empty: it has fewer than two"),
        ({"type": "LineString", "coordinates": [[1, 1], [1, 1]]}, EmptyGeometryError, "all its places are one"),
        ({"type": "Polygon", "coordinates": []}, EmptyGeometryError, "This area is empty: it has no place"),
        ({"type": "Polygon", "coordinates": [[[0, 0], [1, 1], [0, 0]]]}, EmptyGeometryError, "fewer than three"),
        ({"type": "Polygon", "coordinates": [[[0, 0], [5, 5], [9, 9]]]}, EmptyGeometryError, "encloses nothing"),
        ({"type": "MultiPoint", "coordinates": []}, EmptyGeometryError, "This point is empty"),
        ({"type": "Point", "coordinates": [1e6, 0]}, OutOfBoundsGeometryError, "within 100000 mm of the datum"),
    ],
)
def test_an_unusable_shape_is_refused_with_its_reason(document, error, message):
    with pytest.raises(error, match=message):
        geometry_from_json(document)


@pytest.mark.parametrize("stored", [b"", b"\x01\x02", shapely.to_wkb(shapely.Point(1, 2, 3))])
def test_bytes_that_hold_no_shape_are_refused(stored):
    with pytest.raises(GeometryFormatError, match="'WKB' is"):
        geometry_from_wkb(stored)


def test_infinite_places_made_elsewhere_are_refused():
    with pytest.raises(OutOfBoundsGeometryError, match="This shape reaches x inf"):
        checked_geometry(shapely.Point(float("inf"), 0.0))
