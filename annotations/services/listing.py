"""The annotations of a face as a collection in pages."""

import datetime as dt
from dataclasses import dataclass
from typing import Any

from django.db.models import Max

from annotations.interop.annotation_page import AnnotationListing
from annotations.interop.web_annotation import export_annotation
from annotations.models import AnnotationQuerySet
from annotations.services.exporting import annotation_iri, container_iri, web_annotation_of
from imaging.errors import NotFoundError
from imaging.models import Face

__all__ = ["PAGE_SIZE", "FaceListing", "listing_of_face"]

#: Annotations a page of a container.
PAGE_SIZE = 100


@dataclass(frozen=True)
class FaceListing:
    """A collection and the rows behind it; the rows came through the door of access."""

    listing: AnnotationListing
    rows: AnnotationQuerySet

    def items(self, number: int) -> list[Any]:
        """Return one page's annotations as documents, or as addresses."""
        if not 0 <= number < self.listing.page_count:
            raise NotFoundError(noun="page", identifier=number)
        start = number * self.listing.page_size
        page = self.rows[start : start + self.listing.page_size]
        if self.listing.has_descriptions:
            return [export_annotation(web_annotation_of(annotation), has_context=False) for annotation in page]
        return [annotation_iri(annotation) for annotation in page]


def listing_of_face(face: Face, rows: AnnotationQuerySet, *, has_descriptions: bool) -> FaceListing:
    """Return the collection of what one reader may see on a face."""
    latest: dt.datetime | None = rows.order_by().aggregate(latest=Max("edited_at"))["latest"]
    listing = AnnotationListing(
        iri=container_iri(face.pk),
        # A document is the same in every language of its readers.
        label=f"{face.artwork.inventory_number} {face.kind}: annotations",
        total=rows.count(),
        page_size=PAGE_SIZE,
        modified=latest,
        has_descriptions=has_descriptions,
    )
    return FaceListing(listing, rows)
