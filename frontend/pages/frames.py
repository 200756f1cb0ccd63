"""Setting up a face's frame, and the document that describes a frame version to the world."""

from typing import Any

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import render
from django.utils.translation import get_language
from django.views.decorators.http import require_GET

from frontend.pages.examination import frame_document, grid_document, image_document, open_fields
from imaging.access import access_face, access_frame, images_open_to, require_role
from imaging.api.addresses import tile_address_template
from imaging.models import Datum, Frame, PyramidKind, Role, TechnicalImage
from imaging.services.framing import current_frame
from imaging.services.publishing import current_pyramid

__all__ = ["show_frame", "show_frame_setup"]


@require_GET
def show_frame_setup(request: HttpRequest, face_id: str) -> HttpResponse:
    """Show an image of the face to click the corner and the edge on, and the measured lengths."""
    face = access_face(request.user, face_id)
    require_role(request.user, face.artwork.study, needed=Role.CONTRIBUTOR)
    frame = current_frame(face)
    images = images_open_to(request.user).filter(face=face).select_related("campaign").order_by("modality", "-version")
    data = {
        "face": {"id": str(face.pk), "name": face.get_kind_display()},
        "frame": frame_document(frame) if frame else None,
        "stated": {"width_mm": face.artwork.width_mm, "height_mm": face.artwork.height_mm},
        "datums": [{"code": code, "label": str(label)} for code, label in Datum.choices],
        "images": [_raw_document(image) for image in images],
        "frames_url": f"/api/v1/faces/{face.pk}/frames",
        "corrections_url": f"/api/v1/frames/{frame.pk}/corrections" if frame else None,
        "csrf_token": get_token(request),
        "language": get_language(),
    }
    context = {"face": face, "artwork": face.artwork, "frame": frame, "data": data, "has_image": images.exists()}
    return render(request, "frame_setup.html", context)


def _raw_document(image: TechnicalImage) -> dict[str, Any]:
    """Return an image with the tiles in its own pixels."""
    raw = current_pyramid(image, PyramidKind.RAW_DISPLAY)
    return {
        **image_document(image, is_open=True),
        **open_fields(image),
        "raw_tile_url": tile_address_template(raw),
        "raw_grid": grid_document(raw),
    }


@require_GET
def show_frame(request: HttpRequest, frame_id: str) -> HttpResponse:
    """Answer a frame version as a page or as JSON: zero point, axes, size, uncertainty, outline, way from the last."""
    frame = access_frame(request.user, frame_id)
    if not request.accepts("text/html"):
        return JsonResponse(_frame_description(frame))
    return render(request, "frame.html", {"frame": frame, "artwork": frame.face.artwork})


def _frame_description(frame: Frame) -> dict[str, Any]:
    """Return a frame version as a document that can be read without this program."""
    return {
        "id": str(frame.pk),
        "face": str(frame.face_id),
        "version": frame.version,
        "unit": "mm",
        "axes": {"x": "right", "y": "down"},
        "datum": frame.datum,
        "datum_note": frame.datum_note,
        "size_mm": [frame.width_mm, frame.height_mm],
        "size_uncertainty_mm_95": frame.size_uncertainty_mm,
        "scale_uncertainty_relative_1_sigma": frame.scale_uncertainty,
        "canvas_pitch_mm": frame.canvas_pitch_mm,
        "outline_mm": frame.outline_mm,
        "mm_from_previous_version_mm": frame.mm_from_previous_mm,
        "made_at": frame.made_at.isoformat().replace("+00:00", "Z"),
    }
