"""What is said: texts, concepts, and bodies that are only carried along (Data Model 3.2.4, 4.1)."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from annotations.interop.document_parts import unknown_keys

__all__ = [
    "MARKDOWN",
    "MOTIVATIONS",
    "Body",
    "ConceptBody",
    "OtherBody",
    "TextBody",
    "body_from_document",
    "body_to_document",
]

MARKDOWN = "text/markdown"
#: The thirteen motivations of the Web Annotation Vocabulary.
MOTIVATIONS = (
    "assessing",
    "bookmarking",
    "classifying",
    "commenting",
    "describing",
    "editing",
    "highlighting",
    "identifying",
    "linking",
    "moderating",
    "questioning",
    "replying",
    "tagging",
)
#: Why somebody says a concept; a term of the context, so that readers of RDF keep it.
_NOTE_KEY = "skos:note"


@dataclass(frozen=True)
class TextBody:
    """A text somebody wrote.

    Parameters
    ----------
    value : str
    purpose : str, optional
        One of ``MOTIVATIONS``: what the text is for.
    language : str, optional
        BCP 47 tag.
    media_type : str, optional
    extra : mapping
        Keys that are not understood here.
    """

    value: str
    purpose: str | None = None
    language: str | None = None
    media_type: str | None = None
    extra: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class ConceptBody:
    """A concept, named by its IRI, that somebody says of the place.

    Parameters
    ----------
    source : str
        IRI of the concept.
    purpose : str, optional
        One of ``MOTIVATIONS``.
    note : str, optional
        A sentence why.
    extra : mapping
        Keys that are not understood here.
    """

    source: str
    purpose: str | None = None
    note: str | None = None
    extra: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class OtherBody:
    """A body in a form that is kept as it came: an IRI, a choice, a picture ..."""

    document: Any


Body = TextBody | ConceptBody | OtherBody


def body_to_document(body: Body) -> Any:
    """Return a body as JSON-LD.

    Examples
    --------
    >>> body_to_document(TextBody("dark line", "describing", "en"))
    {'type': 'TextualBody', 'value': 'dark line', 'purpose': 'describing', 'language': 'en'}
    """
    if isinstance(body, OtherBody):
        return body.document
    if isinstance(body, TextBody):
        document = {"type": "TextualBody", "value": body.value, "purpose": body.purpose, "language": body.language}
        document["format"] = body.media_type
    else:
        document = {"type": "SpecificResource", "source": body.source, "purpose": body.purpose, _NOTE_KEY: body.note}
    return {**{key: value for key, value in document.items() if value is not None}, **body.extra}


def body_from_document(document: Any) -> Body:
    """Return the body of a document; what is not understood stays whole.

    Examples
    --------
    >>> body_from_document({"type": "TextualBody", "value": "dark line", "format": "text/plain"}).media_type
    'text/plain'
    >>> body_from_document("http://example.org/sound.mp3")
    OtherBody(document='http://example.org/sound.mp3')
    """
    if not isinstance(document, dict):
        return OtherBody(document)
    if document.get("type") == "TextualBody" and _has_texts(document, "value", "purpose", "language", "format"):
        extra = unknown_keys(document, {"type", "value", "purpose", "language", "format"})
        texts = document["value"], document.get("purpose"), document.get("language"), document.get("format")
        return TextBody(*texts, extra)
    if document.get("type") == "SpecificResource" and _has_texts(document, "source", "purpose", _NOTE_KEY):
        extra = unknown_keys(document, {"type", "source", "purpose", _NOTE_KEY})
        return ConceptBody(document["source"], document.get("purpose"), document.get(_NOTE_KEY), extra)
    return OtherBody(document)


def _has_texts(document: dict[str, Any], first: str, *others: str) -> bool:
    """Return whether the first key holds a text and the others hold one or are absent."""
    return isinstance(document.get(first), str) and all(
        key not in document or isinstance(document[key], str) for key in others
    )
