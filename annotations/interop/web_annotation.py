"""One annotation as a document of the Web Annotation Data Model (W3C Recommendation 23 February 2017).

Exporting and importing are pure; the round trip loses nothing: keys that are not understood are
kept and written back. Geometry keeps 0.1 um, pixels 0.01 px.
"""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlsplit

from annotations.errors import DocumentFormatError
from annotations.interop.agents import Agent, agent_from_document, agent_to_document
from annotations.interop.bodies import Body, TextBody, body_from_document, body_to_document
from annotations.interop.document_parts import as_list, moment_of, one_or_many, text_or_none, unknown_keys, utc_text
from annotations.interop.targets import Target, target_from_document, target_to_document

__all__ = [
    "ANNOTATION_CONTEXT",
    "ANNOTATION_MEDIA_TYPE",
    "NUMBER_KEY",
    "TITLE_KEY",
    "WebAnnotation",
    "export_annotation",
    "import_annotation",
]

ANNOTATION_CONTEXT = "http://www.w3.org/ns/anno.jsonld"
#: Media type with the profile of the context (Data Model 1.2, Protocol 3.1).
ANNOTATION_MEDIA_TYPE = f'application/ld+json; profile="{ANNOTATION_CONTEXT}"'
#: Terms of Dublin Core that the context knows, for which the Data Model has no property of its own.
TITLE_KEY, NUMBER_KEY = "dcterms:title", "dcterms:identifier"
_BODY_KEYS = {"body", "bodyValue"}


@dataclass(frozen=True)
class WebAnnotation:
    """What an annotation document says.

    Parameters
    ----------
    iri : str
        Absolute address.
    targets : tuple of Target
        One at least.
    bodies : tuple of Body
    motivation : str, optional
        One of the thirteen; other forms stay in ``extra``.
    title, number : str, optional
        What people call it: a sentence, and a short key such as ``A7``.
    creator, generator : Agent, optional
    created, modified : aware datetime, optional
    rights, via : tuple of str
        IRIs.
    canonical : str, optional
        IRI given by whoever published it first; never changed here.
    other_contexts, other_types : tuple
        JSON-LD contexts and classes beside the one of annotations.
    extra : mapping
        Keys that are not understood here.
    """

    iri: str
    targets: tuple[Target, ...]
    bodies: tuple[Body, ...] = ()
    motivation: str | None = None
    title: str | None = None
    number: str | None = None
    creator: Agent | None = None
    generator: Agent | None = None
    created: dt.datetime | None = None
    modified: dt.datetime | None = None
    rights: tuple[str, ...] = ()
    via: tuple[str, ...] = ()
    canonical: str | None = None
    other_contexts: tuple[Any, ...] = ()
    other_types: tuple[str, ...] = ()
    extra: Mapping[str, Any] = field(default_factory=dict)

    def text_for(self, purpose: str) -> str:
        """Return the first text with a purpose, empty when nobody wrote one."""
        return next((b.value for b in self.bodies if isinstance(b, TextBody) and b.purpose == purpose), "")


def export_annotation(annotation: WebAnnotation, *, has_context: bool = True) -> dict[str, Any]:
    """Return the document of an annotation.

    Parameters
    ----------
    annotation : WebAnnotation
    has_context : bool
        False within a page, which states the context once for all its items.

    Returns
    -------
    document : dict
        Ready for JSON; properties without a value are left out.

    Examples
    --------
    >>> from annotations.interop.targets import OtherTarget
    >>> export_annotation(WebAnnotation("https://example.org/1", (OtherTarget("https://example.org/p"),)))["type"]
    'Annotation'
    """
    contexts = [ANNOTATION_CONTEXT, *annotation.other_contexts]
    # A lone context is a plain text: Data Model 3.1 gives no list for it.
    document: dict[str, Any] = {"@context": one_or_many(contexts)} if has_context else {}
    document |= {"id": annotation.iri, "type": one_or_many(["Annotation", *annotation.other_types])}
    document |= {
        key: value
        for key, value in {
            "motivation": annotation.motivation,
            TITLE_KEY: annotation.title,
            NUMBER_KEY: annotation.number,
            "creator": annotation.creator and agent_to_document(annotation.creator),
            "created": annotation.created and utc_text(annotation.created),
            "modified": annotation.modified and utc_text(annotation.modified),
            "generator": annotation.generator and agent_to_document(annotation.generator),
            "rights": one_or_many(list(annotation.rights)),
            "canonical": annotation.canonical,
            "via": one_or_many(list(annotation.via)),
            "body": one_or_many([body_to_document(body) for body in annotation.bodies]),
            "target": one_or_many([target_to_document(target) for target in annotation.targets]),
        }.items()
        if value not in (None, [])
    }
    return {**document, **annotation.extra}


def import_annotation(document: Any) -> WebAnnotation:
    """Return what an annotation document says.

    Parameters
    ----------
    document : dict
        Parsed JSON; context either the one of annotations or a list with it.

    Raises
    ------
    DocumentFormatError
        If context, type, id or target break the Data Model, or a date cannot be read; it names
        the field.

    Examples
    --------
    >>> document = {"@context": ANNOTATION_CONTEXT, "id": "https://example.org/1", "type": "Annotation",
    ...             "bodyValue": "a dark line", "target": "https://example.org/p", "shoe": 43}
    >>> annotation = import_annotation(document)
    >>> annotation.bodies[0].value, annotation.extra
    ('a dark line', {'shoe': 43})
    """
    if not isinstance(document, dict):
        raise DocumentFormatError(field="document", got=type(document).__name__, needed="one JSON object")
    contexts = _contexts_of(document)
    fields: dict[str, Any] = {}
    understood = {"@context", "id", "type", "target", *_BODY_KEYS, TITLE_KEY, NUMBER_KEY, "created", "modified"}
    for key in ("creator", "generator"):
        agent = agent_from_document(document.get(key))
        if agent is not None:
            fields[key] = agent
            understood.add(key)
    for key in ("rights", "via"):
        values = as_list(document.get(key))
        if all(isinstance(value, str) for value in values):
            fields[key] = tuple(values)
            understood.add(key)
    for key in ("motivation", "canonical"):
        if isinstance(document.get(key), str):
            fields[key] = document[key]
            understood.add(key)
    return WebAnnotation(
        iri=_iri_of(document),
        other_types=tuple(kind for kind in _types_of(document) if kind != "Annotation"),
        targets=_targets_of(document),
        bodies=_bodies_of(document),
        title=text_or_none(document, TITLE_KEY),
        number=text_or_none(document, NUMBER_KEY),
        created=moment_of(document, "created"),
        modified=moment_of(document, "modified"),
        other_contexts=contexts,
        extra=unknown_keys(document, understood),
        **fields,
    )


def _contexts_of(document: dict[str, Any]) -> tuple[Any, ...]:
    """Return the contexts beside the one of annotations, which must be there."""
    contexts = as_list(document.get("@context"))
    if ANNOTATION_CONTEXT not in contexts:
        raise DocumentFormatError(field="@context", got=document.get("@context"), needed=ANNOTATION_CONTEXT)
    return tuple(context for context in contexts if context != ANNOTATION_CONTEXT)


def _types_of(document: dict[str, Any]) -> list[str]:
    """Return the classes of a document, Annotation among them."""
    types = as_list(document.get("type"))
    if "Annotation" not in types:
        raise DocumentFormatError(field="type", got=document.get("type"), needed="Annotation")
    return types


def _iri_of(document: dict[str, Any]) -> str:
    """Return the absolute address of an annotation document."""
    iri = document.get("id")
    if not isinstance(iri, str) or not urlsplit(iri).scheme:
        raise DocumentFormatError(field="id", got=iri, needed="one absolute address")
    return iri


def _targets_of(document: dict[str, Any]) -> tuple[Target, ...]:
    """Return the targets, one at least."""
    targets = as_list(document.get("target"))
    if not targets:
        raise DocumentFormatError(field="target", got="missing", needed="one target or more")
    return tuple(target_from_document(target) for target in targets)


def _bodies_of(document: dict[str, Any]) -> tuple[Body, ...]:
    """Return the bodies; a plain string body becomes the text body that the Data Model says it equals (3.2.5)."""
    if not _BODY_KEYS - document.keys():
        raise DocumentFormatError(field="bodyValue", got="both body and bodyValue", needed="one of them")
    if "bodyValue" in document:
        value = text_or_none(document, "bodyValue")
        return () if value is None else (TextBody(value, media_type="text/plain"),)
    return tuple(body_from_document(body) for body in as_list(document.get("body")))
