"""Exported documents against the Web Annotation Data Model, W3C Recommendation 23 February 2017."""

from __future__ import annotations

import copy
import datetime as dt
import json
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
import rdflib
import shapely
from pyld import jsonld

from annotations.compute.projections import projected_shape
from annotations.interop.agents import Agent
from annotations.interop.annotation_page import AnnotationListing, container_document, page_document
from annotations.interop.bodies import MARKDOWN, ConceptBody, TextBody
from annotations.interop.media_fragment import enclosing_box_px
from annotations.interop.svg_shape import shape_from_svg
from annotations.interop.targets import PlacedTarget, SourceState
from annotations.interop.web_annotation import WebAnnotation, export_annotation, import_annotation
from imaging.compute.maps import FrameMap
from tests.standards.annotation_terms import with_local_context
from tests.standards.web_annotation_rules import faults_of

# The JSON-LD reader of rdflib warns about a class of rdflib that it uses itself.
pytestmark = pytest.mark.filterwarnings("ignore:ConjunctiveGraph is deprecated:DeprecationWarning")

HOST = "https://lab.example.org"
OA = rdflib.Namespace("http://www.w3.org/ns/oa#")
CRACK_MM = shapely.LineString([(118.0, 260.4), (131.5, 259.8), (149.2, 261.7), (172.0, 260.9)])
# A map with perspective: straight lines stay straight, distances do not.
IMAGE_MAP = FrameMap(
    np.array([[20.0, 0.3, 400.0], [-0.2, 20.1, 250.0], [1e-5, 2e-5, 1.0]]), image_size_px=(14000, 10500)
)


def make_annotation(shape_mm: Any = CRACK_MM, **fields: Any) -> WebAnnotation:
    shape_px = projected_shape(shape_mm, IMAGE_MAP.px_from_mm)
    taken_at = dt.datetime(2022, 2, 14, tzinfo=dt.UTC)
    target = PlacedTarget(
        source=f"{HOST}/images/7/",
        shape_mm=shape_mm,
        shape_px=shape_px,
        box_px=enclosing_box_px(shape_px, (14000, 10500)),
        mm_profile=f"{HOST}/ns/physical-mm/1",
        state=SourceState(taken_at, taken_at, f"{HOST}/api/v1/images/7/window?registration=2"),
        scope=f"{HOST}/frames/1",
        rights="http://rightsstatements.org/vocab/InC/1.0/",
    )
    bodies = (
        TextBody("a *crack* along the join", "describing", "en", MARKDOWN),
        TextBody("the boards moved", "commenting", "en", MARKDOWN),
        ConceptBody(f"{HOST}/ns/certainty/1#certain", "classifying", "both sides show it"),
    )
    defaults: dict[str, Any] = {
        "iri": f"{HOST}/annotations/2",
        "targets": (target,),
        "bodies": bodies,
        "motivation": "describing",
        "title": "Crack along the join",
        "number": "A2",
        "creator": Agent("Tomaso Brenzi", iri="https://orcid.org/0000-0002-1825-0097"),
        "generator": Agent("Mahlstick", "Software", f"{HOST}/"),
        "created": dt.datetime(2026, 11, 25, 9, 30, 0, 123456, tzinfo=dt.UTC),
        "modified": dt.datetime(2026, 11, 25, 10, tzinfo=dt.UTC),
        "rights": ("https://creativecommons.org/licenses/by/4.0/",),
    }
    return WebAnnotation(**{**defaults, **fields})


@pytest.fixture
def document() -> dict[str, Any]:
    written: dict[str, Any] = json.loads(json.dumps(export_annotation(make_annotation())))
    return written


SHAPES = {
    "point": shapely.Point(214.3, 151),
    "points": shapely.MultiPoint([(20, 300), (35.5, 310.25)]),
    "line": CRACK_MM,
    "lines": shapely.MultiLineString([[(1, 2), (3, 4)], [(5, 6), (7, 8), (9, 1)]]),
    "area": shapely.Polygon([(300, 248), (338, 246), (344, 271), (305, 274)]),
    "area with a hole": shapely.Polygon(
        [(10, 10), (90, 10), (90, 90), (10, 90)], [[(30, 30), (60, 30), (60, 60), (30, 60)]]
    ),
    "areas": shapely.MultiPolygon(
        [shapely.box(96, 455, 104, 461), shapely.Polygon([(402, 458), (414, 458), (408, 468)])]
    ),
}


@pytest.mark.parametrize("shape_mm", SHAPES.values(), ids=SHAPES.keys())
def test_every_kind_of_shape_makes_a_sound_document(shape_mm):
    document = export_annotation(make_annotation(shape_mm))
    assert faults_of(document) == []


def test_a_lone_context_is_a_plain_string(document):
    assert document["@context"] == "http://www.w3.org/ns/anno.jsonld"


def test_moments_end_in_z_and_keep_their_microseconds(document):
    assert document["created"] == "2026-11-25T09:30:00.123456Z"
    assert document["target"]["state"]["sourceDate"] == "2022-02-14T00:00:00Z"


def put(path: str, value: Any) -> Callable[[dict[str, Any]], None]:
    """Return a change that puts a value at a path such as target.selector.0.value; None takes it away."""

    def change(document: dict[str, Any]) -> None:
        *parents, last = path.split(".")
        place: Any = document
        for key in parents:
            place = place[int(key)] if key.isdigit() else place[key]
        if value is None:
            del place[last]
        else:
            place[last] = value

    return change


SVG = '<svg xmlns="http://www.w3.org/2000/svg">{}</svg>'
FAULTS = {
    "no context": put("@context", None),
    "a context in a list": put("@context", ["http://www.w3.org/ns/anno.jsonld"]),
    "another context": put("@context", "https://example.org/context"),
    "no id": put("id", None),
    "a relative id": put("id", "annotations/2"),
    "another type": put("type", "Note"),
    "no target": put("target", None),
    "two kinds of body": put("bodyValue", "a crack"),
    "an offset instead of Z": put("created", "2026-11-25T09:30:00+00:00"),
    "a date without time": put("modified", "2026-11-25"),
    "an unknown motivation": put("motivation", "measuring"),
    "an unknown purpose": put("body.0.purpose", "observing"),
    "rights in words": put("rights", "all rights reserved"),
    "an agent without class": put("creator.type", "Conservator"),
    "a text without value": put("body.0.value", None),
    "a text with two values": put("body.0.value", ["a", "b"]),
    "a language in words": put("body.0.language", "British English"),
    "a format in words": put("body.0.format", "Markdown"),
    "no source": put("target.source", None),
    "two sources": put("target.source", [f"{HOST}/images/7/", f"{HOST}/images/8/"]),
    "a text as target": put("target", {"type": "TextualBody", "value": "x"}),
    "decimals in the box": put("target.selector.0.value", "xywh=1.5,2,3,4"),
    "an empty box": put("target.selector.0.value", "xywh=1,2,0,4"),
    "a fragment with its sign": put("target.selector.0.value", "#xywh=1,2,3,4"),
    "svg that is not well-formed": put("target.selector.1.value", "<svg><path></svg>"),
    "svg without namespace": put("target.selector.1.value", '<svg><path d="M0,0"/></svg>'),
    "a style": put("target.selector.1.value", SVG.format('<path style="fill:red" d="M0,0"/>')),
    "a transform": put("target.selector.1.value", SVG.format('<path transform="scale(2)" d="M0,0"/>')),
    "a script": put("target.selector.1.value", SVG.format("<script>x</script>")),
    "text in svg": put("target.selector.1.value", SVG.format("<text>A2</text>")),
    "a space in the fragment": put("target.selector.2.value", "mm=POINT(1 2)"),
    "no Well-Known Text": put("target.selector.2.value", "mm=POINT(1%202"),
    "half a span": put("target.state.sourceDateStart", "2022-02-14T00:00:00Z"),
    "a state without Z": put("target.state.sourceDate", "2022-02-14T00:00:00"),
    "a frozen copy without address": put("target.state.cached", "the picture of 2022"),
}


@pytest.mark.parametrize("spoil", FAULTS.values(), ids=FAULTS.keys())
def test_the_rules_catch_a_document_with_one_fault(document, spoil):
    assert faults_of(document) == []
    spoilt = copy.deepcopy(document)
    spoil(spoilt)
    assert faults_of(spoilt)


def graph_of(document: dict[str, Any]) -> rdflib.Graph:
    return rdflib.Graph().parse(data=json.dumps(with_local_context(document)), format="json-ld")


def leaves_of(value: Any) -> list[str]:
    """Return every value of a JSON document as text, keys and contexts left out."""
    if isinstance(value, dict):
        return [leaf for key, inner in value.items() if key != "@context" for leaf in leaves_of(inner)]
    if isinstance(value, list):
        return [leaf for inner in value for leaf in leaves_of(inner)]
    return [str(value)]


def test_no_value_is_lost_when_a_processor_expands_the_document(document):
    expanded = json.dumps(jsonld.expand(with_local_context(document)), ensure_ascii=False)
    missing = [leaf for leaf in leaves_of(document) if json.dumps(leaf, ensure_ascii=False)[1:-1] not in expanded]
    # Words of the vocabulary expand to addresses that end in them, or to the class's own name.
    assert set(missing) <= {"Software"}


def test_both_processors_read_the_same_number_of_statements(document):
    by_pyld = jsonld.to_rdf(with_local_context(document), {"format": "application/n-quads"})
    assert len(by_pyld.strip().splitlines()) == len(graph_of(document))


def test_a_key_that_no_context_knows_would_be_seen_as_lost(document):
    document["shoe_size"] = "43-and-a-half"
    assert "43-and-a-half" not in json.dumps(jsonld.expand(with_local_context(document)))


def test_triples_say_who_saw_what_where(document):
    graph = graph_of(document)
    annotation = rdflib.URIRef(f"{HOST}/annotations/2")
    target = graph.value(annotation, OA.hasTarget)
    creator = graph.value(annotation, rdflib.DCTERMS.creator)
    assert graph.value(creator, rdflib.FOAF.name) == rdflib.Literal("Tomaso Brenzi")
    assert graph.value(target, OA.hasSource) == rdflib.URIRef(f"{HOST}/images/7/")
    assert len(list(graph.objects(target, OA.hasSelector))) == 3
    purposes = {graph.value(body, OA.hasPurpose) for body in graph.objects(annotation, OA.hasBody)}
    assert purposes == {OA.describing, OA.commenting, OA.classifying}


@pytest.mark.parametrize("shape_mm", SHAPES.values(), ids=SHAPES.keys())
def test_svg_and_millimetres_describe_the_same_place_within_a_pixel(shape_mm):
    target = import_annotation(export_annotation(make_annotation(shape_mm))).targets[0]
    assert isinstance(target, PlacedTarget)
    through_map = shapely.transform(shapely.segmentize(target.shape_mm, 0.5), IMAGE_MAP.px_from_mm)
    assert shapely.hausdorff_distance(through_map, shapely.segmentize(target.shape_px, 10.0)) < 1.0


def test_a_bent_map_gets_the_vertices_it_needs():
    """A straight edge under a bend of 30 px must not be exported as its chord."""

    def bend(places):
        return places * 20.0 + np.stack([np.zeros(len(places)), 30.0 * np.sin(places[:, 0] / 20.0)], axis=1)

    line_mm = shapely.LineString([(0, 0), (125.6, 0)])
    true_line = shapely.transform(shapely.segmentize(line_mm, 0.05), bend)
    assert shapely.hausdorff_distance(shapely.transform(line_mm, bend), true_line) > 25.0
    assert shapely.hausdorff_distance(projected_shape(line_mm, bend), true_line, densify=0.001) < 0.1


@pytest.mark.parametrize("shape_mm", SHAPES.values(), ids=SHAPES.keys())
def test_the_box_encloses_the_drawn_shape(shape_mm):
    document = export_annotation(make_annotation(shape_mm))
    box, svg = document["target"]["selector"][:2]
    left, top, width, height = (int(number) for number in box["value"].removeprefix("xywh=").split(","))
    assert shapely.box(left, top, left + width, top + height).covers(shape_from_svg(svg["value"]))


def test_a_hole_stays_a_hole_in_the_svg():
    svg = export_annotation(make_annotation(SHAPES["area with a hole"]))["target"]["selector"][1]["value"]
    assert len(shape_from_svg(svg).interiors) == 1


def listing_of(total: int, **fields: Any) -> AnnotationListing:
    return AnnotationListing(f"{HOST}/faces/1/annotations/", "marks", total=total, page_size=2, **fields)


def test_walking_all_pages_meets_every_annotation_once():
    """Data Model 5.2: next on every page but the last, startIndex, partOf."""
    listing = listing_of(5)
    addresses = [f"{HOST}/annotations/{number}" for number in range(5)]
    pages = {
        listing.page_iri(number): page_document(listing, number, items=addresses[2 * number : 2 * number + 2])
        for number in range(3)
    }
    met: list[str] = []
    address = container_document(listing, None)["first"]
    while address:
        page = pages[address]
        assert page["startIndex"] == len(met)
        assert page["partOf"]["total"] == 5
        met += page["items"]
        address = page.get("next")
    assert met == addresses


def test_an_empty_collection_has_no_first_page():
    document = container_document(listing_of(0), None)
    assert (document["total"], "first" in document) == (0, False)


def test_a_container_keeps_its_annotations_in_order_as_a_list():
    listing = listing_of(2)
    items = [export_annotation(make_annotation(iri=f"{HOST}/annotations/{n}"), has_context=False) for n in (2, 1)]
    graph = graph_of(container_document(listing, items))
    page = rdflib.URIRef(listing.page_iri(0))
    activity = rdflib.Namespace("http://www.w3.org/ns/activitystreams#")
    items_node = graph.value(page, activity["items"])
    assert items_node is not None
    ordered = rdflib.collection.Collection(graph, items_node)
    assert [str(item) for item in ordered] == [f"{HOST}/annotations/2", f"{HOST}/annotations/1"]
