"""What the Web Annotation Data Model demands with MUST, as far as this project's documents meet it.

Source: "Web Annotation Data Model", W3C Recommendation 23 February 2017; each rule carries the clause it comes from
(numbers from memory of that text) and says what it found wrong. Written for these tests, from the text; no schema of
others is used.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any
from urllib.parse import unquote, urlsplit
from xml.etree import ElementTree

import shapely

from tests.standards.annotation_terms import MOTIVATIONS

CONTEXT = "http://www.w3.org/ns/anno.jsonld"
MEDIA_FRAGMENTS = "http://www.w3.org/TR/media-frags/"
AGENTS = {"Person", "Organization", "Software"}
UTC = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z")
LANGUAGE = re.compile(r"[A-Za-z]{2,8}(-[A-Za-z0-9]{1,8})*")
MEDIA_TYPE = re.compile(r"[a-z]+/[a-zA-Z0-9.+-]+(;.*)?")
XYWH = re.compile(r"xywh=(pixel:|percent:)?\d+,\d+,[1-9]\d*,[1-9]\d*")
FRAGMENT = re.compile(r"([A-Za-z0-9\-._~!$&'()*+,;=:@/?]|%[0-9A-Fa-f]{2})*")
SVG_SHAPES = {"path", "rect", "circle", "ellipse", "polyline", "polygon", "g"}
Faults = Iterator[str]


def values(document: dict[str, Any], key: str) -> list[Any]:
    """Return the values of a key that may be absent, single or a list."""
    value = document.get(key, [])
    return value if isinstance(value, list) else [value]


def is_absolute(iri: Any) -> bool:
    """Return whether something is an absolute IRI."""
    return isinstance(iri, str) and " " not in iri and bool(urlsplit(iri).scheme) and bool(urlsplit(iri)[1:3])


def faults_of(document: dict[str, Any]) -> list[str]:
    """Return every broken rule of an annotation document, empty when it is sound."""
    return [*faults_of_annotation(document), *faults_of_parts(document)]


def faults_of_annotation(document: dict[str, Any]) -> Faults:
    """Check the annotation itself."""
    contexts = values(document, "@context")
    if CONTEXT not in contexts:
        yield "3.1: @context must include the context of annotations"
    if len(contexts) == 1 and isinstance(document["@context"], list):
        yield "3.1: a single @context must be a string"
    if not is_absolute(document.get("id")):
        yield "3.1: exactly one absolute IRI as id"
    if "Annotation" not in values(document, "type"):
        yield "3.1: type must include Annotation"
    if not values(document, "target"):
        yield "3.1: one target or more"
    if "body" in document and "bodyValue" in document:
        yield "3.2.5: body and bodyValue must not stand together"
    if not isinstance(document.get("bodyValue", ""), str):
        yield "3.2.5: bodyValue must be one string"
    for key in ("created", "modified", "generated"):
        for moment in values(document, key):
            if not isinstance(moment, str) or not UTC.fullmatch(moment):
                yield f"3.3.1: {key} must be xsd:dateTime in UTC, written with Z"
        if len(values(document, key)) > 1:
            yield f"3.3.1: at most one {key}"
    for motivation in values(document, "motivation"):
        if motivation not in MOTIVATIONS:
            yield f"3.3.5: {motivation} is no motivation"
    for key in ("rights", "via", "canonical"):
        if not all(is_absolute(iri) for iri in values(document, key)):
            yield f"3.3.6/7: {key} must be IRIs"
    if len(values(document, "canonical")) > 1:
        yield "3.3.7: at most one canonical"


def faults_of_parts(document: dict[str, Any]) -> Faults:
    """Check agents, bodies and targets."""
    for key in ("creator", "generator"):
        for agent in values(document, key):
            yield from faults_of_agent(agent)
    for body in values(document, "body"):
        yield from faults_of_body(body)
    for target in values(document, "target"):
        yield from faults_of_target(target)


def faults_of_agent(agent: Any) -> Faults:
    """Check a creator or generator."""
    if isinstance(agent, str):
        if not is_absolute(agent):
            yield "3.3.2: an agent is an IRI or an object"
        return
    if "id" in agent and not is_absolute(agent["id"]):
        yield "3.3.2: at most one IRI as id of an agent"
    if not AGENTS & set(values(agent, "type")):
        yield "3.3.2: an agent is a Person, an Organization or Software"
    if not all(isinstance(name, str) for name in values(agent, "name")):
        yield "3.3.2: names are strings"
    if not all(is_absolute(page) for page in values(agent, "homepage")):
        yield "3.3.2: homepages are IRIs"


def faults_of_body(body: Any) -> Faults:
    """Check a body: an IRI, a text, or a specific resource."""
    if isinstance(body, str):
        if not is_absolute(body):
            yield "3.2.1: a body that is a string must be an IRI"
        return
    kinds = values(body, "type")
    if "TextualBody" in kinds:
        if not isinstance(body.get("value"), str):
            yield "3.2.4: exactly one string as value of a text"
        if not all(isinstance(tag, str) and LANGUAGE.fullmatch(tag) for tag in values(body, "language")):
            yield "3.2.1: languages by BCP 47"
        if not all(isinstance(name, str) and MEDIA_TYPE.fullmatch(name) for name in values(body, "format")):
            yield "3.2.1: formats are media types"
    elif "SpecificResource" in kinds:
        yield from faults_of_source(body)
    elif "purpose" in body:
        yield "4.1: purpose stands on texts and specific resources only"
    elif not is_absolute(body.get("id")):
        yield "3.2.1: exactly one IRI as id of a resource"
    for purpose in values(body, "purpose"):
        if purpose not in MOTIVATIONS:
            yield f"3.3.5: {purpose} is no purpose"


def faults_of_source(resource: dict[str, Any]) -> Faults:
    """Check that a specific resource has one source."""
    sources = values(resource, "source")
    if len(sources) != 1:
        yield "4: exactly one source"
    for source in sources:
        if not is_absolute(source["id"] if isinstance(source, dict) and "id" in source else source):
            yield "4: the source is an IRI"


def faults_of_target(target: Any) -> Faults:
    """Check a target."""
    if isinstance(target, str):
        if not is_absolute(target):
            yield "3.2.1: a target that is a string must be an IRI"
        return
    if "TextualBody" in values(target, "type"):
        yield "3.2.4: a text must not be a target"
    if "SpecificResource" not in values(target, "type"):
        if not is_absolute(target.get("id")):
            yield "3.2.1: exactly one IRI as id of a resource"
        return
    yield from faults_of_source(target)
    for selector in values(target, "selector"):
        yield from faults_of_selector(selector)
    for state in values(target, "state"):
        yield from faults_of_state(state)
    for key in ("scope", "rights"):
        if not all(is_absolute(iri) for iri in values(target, key)):
            yield f"4.6/3.3.6: {key} must be IRIs"


def faults_of_selector(selector: dict[str, Any]) -> Faults:
    """Check a selector."""
    kinds = values(selector, "type")
    if "FragmentSelector" in kinds:
        value = selector.get("value")
        if not isinstance(value, str):
            yield "4.2.1: exactly one value"
            return
        if value.startswith("#") or not FRAGMENT.fullmatch(value):
            yield "4.2.1: the value is a fragment of a URI (RFC 3986, 3.5) without #"
        if len(values(selector, "conformsTo")) > 1 or not all(map(is_absolute, values(selector, "conformsTo"))):
            yield "4.2.1: at most one IRI in conformsTo"
        if selector.get("conformsTo") == MEDIA_FRAGMENTS and not XYWH.fullmatch(value):
            yield "4.2.1: Media Fragments 4.2.2, four whole numbers, width and height above zero"
        if str(selector.get("conformsTo")).endswith("/ns/physical-mm/1"):
            yield from faults_of_millimetres(value)
    elif "SvgSelector" in kinds:
        yield from faults_of_svg(selector.get("value"))
    else:
        yield f"4.2: {kinds} is no selector used here"


def faults_of_millimetres(value: str) -> Faults:
    """Check the project's own fragment: mm= and Well-Known Text."""
    try:
        shape = shapely.from_wkt(unquote(value.removeprefix("mm=")))
    except shapely.errors.ShapelyError:
        yield "own grammar: Well-Known Text after mm="
        return
    if not value.startswith("mm=") or shape.is_empty:
        yield "own grammar: mm= and a shape"


def faults_of_svg(value: Any) -> Faults:
    """Check an SVG selector."""
    if not isinstance(value, str):
        yield "4.2.7: exactly one value"
        return
    try:
        root = ElementTree.fromstring(value)
    except ElementTree.ParseError:
        yield "4.2.7: the SVG must be well-formed XML"
        return
    if root.tag != "{http://www.w3.org/2000/svg}svg":
        yield "4.2.7: the root is svg"
    if root.attrib.keys() & {"viewBox", "width", "height"}:
        yield "4.2.7: coordinates are of the source, no viewport of its own"
    for element in list(root.iter())[1:]:
        if str(element.tag).rpartition("}")[2] not in SVG_SHAPES:
            yield f"4.2.7: {element.tag} is no shape"
        if element.attrib.keys() & {"style", "transform", "class"} or any(
            key.startswith("on") for key in element.attrib
        ):
            yield "4.2.7: no style, script or transform"


def faults_of_state(state: dict[str, Any]) -> Faults:
    """Check a time state."""
    if "TimeState" not in values(state, "type"):
        yield "4.3: only time states are used here"
    for key in ("sourceDate", "sourceDateStart", "sourceDateEnd"):
        for moment in values(state, key):
            if not isinstance(moment, str) or not UTC.fullmatch(moment):
                yield f"4.3.1: {key} must be xsd:dateTime in UTC, written with Z"
    if ("sourceDateStart" in state) != ("sourceDateEnd" in state):
        yield "4.3.1: sourceDateStart and sourceDateEnd come together"
    if "sourceDate" in state and "sourceDateStart" in state:
        yield "4.3.1: a date or a span, not both"
    if not all(is_absolute(iri) for iri in values(state, "cached")):
        yield "4.3.1: cached is an IRI"
