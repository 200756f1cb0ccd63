"""Setting up the frame of a face and correcting it; a correction is a new version, never an edit."""

import dataclasses
from collections.abc import Callable
from typing import Any

import numpy as np
from django.db import transaction

from imaging.compute.frame_setup import outline_problem
from imaging.compute.frame_versions import FrameChange
from imaging.compute.maps import FrameMap
from imaging.compute.registration.uncertainty import UncertaintyGrid
from imaging.errors import FieldRefusedError, UnfitStateError
from imaging.models import Datum, Face, Frame, Person, Registration, RegistrationMethod, RegistrationStatus
from imaging.services.versions import SOFTWARE_VERSION

__all__ = ["FRAME_FOLLOWERS", "FrameDescription", "change_of_measure", "correct_frame", "current_frame", "set_up_frame"]

#: Called inside the transaction with (old frame, new frame, change): what else hangs on a frame follows.
FRAME_FOLLOWERS: list[Callable[[Frame, Frame, FrameChange], None]] = []

#: A correction that halves or doubles a length is a slip of the pen, not a better measurement.
_SMALLEST_SCALE = 0.5
#: Canvas pitch when nothing is known of the images yet: 1270 pixels per inch, a detail photograph.
_DEFAULT_CANVAS_PITCH_MM = 0.02


@dataclasses.dataclass(frozen=True)
class FrameDescription:
    """What a person states about the frame of a face."""

    width_mm: float
    height_mm: float
    datum: str = Datum.PAINTED_SURFACE_TOP_LEFT
    datum_note: str = ""
    size_uncertainty_mm: float = 1.0
    canvas_pitch_mm: float = _DEFAULT_CANVAS_PITCH_MM
    outline_mm: tuple[tuple[float, float], ...] = ()

    def refuse_unfit(self) -> None:
        """Refuse sizes that no painting has and outlines that cross themselves."""
        for field in ("width_mm", "height_mm"):
            value = getattr(self, field)
            if not 1.0 <= value <= 100_000.0:
                raise FieldRefusedError(field=field, given=f"{value} mm", needed="between 1 mm and 100 m")
        if not 0.0005 <= self.canvas_pitch_mm <= 10.0:
            raise FieldRefusedError(
                field="canvas_pitch_mm", given=f"{self.canvas_pitch_mm} mm", needed="between 0.0005 and 10 mm a pixel"
            )
        if not 0.0 <= self.size_uncertainty_mm <= max(self.width_mm, self.height_mm) / 4:
            raise FieldRefusedError(
                field="size_uncertainty_mm", given=f"{self.size_uncertainty_mm} mm", needed="less than a quarter"
            )
        if self.outline_mm and (problem := outline_problem(self.outline_mm)):
            raise FieldRefusedError(field="outline_mm", given=problem, needed="one boundary that does not cross itself")

    def outline_or_rectangle(self) -> list[list[float]]:
        """Return the outline, or the stated rectangle when none was drawn."""
        corners = self.outline_mm or (
            (0.0, 0.0),
            (self.width_mm, 0.0),
            (self.width_mm, self.height_mm),
            (0.0, self.height_mm),
        )
        return [[float(x_mm), float(y_mm)] for x_mm, y_mm in corners]

    @property
    def scale_uncertainty(self) -> float:
        """Relative one-sigma uncertainty of the scale: half the 95 % figure over the longer side."""
        return self.size_uncertainty_mm / 2 / max(self.width_mm, self.height_mm)


def current_frame(face: Face) -> Frame | None:
    """Return the newest frame version of a face; None before one is set up."""
    return face.frames.order_by("-version").first()


def change_of_measure(frame: Frame, description: FrameDescription, *, zero_at_mm: tuple[float, float]) -> FrameChange:
    """Return the change that new measured lengths and a new zero make; `zero_at_mm` is its place in the old frame."""
    scales = (description.width_mm / frame.width_mm, description.height_mm / frame.height_mm)
    if not all(_SMALLEST_SCALE <= scale <= 1.0 / _SMALLEST_SCALE for scale in scales):
        raise FieldRefusedError(
            field="width_mm",
            given=f"{description.width_mm} x {description.height_mm} mm after {frame.width_mm} x {frame.height_mm} mm",
            needed="a correction by less than a half; measure again, or set up another face",
        )
    rows = [[scales[0], 0.0, -scales[0] * zero_at_mm[0]], [0.0, scales[1], -scales[1] * zero_at_mm[1]]]
    return FrameChange(np.array(rows, dtype=np.float64))


@transaction.atomic
def set_up_frame(face: Face, description: FrameDescription, *, made_by: Person, reason: str = "") -> Frame:
    """Make version 1 of a face's frame."""
    Face.objects.select_for_update().get(pk=face.pk)
    if current_frame(face) is not None:
        raise UnfitStateError(
            noun="face", state="already framed", needed="without a frame", remedy="Correct the frame instead."
        )
    return _make_version(face, description, version=1, made_by=made_by, reason=reason)


@transaction.atomic
def correct_frame(
    frame: Frame,
    description: FrameDescription,
    *,
    change: FrameChange,
    made_by: Person,
    reason: str,
) -> Frame:
    """Make the next version of a frame and carry over every accepted registration, and what follows frames.

    Registrations are carried over as candidates' equals: the same pixels, addressed in the new millimetres. Their
    old versions stay, replaced.
    """
    Face.objects.select_for_update().get(pk=frame.face_id)
    newest = current_frame(frame.face)
    if newest is None or newest.pk != frame.pk:
        raise UnfitStateError(
            noun="frame", state="replaced", needed="the newest", remedy="Load the page again and correct that one."
        )
    if not reason.strip():
        raise FieldRefusedError(field="reason", given="empty", needed="one sentence why the frame is corrected")
    new = _make_version(frame.face, description, version=frame.version + 1, made_by=made_by, reason=reason)
    new.mm_from_previous_mm = change.matrix.tolist()
    new.save(update_fields=["mm_from_previous_mm"])
    accepted = Registration.objects.select_for_update().filter(frame=frame, status=RegistrationStatus.ACCEPTED)
    for registration in accepted.select_related("image"):
        _carry_over(registration, new, change, made_by=made_by)
    for follow in FRAME_FOLLOWERS:
        follow(frame, new, change)
    return new


def _make_version(face: Face, description: FrameDescription, *, version: int, made_by: Person, reason: str) -> Frame:
    """Save one frame version from a checked description."""
    description.refuse_unfit()
    return Frame.objects.create(
        face=face,
        version=version,
        datum=description.datum,
        datum_note=description.datum_note,
        width_mm=description.width_mm,
        height_mm=description.height_mm,
        size_uncertainty_mm=description.size_uncertainty_mm,
        scale_uncertainty=description.scale_uncertainty,
        canvas_pitch_mm=description.canvas_pitch_mm,
        outline_mm=description.outline_or_rectangle(),
        reason=reason,
        made_by=made_by,
    )


def _carried_uncertainty(stored: dict[str, Any] | None, change: FrameChange) -> dict[str, Any] | None:
    """Return a registration's stored uncertainty in the new millimetres."""
    return change.carried_uncertainty(UncertaintyGrid.from_json(stored)).to_json() if stored else stored


def _carry_over(registration: Registration, frame: Frame, change: FrameChange, *, made_by: Person) -> Registration:
    """Replace a registration by its equal in the new millimetres."""
    newest = registration.image.registrations.order_by("-version").values_list("version", flat=True)[0]
    registration.status = RegistrationStatus.REPLACED
    registration.save(update_fields=["status"])
    return Registration.objects.create(
        image=registration.image,
        frame=frame,
        version=newest + 1,
        method=RegistrationMethod(registration.method),
        model=registration.model,
        status=RegistrationStatus.ACCEPTED,
        map=change.carried_map(FrameMap.from_json(registration.map)).to_json(),
        quality={**registration.quality, "carried_over_from": registration.version},
        uncertainty=_carried_uncertainty(registration.uncertainty, change),
        quality_notes=registration.quality_notes,
        software_version=SOFTWARE_VERSION,
        made_by=made_by,
        judged_by=made_by,
    )
