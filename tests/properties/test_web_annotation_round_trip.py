"""Whatever an annotation says, exporting and importing it gives the same annotation back."""

from __future__ import annotations

import datetime as dt
import json
import string

import shapely
from hypothesis import given
from hypothesis import strategies as st

from annotations.interop.agents import AGENT_KINDS, Agent
from annotations.interop.bodies import MOTIVATIONS, ConceptBody, OtherBody, TextBody
from annotations.interop.media_fragment import enclosing_box_px
from annotations.interop.mm_fragment import geometry_from_mm_fragment, mm_fragment_of
from annotations.interop.svg_shape import shape_from_svg, svg_of
from annotations.interop.targets import OtherTarget, PlacedTarget, SourceState
from annotations.interop.web_annotation import WebAnnotation, export_annotation, import_annotation
from tests.standards.web_annotation_rules import faults_of

HOST = "https://lab.example.org"
texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=60)
words = st.text(string.ascii_lowercase, min_size=1, max_size=8)
iris = words.map(lambda word: f"{HOST}/{word}")
moments = st.datetimes(timezones=st.just(dt.UTC))
# No key of the Data Model begins so, whatever future version of it is meant.
unknown = st.dictionaries(
    words.map(lambda word: f"own_{word}"), st.one_of(texts, st.integers(), st.lists(texts)), max_size=2
)


def numbers(decimals: int, *, most: int = 3000):
    scale = 10**decimals
    return st.integers(-most * scale, most * scale).map(lambda count: count / scale)


@st.composite
def shapes(draw, *, decimals: int):
    """Points, lines and areas with as many decimals as are written."""
    place = st.tuples(numbers(decimals), numbers(decimals))
    kind = draw(st.sampled_from(["point", "points", "line", "lines", "area", "areas"]))
    if kind in {"point", "points"}:
        places = draw(st.lists(place, min_size=1 if kind == "point" else 2, max_size=5))
        return shapely.Point(places[0]) if kind == "point" else shapely.MultiPoint(places)
    if kind in {"line", "lines"}:
        line = st.lists(place, min_size=2, max_size=6, unique=True)
        lines = draw(st.lists(line, min_size=1 if kind == "line" else 2, max_size=3))
        return shapely.LineString(lines[0]) if kind == "line" else shapely.MultiLineString(lines)
    areas = [draw(area(column, decimals)) for column in range(1 if kind == "area" else draw(st.integers(2, 3)))]
    return areas[0] if kind == "area" else shapely.MultiPolygon(areas)


@st.composite
def area(draw, column: int, decimals: int):
    """One quadrilateral with perhaps a hole, in a column of its own so that areas stay apart."""
    left = 900.0 * column
    side = st.integers(100 * 10**decimals, 400 * 10**decimals).map(lambda count: count / 10**decimals)
    width, height, slant = draw(side), draw(side), draw(side)
    corners = [(left, 0.0), (left + width, round(slant / 8, decimals)), (left + width, height + 200), (left, height)]
    is_hollow = draw(st.booleans())
    hole = [(left + 10, 60.0), (left + 40, 60.0), (left + 40, 80.0), (left + 10, 80.0)]
    corners = [(round(x, decimals), round(y, decimals)) for x, y in corners]
    outline = corners if draw(st.booleans()) else corners[::-1]
    return shapely.Polygon(outline, [hole] if is_hollow else [])


agents = st.builds(Agent, texts, st.sampled_from(AGENT_KINDS), st.none() | iris, st.none() | iris, unknown)
purposes = st.none() | st.sampled_from(MOTIVATIONS)
bodies = st.one_of(
    st.builds(
        TextBody,
        texts,
        purposes,
        st.sampled_from([None, "en", "de-CH"]),
        st.sampled_from([None, "text/markdown"]),
        unknown,
    ),
    st.builds(ConceptBody, iris, purposes, st.none() | texts, unknown),
    st.builds(OtherBody, iris | iris.map(lambda iri: {"id": iri, "type": "Image", "format": "image/png"})),
)


@st.composite
def states(draw):
    begun_at, ended_at = sorted(draw(st.tuples(moments, moments)))
    first, last = draw(st.sampled_from([(None, None), (begun_at, begun_at), (begun_at, ended_at)]))
    return SourceState(first, last, draw(st.none() | iris), draw(unknown))


@st.composite
def placed_targets(draw):
    shape_px = draw(st.none() | shapes(decimals=2))
    shape_mm = draw(st.none() | shapes(decimals=4))
    has_other = draw(st.booleans())
    return PlacedTarget(
        source=draw(iris),
        shape_mm=shape_mm,
        shape_px=shape_px,
        box_px=enclosing_box_px(shape_px, (3000, 3000)) if shape_px is not None else None,
        mm_profile=f"{HOST}/ns/physical-mm/1" if shape_mm is not None else "",
        state=draw(st.none() | states()),
        scope=draw(st.none() | iris),
        rights=draw(st.none() | iris),
        other_selectors=({"type": "TextQuoteSelector", "exact": draw(texts)},) if has_other else (),
        selector_extras={"svg": {"own_note": draw(texts)}} if shape_px is not None and has_other else {},
        extra=draw(unknown),
    )


targets = st.one_of(placed_targets(), st.builds(OtherTarget, iris))
web_annotations = st.builds(
    WebAnnotation,
    iri=iris,
    targets=st.lists(targets, min_size=1, max_size=2).map(tuple),
    bodies=st.lists(bodies, max_size=3).map(tuple),
    motivation=purposes,
    title=st.none() | texts,
    number=st.none() | words,
    creator=st.none() | agents,
    generator=st.none() | agents,
    created=st.none() | moments,
    modified=st.none() | moments,
    rights=st.lists(iris, max_size=2).map(tuple),
    via=st.lists(iris, max_size=2).map(tuple),
    canonical=st.none() | iris,
    other_contexts=st.sampled_from([(), (f"{HOST}/context",), ({"own": f"{HOST}/own#"},)]),
    extra=unknown,
)


@given(web_annotations)
def test_export_and_import_give_the_same_annotation(annotation):
    assert import_annotation(json.loads(json.dumps(export_annotation(annotation)))) == annotation


@given(web_annotations)
def test_import_and_export_give_the_same_document(annotation):
    document = json.loads(json.dumps(export_annotation(annotation)))
    assert export_annotation(import_annotation(document)) == document


@given(web_annotations)
def test_no_exported_document_breaks_a_rule(annotation):
    faults = faults_of(export_annotation(annotation))
    # Foreign selectors are carried along without being judged.
    assert [fault for fault in faults if not fault.startswith("4.2: ")] == []


@given(shapes(decimals=4))
def test_a_shape_survives_its_fragment(shape_mm):
    assert geometry_from_mm_fragment(mm_fragment_of(shape_mm)).equals_exact(shape_mm, tolerance=1e-9)


@given(shapes(decimals=2))
def test_a_shape_survives_its_svg(shape_px):
    assert shape_from_svg(svg_of(shape_px)).equals_exact(shape_px, tolerance=1e-9)


@given(shapes(decimals=2), st.integers(1, 3000), st.integers(1, 3000))
def test_the_box_lies_on_the_picture_and_holds_what_lies_on_it(shape_px, width_px, height_px):
    picture = shapely.box(0, 0, width_px, height_px)
    box_px = enclosing_box_px(shape_px, (width_px, height_px))
    if box_px is None:
        assert not shape_px.intersects(picture)
        return
    left, top, width, height = box_px
    box = shapely.box(left, top, left + width, top + height)
    on_picture = shape_px.intersection(picture)
    assert picture.covers(box)
    assert on_picture.is_empty or box.buffer(1e-6).covers(on_picture)
