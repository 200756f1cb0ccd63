"""Rendered windows: any place of a face, in any image, through any of its registrations, from the master."""

import hashlib
import json
from dataclasses import asdict, dataclass

from imaging.compute.maps import FrameMap
from imaging.compute.render.display_tone import DisplayTone
from imaging.compute.render.shown_pixels import ShownPixels
from imaging.compute.render.window import render_window, sample_window, window_grid
from imaging.compute.render.window_encoding import MEDIA_TYPES, encode_values, encode_window
from imaging.errors import UnfitStateError
from imaging.models import Registration, TechnicalImage
from imaging.services.image_sources import open_image_source
from imaging.services.registering import current_registration
from imaging.services.versions import SOFTWARE_VERSION

__all__ = ["WINDOW_FORMATS", "WindowRequest", "render_image_window", "window_tag"]

#: Format -> media type; `tif` carries the master's values, the others what the tone shows.
WINDOW_FORMATS = MEDIA_TYPES


@dataclass(frozen=True)
class WindowRequest:
    """A place and size on the face in mm, a width in pixels, a format."""

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float
    width_px: int
    format: str = "png"


def window_tag(image: TechnicalImage, window: WindowRequest, *, registration: Registration | None) -> str:
    """Return a strong ETag: it changes with master, registration, tone, place and software."""
    registration = registration or current_registration(image)
    parts = [
        str(image.pk),
        str(registration.pk if registration else ""),
        json.dumps(image.tone, sort_keys=True),
        json.dumps(asdict(window), sort_keys=True),
        SOFTWARE_VERSION,
    ]
    return '"' + hashlib.sha256("\n".join(parts).encode()).hexdigest()[:32] + '"'


def render_image_window(
    image: TechnicalImage, window: WindowRequest, *, registration: Registration | None = None
) -> bytes:
    """Return the encoded window; without a registration the accepted one is used."""
    registration = registration or current_registration(image)
    if registration is None:
        raise UnfitStateError(
            noun="image", state="not laid into the frame", needed="registered", remedy="Lay it by points or by scale."
        )
    if image.tone is None:
        raise UnfitStateError(noun="image", state=image.status, needed="read", remedy="Wait until it has been read.")
    grid = window_grid(
        window.x_mm, window.y_mm, width_mm=window.width_mm, height_mm=window.height_mm, width_px=window.width_px
    )
    source, frame_map = open_image_source(image), FrameMap.from_json(registration.map)
    if window.format == "tif":
        return encode_values(sample_window(source, frame_map, grid=grid))
    shown = ShownPixels(source, DisplayTone.from_json(image.tone))
    return encode_window(render_window(source, frame_map, grid=grid, shown=shown), window.format)
