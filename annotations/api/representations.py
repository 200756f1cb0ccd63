"""Answers of addresses that speak JSON-LD: media types, tags, links, and what a browser of another origin may read."""

import hashlib
import json
from typing import Any

from django.http import HttpResponse
from django.utils.cache import patch_vary_headers
from rest_framework.negotiation import BaseContentNegotiation
from rest_framework.request import Request
from rest_framework.views import APIView

from annotations.errors import AnnotationError
from annotations.interop.web_annotation import ANNOTATION_MEDIA_TYPE
from imaging.errors import ImagingError

__all__ = ["HTML", "JSON_LD_TYPES", "LinkedDataView", "json_ld_answer", "preferred_type"]

HTML = "text/html"
#: The first is the answer to a request that does not say what it accepts (Protocol 3.1).
JSON_LD_TYPES = (ANNOTATION_MEDIA_TYPE, "application/json")
_EXPOSED_HEADERS = "ETag, Link, Content-Location, Allow, Vary"


class _LaterNegotiation(BaseContentNegotiation):
    """Leaves the choice to the view, which offers more than renderers of data."""

    def select_parser(self, request: Any, parsers: Any) -> Any:
        """Return the first parser; these addresses take no bodies."""
        return parsers[0]

    def select_renderer(self, request: Any, renderers: Any, format_suffix: str | None = None) -> Any:
        """Return the first renderer; it is only used for problems."""
        return renderers[0], renderers[0].media_type


class LinkedDataView(APIView):
    """A page or document for people and programs, signed in by session or by token."""

    content_negotiation_class = _LaterNegotiation

    def handle_exception(self, exc: Exception) -> Any:
        """Leave our own errors to the middleware, which answers people with a page."""
        if isinstance(exc, ImagingError | AnnotationError):
            raise exc
        return super().handle_exception(exc)

    def options(self, request: Any, *args: Any, **kwargs: Any) -> Any:
        """Return what may be asked of this address; asking needs no sign-in."""
        response = HttpResponse(status=200)
        for name, value in self.link_headers().items():
            response[name] = value
        return _open_to_other_origins(response)

    def link_headers(self) -> dict[str, str]:
        """Return the headers that tell what kind of resource this is."""
        return {}


def preferred_type(request: Request, offered: tuple[str, ...]) -> str | None:
    """Return the media type among those offered that the reader likes best; None when none fits."""
    chosen: str | None = request._request.get_preferred_type(offered)
    return chosen


def _open_to_other_origins(response: HttpResponse) -> HttpResponse:
    """Let scripts of any origin read the answer; cookies of the reader are never sent along with such requests."""
    response["Access-Control-Allow-Origin"] = "*"
    response["Access-Control-Allow-Headers"] = "Accept, Authorization, If-None-Match, Prefer"
    response["Access-Control-Allow-Methods"] = "GET, HEAD, OPTIONS"
    response["Access-Control-Expose-Headers"] = _EXPOSED_HEADERS
    return response


def json_ld_answer(
    request: Request, document: dict[str, Any], *, media_type: str, headers: dict[str, str], vary: tuple[str, ...] = ()
) -> HttpResponse:
    """Return a document with its tag, or 304 when the reader has it already."""
    content = json.dumps(document, ensure_ascii=False, indent=1).encode()
    tag = f'"{hashlib.sha256(media_type.encode() + content).hexdigest()[:32]}"'
    response = HttpResponse(content, content_type=media_type)
    if tag in [known.strip().removeprefix("W/") for known in request.headers.get("If-None-Match", "").split(",")]:
        response = HttpResponse(status=304)
    for name, value in headers.items():
        response[name] = value
    response["ETag"] = tag
    # What one reader may see another may not: each copy is asked for again.
    response["Cache-Control"] = "private, no-cache"
    patch_vary_headers(response, ("Accept", *vary, "Authorization", "Cookie"))
    return _open_to_other_origins(response)
