"""Lay a picture that has just been read into the frame of its face, as far as what is stated allows."""

from typing import Any

from django.db import transaction

from imaging.errors import ImagingError
from imaging.models import (
    Frame,
    ImageStatus,
    Job,
    Person,
    Registration,
    RegistrationMethod,
    RegistrationStatus,
    TechnicalImage,
)
from imaging.services.framing import current_frame
from imaging.services.job_runs import JobRun
from imaging.services.publishing import publish_pyramid, start_publishing
from imaging.services.registering import (
    accept_registration,
    current_registration,
    register_by_stated_scale,
    register_same_grid,
)
from imaging.services.same_grid_claims import followers_of

__all__ = ["lay_into_frame", "publish_with_followers"]

#: A picture as large as the frame within this share shows the frame's area and nothing else, so laying its middle on
#: the frame's middle needs no judge. Everything else waits for one. No source: a choice.
_SAME_SIZE_SHARE = 0.03
_UM_PER_MM = 1000.0


def lay_into_frame(image: TechnicalImage, *, wanted_by: Person) -> dict[str, Any]:
    """Make a first registration if the frame and the scale are known; publish it if nothing about it is in doubt."""
    frame = current_frame(image.face)
    if image.status == ImageStatus.WITHDRAWN:
        return {"laid": "", "why_not": "withdrawn"}
    if frame is None:
        return {"laid": "", "why_not": "no_frame"}
    if image.registrations.exclude(status=RegistrationStatus.REFUSED).exists():
        return {"laid": "", "why_not": "registered_already"}
    try:
        with transaction.atomic():
            registration = _first_registration(image, frame, made_by=wanted_by)
    except ImagingError as error:
        # A picture that cannot be laid is still a picture that can be looked at and registered by hand.
        return {"laid": "", "why_not": error.code, "sentence": str(error)}
    if registration is None:
        return {"laid": "", "why_not": "no_scale"}
    job = _publish_if_plain(registration, frame, judge=wanted_by)
    return {"laid": str(registration.pk), "publish_job": str(job.pk) if job else ""}


def publish_with_followers(run: JobRun) -> dict[str, Any]:
    """Run a PUBLISH job, then lay the images that share the grid of the published one as it lies now."""
    result = publish_pyramid(run)
    assert run.job.image is not None
    image = TechnicalImage.objects.get(pk=run.job.image.pk)
    with run.committing():
        followers = [_lay_follower(follower, image) for follower in followers_of(image)]
    return {**result, "followers": [str(job.pk) for job in followers if job is not None]}


def _lay_follower(follower: TechnicalImage, image: TechnicalImage) -> Job | None:
    """Give an image the map of the one whose grid it shares, unless it has that already or lies by its own points."""
    reference, own = current_registration(image), current_registration(follower)
    if reference is None or (own is not None and own.method != RegistrationMethod.SAME_GRID):
        return None
    if own is not None and own.reference_id == reference.pk:
        return None
    judge = reference.judged_by or reference.made_by
    registration = register_same_grid(follower, image, made_by=judge)
    return _publish_if_plain(registration, registration.frame, judge=judge)


def _first_registration(image: TechnicalImage, frame: Frame, *, made_by: Person) -> Registration | None:
    """Return a candidate from the same grid or from the stated scale; None when neither is stated."""
    if image.same_grid_as is not None:
        registration = register_same_grid(image, image.same_grid_as, made_by=made_by)
        doubts = [line for line in image.ingest_sheet if _is_doubt_on_grid(line)]
        if doubts:
            notes = [{"code": doubt["code"], "message": doubt["sentence"]} for doubt in doubts]
            registration.quality_notes = [*registration.quality_notes, *notes]
            registration.save(update_fields=["quality_notes"])
        return registration
    if image.stated_um_per_px or image.file_um_per_px:
        return register_by_stated_scale(image, frame, made_by=made_by)
    return None


def _is_doubt_on_grid(line: dict[str, Any]) -> bool:
    """Return whether a line of the sheet doubts, or could not yet measure, that two images share a grid."""
    return str(line.get("code", "")).startswith("same_grid") and line.get("state") != "fits"


def _publish_if_plain(registration: Registration, frame: Frame, *, judge: Person) -> Job | None:
    """Accept and publish a registration that only repeats what was stated and measured; others await judgement."""
    image = registration.image
    if image.same_grid_as is not None:
        doubts = [line for line in image.ingest_sheet if _is_doubt_on_grid(line)]
        is_plain, reason = not doubts, "the same grid as another image, as measured on receipt"
    else:
        is_plain, reason = _has_size_of_frame(image, frame), "as large as the frame, by the stated scale"
    if not is_plain:
        return None
    return start_publishing(accept_registration(registration, judge=judge, reason=reason), wanted_by=judge)


def _has_size_of_frame(image: TechnicalImage, frame: Frame) -> bool:
    """Return whether a person stated the scale and the picture is then as large as the frame."""
    if image.stated_um_per_px is None or image.width_px is None or image.height_px is None:
        return False
    sides_px = (image.width_px, image.height_px)
    if image.exif_orientation >= 5:
        sides_px = sides_px[::-1]
    sides_mm = [side_px * image.stated_um_per_px / _UM_PER_MM for side_px in sides_px]
    return all(
        abs(side_mm - frame_mm) <= _SAME_SIZE_SHARE * frame_mm
        for side_mm, frame_mm in zip(sides_mm, (frame.width_mm, frame.height_mm), strict=True)
    )
