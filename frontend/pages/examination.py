"""The examination page: two images of one face on one frame, compared, marked and measured."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.middleware.csrf import get_token
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from imaging.access import ROLE_RANK, access_face, images_known_to, images_open_to, role_in_study
from imaging.api.addresses import tile_address_template, window_address_template
from imaging.models import Campaign, Face, FaceKind, Frame, Pyramid, PyramidKind, Role, TechnicalImage, TreatmentState
from imaging.services.framing import current_frame
from imaging.services.publishing import current_pyramid
from imaging.services.registering import current_registration

__all__ = [
    "SHORT_ORDER",
    "examination_data",
    "frame_document",
    "grid_document",
    "image_document",
    "open_fields",
    "short_label",
    "show_examination",
    "state_key",
]


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
    images = [
        image for image in known.order_by("campaign__begun_on", "modality", "version") if _is_newest(image, known)
    ]
    return {
        "face": {"id": str(face.pk), "name": face.get_kind_display(), "is_mirrored": face.kind == FaceKind.BACK},
        "artwork": {
            "id": str(face.artwork_id),
            "title": face.artwork.title,
            "inventory_number": face.artwork.inventory_number,
        },
        "frame": frame_document(frame),
        "states": _state_rows([image.campaign for image in images]),
        "modalities": _modality_columns(images),
        "images": [image_document(image, is_open=image.pk in open_ids) for image in images],
        "annotations_url": f"{reverse('annotation-list')}?face={face.pk}",
        "can_annotate": _may_annotate(request, face),
        "person": str(request.user.pk) if request.user.is_authenticated else None,
        "csrf_token": get_token(request),
        "language": get_language(),
    }


def _is_newest(image: TechnicalImage, known: Any) -> bool:
    """Return whether no known image replaces this one."""
    return not any(other.supersedes_id == image.pk for other in known)


def _may_annotate(request: HttpRequest, face: Face) -> bool:
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


def state_key(campaign: Campaign) -> str:
    """Return what tells a row of the table: the state, and during treatment also its step."""
    return str(campaign.pk) if campaign.state == TreatmentState.DURING else campaign.state


def _state_rows(campaigns: list[Campaign]) -> list[dict[str, Any]]:
    """Return the rows of the table of images, oldest first, with the span of their dates."""
    labels = {"before": _("before"), "during": _("during"), "after": _("after")}
    rows: dict[str, list[Campaign]] = {}
    for campaign in campaigns:
        rows.setdefault(state_key(campaign), []).append(campaign)
    return [
        {"campaign_id": key, "state": group[0].state, "label": labels[group[0].state], "date": _span_of_years(group)}
        for key, group in sorted(rows.items(), key=lambda row: min(str(campaign.begun_on or "") for campaign in row[1]))
    ]


def _span_of_years(campaigns: list[Campaign]) -> str:
    """Return the year of campaigns, or the first and last one."""
    years = sorted({campaign.begun_on.year for campaign in campaigns if campaign.begun_on})
    return "" if not years else str(years[0]) if len(years) == 1 else f"{years[0]}–{years[-1]}"


def _modality_columns(images: list[TechnicalImage]) -> list[dict[str, str]]:
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
    label = short_label(image.modality)
    if image.band_from_nm and image.band_to_nm:
        label = f"{label} {image.band_from_nm:.0f}–{image.band_to_nm:.0f} nm"
    document: dict[str, Any] = {
        "id": str(image.pk),
        "label": label,
        "short_label": short_label(image.modality),
        "modality": image.modality,
        "state": image.campaign.state,
        "campaign_id": state_key(image.campaign),
        "version": image.version,
        "is_closed": not is_open,
        "closed_until": image.embargo_until.isoformat() if image.embargo_until and not is_open else None,
        **dict.fromkeys(_OPEN_FIELDS),
    }
    return {**document, **open_fields(image)} if is_open else document


_OPEN_FIELDS = (
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
    accepted = current_registration(image)
    pyramid = current_pyramid(image, PyramidKind.DISPLAY)
    shown = pyramid.registration if pyramid else None
    if shown is not None and accepted is not None and shown.frame_id != accepted.frame_id:
        # Its millimetres are those of an older frame version; it is being laid anew.
        pyramid = shown = None
    registration = shown or accepted
    return {
        "um_per_px": image.stated_um_per_px or image.file_um_per_px,
        "width_px": image.width_px,
        "height_px": image.height_px,
        "tile_url": tile_address_template(pyramid),
        "window_url": window_address_template(image) if registration else None,
        "grid": grid_document(pyramid),
        "footprint_mm": pyramid.footprint_mm if pyramid else None,
        "registration": {
            "id": str(registration.pk),
            "version": registration.version,
            "method": registration.method,
            "map": _map_document(registration.map),
            "uncertainty": _uncertainty_document(registration.uncertainty),
            "rms_mm": registration.quality.get("check_rms_mm"),
        }
        if registration
        else None,
    }


def grid_document(pyramid: Pyramid | None) -> dict[str, Any] | None:
    """Return where the tiles of a pyramid lie."""
    if pyramid is None or pyramid.grid is None:
        return None
    return {**pyramid.grid, "zooms": pyramid.zooms, "tile_size_px": pyramid.tile_size_px}


# A ten thousandth of a pixel, or of a millimetre: nothing on a screen is finer, and a page travels in half the time.
_DECIMALS = 4


def _map_document(stored: dict[str, Any]) -> dict[str, Any]:
    """Return a map as the viewer takes it, its displacements rounded."""
    displacement = stored["displacement"]
    if displacement is None:
        return stored
    rounded = {name: [round(value, _DECIMALS) for value in displacement[name]] for name in ("dx_px", "dy_px")}
    return {**stored, "displacement": {**displacement, **rounded}}


def _uncertainty_document(stored: dict[str, Any] | None) -> dict[str, Any] | None:
    """Return the grid of 95 % radii as the viewer takes it: null where nothing measured holds the map."""
    if stored is None:
        return None
    radii = zip(stored["u95_mm"], stored["is_extrapolated"], strict=True)
    return {
        **{name: stored[name] for name in ("x0_mm", "y0_mm", "step_mm", "columns", "rows")},
        "u95_mm": [None if is_extrapolated else round(radius_mm, _DECIMALS) for radius_mm, is_extrapolated in radii],
    }
