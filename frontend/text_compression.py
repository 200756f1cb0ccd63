"""Pages and lists travel compressed; pictures, files and what carries an entity tag stay as they are."""

from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.middleware.gzip import GZipMiddleware

__all__ = ["TextCompressionMiddleware"]

_TEXTS = ("text/html", "application/json")


class TextCompressionMiddleware(GZipMiddleware):
    """Compress texts only: JPEG and TIFF gain nothing, and a compressed body would make its entity tag weak."""

    def process_response(self, request: HttpRequest, response: HttpResponseBase) -> HttpResponseBase:
        """Return the response, compressed where that helps a slow link."""
        is_text = response.headers.get("Content-Type", "").startswith(_TEXTS)
        if not isinstance(response, HttpResponse) or not is_text or response.has_header("ETag"):
            return response
        return super().process_response(request, response)
