"""A JSON-LD context for tests, made here from the tables of the Web Annotation Vocabulary.

Source: "Web Annotation Vocabulary", W3C Recommendation 23 February 2017, section 3 (classes, properties, instances) and
the JSON-LD keys of "Web Annotation Data Model" of the same day. Only the terms that this project writes or reads are
listed; nothing is fetched when tests run.
"""

from __future__ import annotations

from typing import Any

PREFIXES = {
    "oa": "http://www.w3.org/ns/oa#",
    "as": "http://www.w3.org/ns/activitystreams#",
    "dc": "http://purl.org/dc/elements/1.1/",
    "dcterms": "http://purl.org/dc/terms/",
    "foaf": "http://xmlns.com/foaf/0.1/",
    "rdf": "http://www.w3.org/1999/02/22-rdf-syntax-ns#",
    "rdfs": "http://www.w3.org/2000/01/rdf-schema#",
    "skos": "http://www.w3.org/2004/02/skos/core#",
    "xsd": "http://www.w3.org/2001/XMLSchema#",
    "ldp": "http://www.w3.org/ns/ldp#",
}
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
#: JSON key -> class or instance of the vocabulary.
NAMES = {
    "Annotation": "oa:Annotation",
    "AnnotationCollection": "as:OrderedCollection",
    "AnnotationPage": "as:OrderedCollectionPage",
    "BasicContainer": "ldp:BasicContainer",
    "Choice": "oa:Choice",
    "FragmentSelector": "oa:FragmentSelector",
    "Organization": "foaf:Organization",
    "Person": "foaf:Person",
    "Software": "as:Application",
    "SpecificResource": "oa:SpecificResource",
    "SvgSelector": "oa:SvgSelector",
    "TextualBody": "oa:TextualBody",
    "TimeState": "oa:TimeState",
    **{motivation: f"oa:{motivation}" for motivation in MOTIVATIONS},
}
#: JSON key -> property whose value is a text.
TEXTS = {
    "bodyValue": "oa:bodyValue",
    "format": "dc:format",
    "label": "rdfs:label",
    "language": "dc:language",
    "name": "foaf:name",
    "value": "rdf:value",
}
#: JSON key -> property whose value is a resource.
RESOURCES = {
    "body": "oa:hasBody",
    "cached": "oa:cachedSource",
    "canonical": "oa:canonical",
    "conformsTo": "dcterms:conformsTo",
    "creator": "dcterms:creator",
    "first": "as:first",
    "generator": "as:generator",
    "homepage": "foaf:homepage",
    "last": "as:last",
    "next": "as:next",
    "partOf": "as:partOf",
    "prev": "as:prev",
    "refinedBy": "oa:refinedBy",
    "rights": "dcterms:rights",
    "scope": "oa:hasScope",
    "selector": "oa:hasSelector",
    "source": "oa:hasSource",
    "state": "oa:hasState",
    "target": "oa:hasTarget",
    "via": "oa:via",
}
#: JSON key -> property, type of its value.
TYPED = {
    "created": ("dcterms:created", "xsd:dateTime"),
    "modified": ("dcterms:modified", "xsd:dateTime"),
    "sourceDate": ("oa:sourceDate", "xsd:dateTime"),
    "sourceDateEnd": ("oa:sourceDateEnd", "xsd:dateTime"),
    "sourceDateStart": ("oa:sourceDateStart", "xsd:dateTime"),
    "startIndex": ("as:startIndex", "xsd:nonNegativeInteger"),
    "total": ("as:totalItems", "xsd:nonNegativeInteger"),
    "motivation": ("oa:motivatedBy", "@vocab"),
    "purpose": ("oa:hasPurpose", "@vocab"),
}


def annotation_context() -> dict[str, Any]:
    """Return the context that expands the terms of the tables."""
    return {
        **PREFIXES,
        "id": "@id",
        "type": "@type",
        **NAMES,
        **TEXTS,
        **{key: {"@id": iri, "@type": "@id"} for key, iri in RESOURCES.items()},
        **{key: {"@id": iri, "@type": kind} for key, (iri, kind) in TYPED.items()},
        "items": {"@id": "as:items", "@type": "@id", "@container": "@list"},
    }


def with_local_context(document: dict[str, Any]) -> dict[str, Any]:
    """Return a document whose context stands in it, so that no library asks the network for it."""
    return {**document, "@context": annotation_context()}
