"""The language of the page: what the person chose, else what the browser asks for."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.utils import translation

__all__ = ["ReaderLanguageMiddleware"]


class ReaderLanguageMiddleware:
    """Activate the reader's language; stored values never depend on it."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer in the reader's language and say so in Content-Language."""
        chosen = getattr(request.user, "language", None) if request.user.is_authenticated else None
        language = chosen or translation.get_language_from_request(request)
        with translation.override(language):
            request.LANGUAGE_CODE = language
            response = self.get_response(request)
            response.headers.setdefault("Content-Language", language)
            return response
