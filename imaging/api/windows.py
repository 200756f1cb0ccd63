"""Rendered windows: any place of the frame, from the master, through any registration."""

from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseNotModified
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.views import APIView

from imaging.access import access_image, access_registration
from imaging.errors import FieldRefusedError
from imaging.models import Registration, TechnicalImage
from imaging.services.windows import WINDOW_FORMATS, WindowRequest, render_image_window, window_tag

__all__ = ["ImageWindow"]


class _WindowQuery(serializers.Serializer[Any]):
    """Place and size in mm, width in pixels; the height follows from the shape of the window."""

    x_mm = serializers.FloatField(min_value=-100_000, max_value=100_000)
    y_mm = serializers.FloatField(min_value=-100_000, max_value=100_000)
    width_mm = serializers.FloatField(min_value=0.001, max_value=100_000)
    height_mm = serializers.FloatField(min_value=0.001, max_value=100_000)
    width_px = serializers.IntegerField(min_value=1, max_value=8192)
    format = serializers.ChoiceField(choices=sorted(WINDOW_FORMATS), default="png")
    registration = serializers.UUIDField(required=False)


_PARAMETERS = [
    OpenApiParameter(name, OpenApiTypes.DOUBLE, required=True) for name in ("x_mm", "y_mm", "width_mm", "height_mm")
] + [
    OpenApiParameter("width_px", OpenApiTypes.INT, required=True),
    OpenApiParameter("format", OpenApiTypes.STR, enum=sorted(WINDOW_FORMATS)),
    OpenApiParameter("registration", OpenApiTypes.UUID, description="Default: the accepted one."),
]


class ImageWindow(APIView):
    """A window of an image laid into the frame: toned 8-bit, or raw samples as TIFF."""

    # Another format is a question of this address, not of content negotiation.
    format_kwarg = None

    def perform_content_negotiation(self, request: Request, force: bool = False) -> Any:
        """Answer errors as JSON whatever `format` says."""
        renderer = self.get_renderers()[0]
        return renderer, renderer.media_type

    @extend_schema(parameters=_PARAMETERS, responses={(200, "image/png"): OpenApiTypes.BINARY})
    def get(self, request: Request, pk: str) -> HttpResponse:
        """Render it; the answer may be kept as long as image, registration and tone stay the same."""
        image = access_image(request.user, pk)
        query = _WindowQuery(data=request.query_params)
        query.is_valid(raise_exception=True)
        data = dict(query.validated_data)
        registration_id = data.pop("registration", None)
        registration = access_registration(request.user, registration_id) if registration_id else None
        if registration is not None and registration.image_id != image.pk:
            raise FieldRefusedError(field="registration", given=str(registration_id), needed="one of this image")
        return _window_response(request, image, registration, WindowRequest(**data))


def _window_response(
    request: HttpRequest | Request, image: TechnicalImage, registration: Registration | None, window: WindowRequest
) -> HttpResponse:
    """Return the rendered window, or 304 when the reader has it."""
    tag = window_tag(image, window, registration=registration)
    headers = {"ETag": tag, "Cache-Control": "private, no-cache", "Vary": "Cookie, Authorization"}
    if tag in request.headers.get("If-None-Match", ""):
        return HttpResponseNotModified(headers=headers)
    rendered = render_image_window(image, window, registration=registration)
    return HttpResponse(rendered, content_type=WINDOW_FORMATS[window.format], headers=headers)
