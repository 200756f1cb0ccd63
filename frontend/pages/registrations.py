"""Judging a registration, and setting the control points that make one."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.middleware.csrf import get_token
from django.shortcuts import redirect, render
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from frontend.pages.examination import SHORT_ORDER, frame_document, grid_document, image_document, open_fields
from imaging.access import access_image, access_registration, images_open_to, require_role, role_in_study
from imaging.api.addresses import tile_address_template, window_address_template
from imaging.models import PyramidKind, Registration, RegistrationStatus, Role, TechnicalImage
from imaging.services.framing import current_frame
from imaging.services.publishing import current_pyramid, start_publishing
from imaging.services.registering import accept_registration, refuse_registration

__all__ = ["judge_registration", "show_points", "show_registration"]


@require_GET
def show_registration(request: HttpRequest, registration_id: str) -> HttpResponse:
    """Show the figures, the points and six places to judge by eye."""
    registration = access_registration(request.user, registration_id)
    image = registration.image
    role = role_in_study(request.user, image.study.pk)
    judged = [RegistrationStatus.ACCEPTED, RegistrationStatus.REPLACED]
    before = image.registrations.filter(version__lt=registration.version, status__in=judged).last()
    context = {
        "registration": registration,
        "image": image,
        "artwork": image.face.artwork,
        "before": before,
        "points": registration.points.order_by("kind", "label"),
        "places": _places_to_judge(request, registration),
        "may_judge": role in (Role.CONTRIBUTOR, Role.LEAD) and registration.status == RegistrationStatus.CANDIDATE,
    }
    return render(request, "registration.html", context)


#: Places shown for judging by eye, as shares of the frame: the corners and the middle bands.
_JUDGED_SHARES = ((0.06, 0.06), (0.94, 0.06), (0.5, 0.35), (0.5, 0.65), (0.06, 0.94), (0.94, 0.94))
_JUDGED_SHARE_OF_WIDTH = 0.1


def _places_to_judge(request: HttpRequest, registration: Registration) -> list[dict[str, Any]]:
    """Return pairs of windows of the same places: the reference as accepted, this image through this registration."""
    frame, reference = registration.frame, _reference_image(request, registration)
    side_mm = frame.width_mm * _JUDGED_SHARE_OF_WIDTH
    places = []
    for x_share, y_share in _JUDGED_SHARES:
        x_mm, y_mm = frame.width_mm * x_share - side_mm / 2, frame.height_mm * y_share - side_mm * 0.3
        query = (
            f"?x_mm={x_mm:.2f}&y_mm={y_mm:.2f}&width_mm={side_mm:.2f}&height_mm={side_mm * 0.6:.2f}"
            "&width_px=300&format=jpg"
        )
        own = f"/api/v1/images/{registration.image_id}/window{query}&registration={registration.pk}"
        other = f"/api/v1/images/{reference.pk}/window{query}" if reference else None
        places.append({"x_mm": x_mm + side_mm / 2, "y_mm": y_mm + side_mm * 0.3, "own": own, "reference": other})
    return places


def _reference_image(request: HttpRequest, registration: Registration) -> TechnicalImage | None:
    """Return the visible image that the face is usually judged against, if one is laid and open to the reader."""
    laid = images_open_to(request.user).filter(
        face=registration.image.face_id, registrations__status=RegistrationStatus.ACCEPTED
    )
    return (
        laid.exclude(pk=registration.image_id).filter(modality="VIS").order_by("campaign__begun_on", "-version").first()
    )


@require_POST
def judge_registration(request: HttpRequest, registration_id: str) -> HttpResponse:
    """Accept and publish, or refuse with a reason."""
    registration = access_registration(request.user, registration_id)
    judge = require_role(request.user, registration.image.study, needed=Role.CONTRIBUTOR)
    reason = request.POST.get("reason", "").strip()
    if request.POST.get("do") == "accept":
        accept_registration(registration, judge=judge, reason=reason)
        start_publishing(registration, wanted_by=judge)
        messages.success(request, _("Accepted. The tiles are being laid anew."))
    elif not reason:
        messages.error(request, _("A refusal needs a reason. Say in one sentence what does not fit."))
    else:
        refuse_registration(registration, judge=judge, reason=reason)
        messages.success(request, _("Refused; it stays on record."))
    return redirect("registration", registration_id)


@require_GET
def show_points(request: HttpRequest, image_id: str) -> HttpResponse:
    """Show the image in its own pixels beside a laid one, to set the same points on both."""
    image = access_image(request.user, image_id)
    require_role(request.user, image.study, needed=Role.CONTRIBUTOR)
    frame = current_frame(image.face)
    context: dict[str, Any] = {"image": image, "artwork": image.face.artwork, "frame": frame}
    if frame is not None:
        context["data"] = _points_data(request, image)
    return render(request, "points.html", context)


def _points_data(request: HttpRequest, image: TechnicalImage) -> dict[str, Any]:
    """Return what the control-point page needs; its shape is written down in viewer/api/contract.ts."""
    frame = current_frame(image.face)
    assert frame is not None
    raw = current_pyramid(image, PyramidKind.RAW_DISPLAY)
    laid = images_open_to(request.user).filter(face=image.face_id, registrations__status=RegistrationStatus.ACCEPTED)
    newest = image.registrations.order_by("-version").first()
    points = newest.points.all() if newest else []
    return {
        "frame": frame_document(frame),
        "image": {
            **image_document(image, is_open=True),
            **open_fields(image),
            "raw_tile_url": tile_address_template(raw),
            "raw_grid": grid_document(raw),
            "window_url": window_address_template(image),
        },
        "references": [
            image_document(other, is_open=True)
            for other in sorted(laid.exclude(pk=image.pk).select_related("campaign").distinct(), key=_judged_against)
        ],
        "points": [
            {
                "label": point.label,
                "kind": point.kind,
                "x_mm": point.x_mm,
                "y_mm": point.y_mm,
                "x_px": point.x_px,
                "y_px": point.y_px,
            }
            for point in points
        ],
        "registrations_url": f"/api/v1/images/{image.pk}/registrations",
        "judge_url": "/registrations/{id}/",
        "csrf_token": get_token(request),
        "language": get_language(),
    }


def _judged_against(image: TechnicalImage) -> tuple[int, str, int]:
    """Return what puts first the image that others are laid upon: visible, oldest state, newest version."""
    return SHORT_ORDER.index(image.modality), str(image.campaign.begun_on or ""), -image.version
