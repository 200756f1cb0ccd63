"""The examination page: two images of one face on one frame, compared, marked and measured."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.middleware.csrf import get_token
from django.shortcuts import render
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from imaging.access import ROLE_RANK, access_face, images_known_to, images_open_to, role_in_study
from imaging.api.addresses import tile_address_template, window_address_template
from imaging.models import Campaign, Face, FaceKind, Frame, PyramidKind, Role, TechnicalImage
from imaging.services.framing import current_frame
from imaging.services.publishing import current_pyramid
from imaging.services.registering import current_registration

__all__ = ["examination_data", "show_examination"]


def show_examination(request: HttpRequest, face_id: str) -> HttpResponse:
    """Show the page; without a frame it says what is missing and where to do it."""
    face = access_face(request.user, face_id)
    frame = current_frame(face)
    if frame is None:
        return render(request, "unframed.html", {"face": face, "artwork": face.artwork})
    return render(request, "examination.html", {"examination": examination_data(request, face, frame)})


def examination_data(request: HttpRequest, face: Face, frame: Frame) -> dict[str, Any]:
    """Return what the viewer needs; its shape is written down in viewer/api/contract.ts."""
    known = images_known_to(request.user).filter(face=face).select_related("campaign", "face")
    open_ids = set(images_open_to(request.user).filter(face=face).values_list("pk", flat=True))
    images = [image for image in known.order_by("campaign__begun_on", "modality", "version") if is_newest(image, known)]
    campaigns = {image.campaign_id: image.campaign for image in images}
    return {
        "face": {"id": str(face.pk), "name": face.get_kind_display(), "is_mirrored": face.kind == FaceKind.BACK},
        "artwork": {
            "id": str(face.artwork_id),
            "title": face.artwork.title,
            "inventory_number": face.artwork.inventory_number,
        },
        "frame": frame_document(frame),
        "states": [state_row(campaign) for campaign in campaigns.values()],
        "modalities": modality_columns(images),
        "images": [image_document(image, is_open=image.pk in open_ids) for image in images],
        "annotations_url": f"{reverse('annotation-list')}?face={face.pk}",
        "can_annotate": may_annotate(request, face),
        "csrf_token": get_token(request),
        "language": get_language(),
    }


def is_newest(image: TechnicalImage, known: Any) -> bool:
    """Return whether no known image replaces this one."""
    return not any(other.supersedes_id == image.pk for other in known)


def may_annotate(request: HttpRequest, face: Face) -> bool:
    """Return whether the person may draw here."""
    role = role_in_study(request.user, face.artwork.study_id)
    return role is not None and ROLE_RANK[Role(role)] >= ROLE_RANK[Role.CONTRIBUTOR]


def frame_document(frame: Frame) -> dict[str, Any]:
    """Return a frame as the viewer takes it; the outline closes as GeoJSON rings do."""
    ring = [*frame.outline_mm, frame.outline_mm[0]] if frame.outline_mm else []
    return {
        "id": str(frame.pk),
        "version": frame.version,
        "width_mm": frame.width_mm,
        "height_mm": frame.height_mm,
        "outline_mm": {"type": "Polygon", "coordinates": [ring]} if ring else None,
        "scale_uncertainty": frame.scale_uncertainty,
        "canvas_pitch_mm": frame.canvas_pitch_mm,
    }


def state_row(campaign: Campaign) -> dict[str, Any]:
    """Return one row of the table of images."""
    return {
        "campaign_id": str(campaign.pk),
        "state": campaign.state,
        "label": {"before": _("before"), "during": _("during"), "after": _("after")}[campaign.state],
        "date": date_format(campaign.begun_on, "j M Y") if campaign.begun_on else "",
    }


def modality_columns(images: list[TechnicalImage]) -> list[dict[str, str]]:
    """Return one column per modality present, in the order of the vocabulary."""
    present = {image.modality for image in images}
    return [{"code": code, "label": short_label(code)} for code in SHORT_ORDER if code in present]


SHORT_ORDER = ("VIS", "RAK", "SPC", "TRL", "UVL", "UVR", "NIR", "IRR", "FCIR", "XR", "XRF", "MSI", "MAC")


def short_label(code: str) -> str:
    """Return the word for a modality that fits above a crop."""
    return {
        "VIS": _("Visible"),
        "RAK": _("Raking"),
        "SPC": _("Specular"),
        "TRL": _("Transmitted"),
        "UVL": _("UV"),
        "UVR": _("UV reflected"),
        "NIR": _("Near infrared"),
        "IRR": _("Infrared"),
        "FCIR": _("False colour"),
        "XR": _("X-ray"),
        "XRF": _("XRF"),
        "MSI": _("Multispectral"),
        "MAC": _("Macro"),
    }[code]


def image_document(image: TechnicalImage, *, is_open: bool) -> dict[str, Any]:
    """Return one image; a closed one carries nothing but that it exists and until when it is closed."""
    words = [short_label(image.modality), str(image.campaign.get_state_display())]
    if image.band_from_nm and image.band_to_nm:
        words.insert(1, f"{image.band_from_nm:.0f}–{image.band_to_nm:.0f} nm")
    document: dict[str, Any] = {
        "id": str(image.pk),
        "label": " · ".join([*words, _("version %(number)s") % {"number": image.version}]),
        "short_label": f"{short_label(image.modality)}, {state_row(image.campaign)['label']}",
        "modality": image.modality,
        "state": image.campaign.state,
        "campaign_id": str(image.campaign_id),
        "version": image.version,
        "is_closed": not is_open,
        "closed_until": image.embargo_until.isoformat() if image.embargo_until and not is_open else None,
        **dict.fromkeys(OPEN_FIELDS),
    }
    return {**document, **open_fields(image)} if is_open else document


OPEN_FIELDS = (
    "um_per_px",
    "width_px",
    "height_px",
    "tile_url",
    "window_url",
    "grid",
    "footprint_mm",
    "registration",
)


def open_fields(image: TechnicalImage) -> dict[str, Any]:
    """Return what only those may have to whom the pixels are open; registration and pyramid belong together."""
    pyramid = current_pyramid(image, PyramidKind.DISPLAY)
    registration = pyramid.registration if pyramid else current_registration(image)
    return {
        "um_per_px": image.stated_um_per_px or image.file_um_per_px,
        "width_px": image.width_px,
        "height_px": image.height_px,
        "tile_url": tile_address_template(pyramid),
        "window_url": window_address_template(image) if registration else None,
        "grid": {**pyramid.grid, "zooms": pyramid.zooms, "tile_size_px": pyramid.tile_size_px} if pyramid else None,
        "footprint_mm": pyramid.footprint_mm if pyramid else None,
        "registration": {
            "id": str(registration.pk),
            "version": registration.version,
            "method": registration.method,
            "map": registration.map,
            "uncertainty": registration.uncertainty,
            "rms_mm": registration.quality.get("check_rms_mm"),
        }
        if registration
        else None,
    }
