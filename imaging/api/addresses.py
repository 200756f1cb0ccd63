"""Templates of addresses that documents carry; `origin` makes them absolute, without it they are this server's own."""

from django.http import HttpRequest
from rest_framework.request import Request

from imaging.models import Pyramid, TechnicalImage

__all__ = ["origin_of", "tile_address_template", "window_address_template"]

_WINDOW_QUERY = ("x_mm", "y_mm", "width_mm", "height_mm", "width_px", "format")


def origin_of(request: HttpRequest | Request) -> str:
    """Return scheme and host under which the reader came, so that the addresses work from where they are."""
    return f"{request.scheme}://{request.get_host()}"


def tile_address_template(pyramid: Pyramid | None, *, origin: str = "") -> str | None:
    """Return the tile template of a pyramid; z = 0 is the coarsest zoom."""
    return f"{origin}/t/{pyramid.pk}/{{z}}/{{x}}/{{y}}" if pyramid else None


def window_address_template(image: TechnicalImage, *, origin: str = "") -> str:
    """Return the template of a rendered window of an image."""
    query = "&".join(f"{name}={{{name}}}" for name in _WINDOW_QUERY)
    return f"{origin}/api/v1/images/{image.pk}/window?{query}"
