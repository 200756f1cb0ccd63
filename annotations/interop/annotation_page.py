"""Collections of annotations as containers and pages (Data Model 5, Web Annotation Protocol 4).

A container is named by an address that ends in a slash; its representations with full annotations
(``?iris=0``) or with addresses only (``?iris=1``) have addresses of their own, and so has each page.
"""

import datetime as dt
from dataclasses import dataclass
from typing import Any

from annotations.interop.document_parts import utc_text
from annotations.interop.web_annotation import ANNOTATION_CONTEXT

__all__ = [
    "CONTAINER_CONSTRAINTS",
    "CONTAINER_TYPE",
    "LDP_CONTEXT",
    "PREFER_DESCRIPTIONS",
    "PREFER_IRIS",
    "PREFER_MINIMAL",
    "AnnotationListing",
    "container_document",
    "page_document",
]

LDP_CONTEXT = "http://www.w3.org/ns/ldp.jsonld"
CONTAINER_TYPE = "http://www.w3.org/ns/ldp#BasicContainer"
#: The rules that a container of annotations keeps beside those of Linked Data Platform.
CONTAINER_CONSTRAINTS = "http://www.w3.org/TR/annotation-protocol/"
PREFER_MINIMAL = "http://www.w3.org/ns/ldp#PreferMinimalContainer"
PREFER_IRIS = "http://www.w3.org/ns/oa#PreferContainedIRIs"
PREFER_DESCRIPTIONS = "http://www.w3.org/ns/oa#PreferContainedDescriptions"


@dataclass(frozen=True)
class AnnotationListing:
    """A collection of annotations in numbered pages.

    Parameters
    ----------
    iri : str
        Address of the container; ends in a slash.
    label : str
    total : int
    page_size : int
        Annotations a page; at least 1.
    modified : aware datetime, optional
        When one of them last changed.
    has_descriptions : bool
        Whether pages hold full annotations or their addresses only.

    Examples
    --------
    >>> listing = AnnotationListing("https://example.org/a/", "marks", total=250, page_size=100)
    >>> listing.page_count, listing.page_iri(2)
    (3, 'https://example.org/a/?iris=0&page=2')
    """

    iri: str
    label: str
    total: int
    page_size: int
    modified: dt.datetime | None = None
    has_descriptions: bool = True

    def __post_init__(self) -> None:
        """Refuse what only a programmer can cause."""
        if not self.iri.endswith("/") or self.total < 0 or self.page_size < 1:
            raise ValueError(f"a listing needs an address that ends in '/', a total and a page size, got {self}")

    @property
    def page_count(self) -> int:
        """Number of pages; an empty collection has none, because an empty page is not legal."""
        return -(-self.total // self.page_size)

    @property
    def representation_iri(self) -> str:
        """Address of this representation of the container."""
        return f"{self.iri}?iris={0 if self.has_descriptions else 1}"

    def page_iri(self, number: int) -> str:
        """Return the address of a page, counted from 0."""
        return f"{self.representation_iri}&page={number}"

    def summary(self) -> dict[str, Any]:
        """Return what container and page both say of the collection."""
        summary: dict[str, Any] = {"label": self.label, "total": self.total}
        if self.modified is not None:
            summary["modified"] = utc_text(self.modified)
        return summary


def page_document(
    listing: AnnotationListing, number: int, *, items: list[Any], is_embedded: bool = False
) -> dict[str, Any]:
    """Return one page of a collection.

    Parameters
    ----------
    listing : AnnotationListing
    number : int
        Counted from 0, below ``listing.page_count``.
    items : list
        Documents without context, or addresses; at least one.
    is_embedded : bool
        Whether the page stands within its container, which then states the context.

    Examples
    --------
    >>> listing = AnnotationListing("https://example.org/a/", "marks", total=3, page_size=2)
    >>> page = page_document(listing, 1, items=["https://example.org/3"])
    >>> page["startIndex"], page["prev"], "next" in page
    (2, 'https://example.org/a/?iris=0&page=0', False)
    """
    if not 0 <= number < listing.page_count or not items:
        raise ValueError(f"page {number} of {listing.page_count} with {len(items)} items cannot be written")
    document: dict[str, Any] = {} if is_embedded else {"@context": ANNOTATION_CONTEXT}
    document |= {"id": listing.page_iri(number), "type": "AnnotationPage"}
    # Within its container the page's collection is already told in full.
    document["partOf"] = (
        listing.representation_iri if is_embedded else {"id": listing.representation_iri, **listing.summary()}
    )
    document["startIndex"] = number * listing.page_size
    if number > 0:
        document["prev"] = listing.page_iri(number - 1)
    if number + 1 < listing.page_count:
        document["next"] = listing.page_iri(number + 1)
    return {**document, "items": items}


def container_document(
    listing: AnnotationListing, first_items: list[Any] | None, *, is_minimal: bool = False
) -> dict[str, Any]:
    """Return the container of a collection.

    Parameters
    ----------
    listing : AnnotationListing
    first_items : list or None
        Items of the first page, which is then embedded; None or empty for none.
    is_minimal : bool
        Whether only the address of the first page is wanted.

    Examples
    --------
    >>> listing = AnnotationListing("https://example.org/a/", "marks", total=0, page_size=100)
    >>> "first" in container_document(listing, None)
    False
    """
    document: dict[str, Any] = {
        "@context": [ANNOTATION_CONTEXT, LDP_CONTEXT],
        "id": listing.iri if is_minimal else listing.representation_iri,
        "type": ["BasicContainer", "AnnotationCollection"],
        **listing.summary(),
    }
    if listing.total:
        is_embedded = bool(first_items) and not is_minimal
        document["first"] = (
            page_document(listing, 0, items=first_items or [], is_embedded=True) if is_embedded else listing.page_iri(0)
        )
        document["last"] = listing.page_iri(listing.page_count - 1)
    return document
