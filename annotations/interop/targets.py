"""Where it is said: a place on a source, in millimetres of the frame and pixels of the source.

The selectors of one target describe the same area (Data Model 4.2): a box in whole pixels for
simple readers, the shape in pixels as SVG, and the shape in frame millimetres, which is the truth.
"""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from shapely.geometry.base import BaseGeometry

from annotations.errors import DocumentFormatError, SelectorFormatError
from annotations.interop.document_parts import as_list, moment_of, one_or_many, text_or_none, unknown_keys, utc_text
from annotations.interop.media_fragment import (
    MEDIA_FRAGMENTS_IRI,
    Box,
    box_from_media_fragment,
    media_fragment_of,
)
from annotations.interop.mm_fragment import PHYSICAL_MM_PATH, geometry_from_mm_fragment, mm_fragment_of
from annotations.interop.svg_shape import shape_from_svg, svg_of

__all__ = ["OtherTarget", "PlacedTarget", "SourceState", "Target", "target_from_document", "target_to_document"]

_STATE_KEYS = {"type", "sourceDate", "sourceDateStart", "sourceDateEnd", "cached"}


@dataclass(frozen=True)
class SourceState:
    """When the source was as the annotation speaks of it (Data Model 4.3.1).

    Parameters
    ----------
    begun_at, ended_at : aware datetime, optional
        Equal for one date; both or none.
    cached : str, optional
        IRI of a frozen copy.
    extra : mapping
        Keys that are not understood here.
    """

    begun_at: dt.datetime | None = None
    ended_at: dt.datetime | None = None
    cached: str | None = None
    extra: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class PlacedTarget:
    """A place on a source.

    Parameters
    ----------
    source : str
        IRI of the frame version or the image.
    shape_mm : shapely geometry, mm, optional
        In the frame; rounded to 0.1 um when written.
    shape_px : shapely geometry, px, optional
        In continuous pixels of the source; rounded to 0.01 px when written.
    box_px : 4 ints, px, optional
        Box of whole pixels around the shape.
    mm_profile : str
        IRI of the grammar of the millimetre fragment; needed when ``shape_mm`` is given.
    state : SourceState, optional
    scope : str, optional
        IRI of the frame that the millimetres belong to.
    rights : str, optional
        Rights statement of the source.
    other_selectors : tuple
        Selectors that are kept as they came.
    selector_extras : mapping
        Unknown keys of the three selectors, by ``box``, ``svg`` and ``mm``.
    extra : mapping
        Keys that are not understood here.
    """

    source: str
    shape_mm: BaseGeometry | None = None
    shape_px: BaseGeometry | None = None
    box_px: Box | None = None
    mm_profile: str = ""
    state: SourceState | None = None
    scope: str | None = None
    rights: str | None = None
    other_selectors: tuple[Any, ...] = ()
    selector_extras: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    extra: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class OtherTarget:
    """A target in a form that is kept as it came."""

    document: Any


Target = PlacedTarget | OtherTarget


def _state_to_document(state: SourceState) -> dict[str, Any]:
    """Return a time state as JSON-LD."""
    document: dict[str, Any] = {"type": "TimeState"}
    if state.begun_at is not None and state.ended_at is not None:
        if state.begun_at == state.ended_at:
            document["sourceDate"] = utc_text(state.begun_at)
        else:
            document["sourceDateStart"] = utc_text(state.begun_at)
            document["sourceDateEnd"] = utc_text(state.ended_at)
    if state.cached:
        document["cached"] = state.cached
    return {**document, **state.extra}


def _state_from_document(document: Any) -> SourceState | None:
    """Return the time state of a document, None when it is of another kind."""
    if not isinstance(document, dict) or document.get("type") != "TimeState":
        return None
    cached = document.get("cached")
    if isinstance(document.get("sourceDate"), list) or not isinstance(cached, str | None):
        return None
    date = moment_of(document, "sourceDate")
    begun_at, ended_at = moment_of(document, "sourceDateStart"), moment_of(document, "sourceDateEnd")
    if (begun_at is None) != (ended_at is None) or (date is not None and begun_at is not None):
        needed = "sourceDate alone, or sourceDateStart together with sourceDateEnd"
        raise DocumentFormatError(field="state", got=document, needed=needed)
    return SourceState(date or begun_at, date or ended_at, cached, unknown_keys(document, _STATE_KEYS))


def _selectors_to_documents(target: PlacedTarget) -> list[Any]:
    """Return the selectors of a target, the coarsest first, so that simple readers find one they know."""
    documents: list[Any] = []
    fragment = {"type": "FragmentSelector"}
    extras = target.selector_extras
    if target.box_px is not None:
        value = media_fragment_of(target.box_px)
        documents.append({**fragment, "conformsTo": MEDIA_FRAGMENTS_IRI, "value": value, **extras.get("box", {})})
    if target.shape_px is not None:
        documents.append({"type": "SvgSelector", "value": svg_of(target.shape_px), **extras.get("svg", {})})
    if target.shape_mm is not None:
        value = mm_fragment_of(target.shape_mm)
        documents.append({**fragment, "conformsTo": target.mm_profile, "value": value, **extras.get("mm", {})})
    return [*documents, *target.other_selectors]


def target_to_document(target: Target) -> Any:
    """Return a target as JSON-LD.

    Examples
    --------
    >>> import shapely
    >>> place = PlacedTarget("https://example.org/images/1/", shape_px=shapely.Point(7, 8))
    >>> target_to_document(place)["selector"]["type"]
    'SvgSelector'
    """
    if isinstance(target, OtherTarget):
        return target.document
    document: dict[str, Any] = {"type": "SpecificResource", "source": target.source}
    selectors = _selectors_to_documents(target)
    if selectors:
        document["selector"] = one_or_many(selectors)
    if target.state is not None:
        document["state"] = _state_to_document(target.state)
    optional = {"scope": target.scope, "rights": target.rights}
    document |= {key: value for key, value in optional.items() if value is not None}
    return {**document, **target.extra}


def target_from_document(document: Any) -> Target:
    """Return the target of a document; forms that are not understood stay whole.

    Raises
    ------
    DocumentFormatError, SelectorFormatError
        If a selector or state of a kind that is understood cannot be read.

    Examples
    --------
    >>> target_from_document("http://example.org/page1")
    OtherTarget(document='http://example.org/page1')
    """
    if not isinstance(document, dict) or document.get("type") != "SpecificResource":
        return OtherTarget(document)
    if not isinstance(document.get("source"), str):
        return OtherTarget(document)
    found = _read_selectors(as_list(document.get("selector")))
    state = _state_from_document(document.get("state"))
    known = {"type", "source", "selector", "scope", "rights"} | ({"state"} if state is not None else set())
    return PlacedTarget(
        source=document["source"],
        state=state,
        scope=text_or_none(document, "scope"),
        rights=text_or_none(document, "rights"),
        extra=unknown_keys(document, known),
        **found,
    )


def _read_selectors(documents: list[Any]) -> dict[str, Any]:
    """Return the fields of a target that its selectors fill."""
    found: dict[str, Any] = {}
    extras: dict[str, dict[str, Any]] = {}
    others: list[Any] = []
    for document in documents:
        kind = _kind_of_selector(document)
        field_name = {"box": "box_px", "svg": "shape_px", "mm": "shape_mm"}.get(kind)
        if field_name is None or field_name in found:
            others.append(document)
            continue
        read = {"box": box_from_media_fragment, "svg": shape_from_svg, "mm": geometry_from_mm_fragment}[kind]
        found[field_name] = read(document["value"])
        if kind == "mm":
            found["mm_profile"] = document["conformsTo"]
        extra = unknown_keys(document, {"type", "value"} if kind == "svg" else {"type", "value", "conformsTo"})
        if extra:
            extras[kind] = extra
    return {**found, "selector_extras": extras, "other_selectors": tuple(others)}


def _kind_of_selector(document: Any) -> str:
    """Return box, svg or mm for a selector that is understood, otherwise an empty text."""
    # A refined selector means another area than its own value says.
    if not isinstance(document, dict) or "refinedBy" in document or not isinstance(document.get("value"), str):
        return ""
    if document.get("type") == "SvgSelector":
        return "svg"
    conforms_to = document.get("conformsTo")
    if document.get("type") != "FragmentSelector" or not isinstance(conforms_to, str):
        return ""
    if conforms_to.endswith(PHYSICAL_MM_PATH):
        return "mm"
    is_box = conforms_to == MEDIA_FRAGMENTS_IRI and _is_pixel_box(document["value"])
    return "box" if is_box else ""


def _is_pixel_box(fragment: str) -> bool:
    """Return whether a media fragment is a box in pixels; a time range or a box in percent is only kept."""
    try:
        box_from_media_fragment(fragment)
    except SelectorFormatError:
        return False
    return True
