"""The container of a face's annotations: the reading part of the Web Annotation Protocol."""

from typing import Any

from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework.exceptions import NotAcceptable
from rest_framework.request import Request

from annotations.access import annotations_of_face
from annotations.api.representations import JSON_LD_TYPES, LinkedDataView, json_ld_answer, preferred_type
from annotations.interop.annotation_page import (
    CONTAINER_CONSTRAINTS,
    CONTAINER_TYPE,
    PREFER_IRIS,
    PREFER_MINIMAL,
    container_document,
    page_document,
)
from annotations.services.listing import FaceListing, listing_of_face
from imaging.access import access_face
from imaging.errors import NotFoundError

__all__ = ["FaceContainer"]


@extend_schema(exclude=True)
class FaceContainer(LinkedDataView):
    """What is said about a face, as a container with pages; read only, drawing goes through the API."""

    def link_headers(self) -> dict[str, str]:
        """Return the kind of resource and the rules it keeps."""
        constraints = f'<{CONTAINER_CONSTRAINTS}>; rel="http://www.w3.org/ns/ldp#constrainedBy"'
        return {"Link": f'<{CONTAINER_TYPE}>; rel="type", {constraints}'}

    def get(self, request: Request, pk: str) -> HttpResponse:
        """Return the container, or one of its pages."""
        face = access_face(request.user, pk)
        media_type = preferred_type(request, JSON_LD_TYPES)
        if media_type is None:
            raise NotAcceptable
        preference = request.headers.get("Prefer", "")
        # The address of a representation says what is wanted; only the bare one asks the header.
        has_descriptions = request.query_params.get("iris", "1" if PREFER_IRIS in preference else "0") != "1"
        rows = annotations_of_face(request.user, face)
        found = listing_of_face(face, rows, has_descriptions=has_descriptions)
        document = self._document(found, preference=preference, page=request.query_params.get("page"))
        headers = {**self.link_headers(), "Content-Location": document["id"]}
        return json_ld_answer(request, document, media_type=media_type, headers=headers, vary=("Prefer",))

    def _document(self, found: FaceListing, *, preference: str, page: str | None) -> dict[str, Any]:
        """Return the page that was asked for, or the container in the preferred fullness."""
        if page is not None:
            if not (page.isascii() and page.isdigit() and len(page) < 10):
                raise NotFoundError(noun="page", identifier=page)
            return page_document(found.listing, int(page), items=found.items(int(page)))
        is_minimal = PREFER_MINIMAL in preference
        first_items = None if is_minimal or not found.listing.total else found.items(0)
        return container_document(found.listing, first_items, is_minimal=is_minimal)
