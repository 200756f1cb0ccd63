"""The address of one annotation: a page for people, a Web Annotation for programs."""

from typing import Any
from urllib.parse import urlencode

from django.http import HttpResponse
from django.shortcuts import render
from django.utils.cache import patch_vary_headers
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema
from rest_framework.exceptions import NotAcceptable
from rest_framework.request import Request

from annotations.access import access_annotation
from annotations.api.representations import HTML, JSON_LD_TYPES, LinkedDataView, json_ld_answer, preferred_type
from annotations.interop.markdown_text import html_of_markdown
from annotations.interop.mm_fragment import mm_text_of
from annotations.interop.web_annotation import export_annotation
from annotations.models import Annotation
from annotations.services.citing import citation_of
from annotations.services.exporting import annotation_iri, web_annotation_of
from annotations.services.history import Change, Revision, revisions_of
from annotations.services.measuring import measurements_of
from annotations.services.placing import shape_of

__all__ = ["AnnotationPage"]

_RESOURCE_TYPE = '<http://www.w3.org/ns/ldp#Resource>; rel="type"'
#: The examination page opens so that a shape is about so large; a point with about so much around it.
_SHAPE_ON_SCREEN_PX = 360
_SMALLEST_VIEW_MM = 20.0


@extend_schema(exclude=True)
class AnnotationPage(LinkedDataView):
    """One annotation at the address that names it for good."""

    def link_headers(self) -> dict[str, str]:
        """Return the kind of resource that the Web Annotation Protocol asks for."""
        return {"Link": _RESOURCE_TYPE}

    def get(self, request: Request, pk: str) -> HttpResponse:
        """Answer in the form that the reader likes best."""
        annotation = access_annotation(request.user, pk)
        media_type = preferred_type(request, (*JSON_LD_TYPES, HTML))
        if media_type is None:
            raise NotAcceptable
        if media_type == HTML:
            return _page_of(request, annotation)
        document = export_annotation(web_annotation_of(annotation))
        headers = {"Link": _link_to(annotation, media_type=HTML)}
        return json_ld_answer(request, document, media_type=media_type, headers=headers)


def _link_to(annotation: Annotation, *, media_type: str) -> str:
    """Return the Link header: what kind of resource this is, and the other form it comes in."""
    return f'{_RESOURCE_TYPE}, <{annotation_iri(annotation)}>; rel="alternate"; type="{media_type}"'


def _page_of(request: Request, annotation: Annotation) -> HttpResponse:
    """Return the page for people."""
    context: dict[str, Any] = {
        "annotation": annotation,
        "artwork": annotation.face.artwork,
        # The cleaner has let nothing through but a fixed list of elements.
        "observation_html": SafeString(html_of_markdown(annotation.observation)),
        "interpretation_html": SafeString(html_of_markdown(annotation.interpretation)),
        "measurements": measurements_of(annotation),
        "geometry_text": mm_text_of(shape_of(annotation)),
        "revisions": [_row_of(revision) for revision in revisions_of(annotation)],
        "citation": citation_of(annotation),
        "place_query": _place_query(annotation),
    }
    response = render(request._request, "annotation.html", context)
    response["Link"] = _link_to(annotation, media_type="application/ld+json")
    response["Cache-Control"] = "private, no-cache"
    patch_vary_headers(response, ("Accept", "Authorization", "Cookie"))
    return response


def _place_query(annotation: Annotation) -> str:
    """Return the query under which the examination page shows the place, with some of its surroundings."""
    width_mm, height_mm = annotation.max_x_mm - annotation.min_x_mm, annotation.max_y_mm - annotation.min_y_mm
    view = {
        "x": f"{annotation.min_x_mm + width_mm / 2:.3f}",
        "y": f"{annotation.min_y_mm + height_mm / 2:.3f}",
        "mm-per-px": f"{max(width_mm, height_mm, _SMALLEST_VIEW_MM) / _SHAPE_ON_SCREEN_PX:.6f}",
        "b": annotation.drawn_on_image_id,
        "mark": annotation.pk,
    }
    return urlencode({name: value for name, value in view.items() if value is not None})


def _row_of(revision: Revision) -> dict[str, Any]:
    """Return a revision with the names that people call its fields."""
    changes = [
        {**vars(change), "name": _name_of(change), "is_geometry": _is_drawn(change)} for change in revision.changes
    ]
    return {**vars(revision), "changes": changes}


def _is_drawn(change: Change) -> bool:
    """Return whether a change is one of shape, which no row of text can show."""
    return change.field == "geometry"


def _name_of(change: Change) -> str:
    """Return what people call the field of a change."""
    names = {"geometry": _("shape"), "frame": _("frame version"), "status": _("state")}
    columns = {column.name: str(column.verbose_name) for column in Annotation._meta.fields}
    return {**columns, **names}[change.field]
