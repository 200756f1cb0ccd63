"""Setting up a face's frame, and the document that describes a frame version to the world."""

import dataclasses
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import redirect, render
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from frontend.pages.examination import frame_document, grid_document, image_document, open_fields
from frontend.pages.forms import FrameCorrectionForm
from imaging.access import access_face, access_frame, images_open_to, require_role
from imaging.api.addresses import tile_address_template
from imaging.models import Datum, Face, Frame, PyramidKind, RegistrationStatus, Role, TechnicalImage
from imaging.services.framing import FrameDescription, change_of_measure, correct_frame, current_frame
from imaging.services.publishing import current_pyramid, start_publishing

__all__ = ["correct_face_frame", "show_frame", "show_frame_setup"]


@require_GET
def show_frame_setup(request: HttpRequest, face_id: str) -> HttpResponse:
    """Show an image of the face to click the corner and the edge on, and the measured lengths."""
    face = access_face(request.user, face_id)
    require_role(request.user, face.artwork.study, needed=Role.CONTRIBUTOR)
    return render(request, "frame_setup.html", _setup_context(request, face))


def _setup_context(request: HttpRequest, face: Face, *, form: FrameCorrectionForm | None = None) -> dict[str, Any]:
    """Return what the page shows: an image to set the frame up on, or the form that corrects it."""
    frame = current_frame(face)
    images = images_open_to(request.user).filter(face=face).select_related("campaign").order_by("modality", "-version")
    data = {
        "face": {"id": str(face.pk), "name": face.get_kind_display()},
        "frame": frame_document(frame) if frame else None,
        "stated": {"width_mm": face.artwork.width_mm, "height_mm": face.artwork.height_mm},
        "datums": [{"code": code, "label": str(label)} for code, label in Datum.choices],
        "images": [_raw_document(image) for image in images],
        "frames_url": f"/api/v1/faces/{face.pk}/frames",
        "csrf_token": get_token(request),
        "language": get_language(),
    }
    measured = {name: getattr(frame, name, None) for name in ("width_mm", "height_mm", "size_uncertainty_mm")}
    return {
        "face": face,
        "artwork": face.artwork,
        "frame": frame,
        "data": data,
        "has_image": images.exists(),
        "form": form or FrameCorrectionForm(initial=measured),
    }


def _raw_document(image: TechnicalImage) -> dict[str, Any]:
    """Return an image with the tiles in its own pixels."""
    raw = current_pyramid(image, PyramidKind.RAW_DISPLAY)
    return {
        **image_document(image, is_open=True),
        **open_fields(image),
        "raw_tile_url": tile_address_template(raw),
        "raw_grid": grid_document(raw),
    }


@require_POST
def correct_face_frame(request: HttpRequest, frame_id: str) -> HttpResponse:
    """Make the next version of a frame and lay every image anew; the outline moves with the zero."""
    frame = access_frame(request.user, frame_id)
    author = require_role(request.user, frame.face.artwork.study, needed=Role.CONTRIBUTOR)
    form = FrameCorrectionForm(request.POST)
    if not form.is_valid():
        return render(request, "frame_setup.html", _setup_context(request, frame.face, form=form), status=400)
    stated = form.cleaned_data
    description = FrameDescription(
        width_mm=stated["width_mm"],
        height_mm=stated["height_mm"],
        datum=frame.datum,
        datum_note=frame.datum_note,
        size_uncertainty_mm=stated["size_uncertainty_mm"],
        canvas_pitch_mm=frame.canvas_pitch_mm,
    )
    change = change_of_measure(frame, description, zero_at_mm=(stated["zero_x_mm"], stated["zero_y_mm"]))
    outline_mm = change.new_from_old_mm(frame.outline_mm).tolist()
    description = dataclasses.replace(description, outline_mm=tuple((x_mm, y_mm) for x_mm, y_mm in outline_mm))
    new = correct_frame(frame, description, change=change, made_by=author, reason=stated["reason"])
    for registration in new.registrations.filter(status=RegistrationStatus.ACCEPTED):
        start_publishing(registration, wanted_by=author)
    messages.success(request, _("Corrected. What hangs on the frame was carried over; the tiles are being laid anew."))
    return redirect("frame-setup", frame.face_id)


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
