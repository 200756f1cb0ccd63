"""Registrations: made from a stated scale, from control points or from another image's grid; judged by a person."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from imaging.compute.maps import FrameMap
from imaging.compute.registration.control_points import ControlPointFit, fit_control_points
from imaging.compute.registration.solutions import FitOptions
from imaging.errors import FieldRefusedError, UnfitStateError
from imaging.interop.control_points_csv import ControlPointRow
from imaging.models import (
    ControlPoint,
    Frame,
    Person,
    PointKind,
    Registration,
    RegistrationMethod,
    RegistrationStatus,
    TechnicalImage,
)
from imaging.services.versions import SOFTWARE_VERSION

__all__ = [
    "WantedFit",
    "accept_registration",
    "current_registration",
    "refuse_registration",
    "register_by_control_points",
    "register_by_stated_scale",
    "register_same_grid",
]

_UM_PER_MM = 1000.0
_ZERO_POINT_ASSUMED = (
    "No zero point was given: the middle of the picture lies on the middle of the frame. "
    "Give the pixel of 0, 0, or set control points."
)


@dataclass(frozen=True)
class WantedFit:
    """Points, the kind of map to fit to them, and whether the picture may be a mirror image of the face."""

    points: Sequence[ControlPointRow]
    model: str
    may_be_mirrored: bool = False


def current_registration(image: TechnicalImage) -> Registration | None:
    """Return the accepted registration of an image; None while there is none."""
    return image.registrations.filter(status=RegistrationStatus.ACCEPTED).select_related("frame").first()


def _image_size_px(image: TechnicalImage) -> tuple[int, int]:
    """Return the size of an image that has been read; one that has not is refused."""
    if image.width_px is None or image.height_px is None:
        raise UnfitStateError(noun="image", state=image.status, needed="read", remedy="Wait until it has been read.")
    return image.width_px, image.height_px


def register_by_stated_scale(
    image: TechnicalImage,
    frame: Frame,
    *,
    made_by: Person,
    pitch_mm: float | None = None,
    datum_px: Sequence[float] | None = None,
) -> Registration:
    """Return a candidate registration from a stated scale and the pixel where 0, 0 lies.

    Without `datum_px` the middle of the picture is laid on the middle of the frame, and the registration says so.
    """
    size_px = _image_size_px(image)
    pitch_mm = pitch_mm or (image.stated_um_per_px or image.file_um_per_px or 0.0) / _UM_PER_MM
    if not pitch_mm > 0.0:
        raise FieldRefusedError(field="stated_um_per_px", given="empty", needed="micrometres per pixel above zero")
    notes = []
    origin_mm = (0.0, 0.0)
    if datum_px is None:
        turned = size_px[::-1] if image.exif_orientation >= 5 else size_px
        datum_px = (turned[0] / 2.0, turned[1] / 2.0)
        origin_mm = (frame.width_mm / 2.0, frame.height_mm / 2.0)
        notes.append({"code": "zero_point_assumed", "message": _ZERO_POINT_ASSUMED})
    frame_map = FrameMap.from_stated_scale(
        pitch_mm, origin_mm, image_size_px=size_px, orientation=image.exif_orientation, datum_px=datum_px
    )
    return _save_candidate(
        image,
        frame,
        frame_map,
        made_by=made_by,
        method=RegistrationMethod.STATED_SCALE,
        model="similarity",
        quality_notes=notes,
    )


@transaction.atomic
def register_by_control_points(
    image: TechnicalImage, frame: Frame, *, wanted: WantedFit, made_by: Person
) -> Registration:
    """Return a candidate registration fitted to control points; check points only judge it."""
    points, model = wanted.points, wanted.model
    options = FitOptions(
        image_size_px=_image_size_px(image),
        extent_mm=(0.0, 0.0, frame.width_mm, frame.height_mm),
        labels=[point.label for point in points],
        may_be_mirrored=wanted.may_be_mirrored,
    )
    fit = fit_control_points(
        np.array([point.frame_mm for point in points], dtype=np.float64).reshape(-1, 2),
        np.array([point.image_px for point in points], dtype=np.float64).reshape(-1, 2),
        model=model,
        check=[point.is_check for point in points],
        options=options,
    )
    registration = _save_candidate(
        image,
        frame,
        fit.frame_map,
        made_by=made_by,
        method=RegistrationMethod.CONTROL_POINTS,
        model=model,
        quality_notes=[
            *({"code": "slip", "message": slip.message} for slip in fit.slips),
            *(note.to_json() for note in fit.notes),
        ],
        quality=_quality_of_fit(fit),
        uncertainty=fit.uncertainty.to_json(),
    )
    _save_points(registration, points, fit)
    return registration


def _quality_of_fit(fit: ControlPointFit) -> dict[str, Any]:
    """Return the figures a judge reads; what was measured on held-out points stands apart from the fit's own."""
    check_mm = fit.check_error_mm
    return {
        "used_count": int(fit.is_used.sum()),
        "check_count": len(check_mm),
        "rms_mm": fit.rms_mm,
        "rms_px": fit.rms_px,
        "leave_one_out_rms_mm": fit.rms_leave_one_out_mm,
        "check_rms_mm": fit.rms_check_mm,
        "check_p95_mm": float(np.percentile(check_mm, 95)) if len(check_mm) else None,
        "check_worst_mm": float(check_mm.max()) if len(check_mm) else None,
        "point_sigma_px": fit.point_sigma_px,
    }


def register_same_grid(image: TechnicalImage, other: TechnicalImage, *, made_by: Person) -> Registration:
    """Return a candidate that lies exactly where another image lies; sizes must agree."""
    reference = current_registration(other)
    if reference is None:
        raise UnfitStateError(
            noun="reference image", state="not registered", needed="registered", remedy=f"Register {other} first."
        )
    if _image_size_px(image) != _image_size_px(other):
        raise FieldRefusedError(
            field="same_grid_as",
            given=f"{image.width_px} x {image.height_px} px against {other.width_px} x {other.height_px} px",
            needed="two images of the same size in pixels",
        )
    return _save_candidate(
        image,
        reference.frame,
        FrameMap.from_json(reference.map),
        made_by=made_by,
        method=RegistrationMethod.SAME_GRID,
        model=reference.model,
        quality=reference.quality,
        uncertainty=reference.uncertainty,
        reference=reference,
    )


@transaction.atomic
def accept_registration(registration: Registration, *, judge: Person, reason: str = "") -> Registration:
    """Accept a candidate; the one accepted before is replaced and stays on record."""
    registration = _locked_candidate(registration)
    registration.image.registrations.filter(status=RegistrationStatus.ACCEPTED).update(
        status=RegistrationStatus.REPLACED
    )
    return _judged(registration, RegistrationStatus.ACCEPTED, judge=judge, reason=reason)


@transaction.atomic
def refuse_registration(registration: Registration, *, judge: Person, reason: str) -> Registration:
    """Refuse a candidate with a reason; it stays on record."""
    if not reason.strip():
        raise FieldRefusedError(field="judgement", given="empty", needed="one sentence why it is refused")
    return _judged(_locked_candidate(registration), RegistrationStatus.REFUSED, judge=judge, reason=reason)


def _locked_candidate(registration: Registration) -> Registration:
    """Return the row locked for judgement; one judged already is refused."""
    # Locking the image serialises two judges of two candidates.
    TechnicalImage.objects.select_for_update().get(pk=registration.image_id)
    registration = Registration.objects.select_related("image", "frame").get(pk=registration.pk)
    if registration.status != RegistrationStatus.CANDIDATE:
        raise UnfitStateError(
            noun="registration",
            state=registration.status,
            needed="a candidate",
            remedy="Make a new registration to change the map.",
        )
    return registration


def _judged(registration: Registration, status: RegistrationStatus, *, judge: Person, reason: str) -> Registration:
    """Save a judgement with its author and time."""
    registration.status = status
    registration.judged_by, registration.judged_at, registration.judgement = judge, timezone.now(), reason
    registration.save(update_fields=["status", "judged_by", "judged_at", "judgement"])
    return registration


@transaction.atomic
def _save_candidate(
    image: TechnicalImage, frame: Frame, frame_map: FrameMap, *, made_by: Person, **fields: Any
) -> Registration:
    """Save the next registration version of an image after refusing folds."""
    if frame.face_id != image.face_id:
        raise FieldRefusedError(field="frame", given="the frame of another face", needed="a frame of the same face")
    frame_map.refuse_folds(frame_map.extent_mm())
    TechnicalImage.objects.select_for_update().get(pk=image.pk)
    newest = image.registrations.aggregate(newest=Max("version"))["newest"] or 0
    return Registration.objects.create(
        image=image,
        frame=frame,
        version=newest + 1,
        map=frame_map.to_json(),
        software_version=SOFTWARE_VERSION,
        made_by=made_by,
        **fields,
    )


def _save_points(registration: Registration, points: Sequence[ControlPointRow], fit: ControlPointFit) -> None:
    """Save each point with its residual and whether it was named as a slip."""
    slips = {slip.index for slip in fit.slips}
    ControlPoint.objects.bulk_create(
        ControlPoint(
            registration=registration,
            label=point.label,
            kind=PointKind.CHECK if point.is_check else PointKind.CONTROL,
            x_mm=point.frame_mm[0],
            y_mm=point.frame_mm[1],
            x_px=point.image_px[0],
            y_px=point.image_px[1],
            residual_mm=_finite_or_none(fit.residual_mm[index]),
            leave_one_out_mm=_finite_or_none(fit.leave_one_out_mm[index]),
            is_slip=index in slips,
        )
        for index, point in enumerate(points)
    )


def _finite_or_none(value: float) -> float | None:
    """Return a figure, or None where it was not measured."""
    return float(value) if np.isfinite(value) else None
