"""From an accepted registration to tiles that lie in the frame: resampled once, from the master, streaming."""

from typing import Any

from django.db import transaction

from imaging.compute.maps import FrameMap
from imaging.compute.pyramid.build import PyramidPlan, build_pyramid, footprint_mm, grid_to_publish
from imaging.compute.pyramid.tile_reader import PyramidFile
from imaging.compute.render.display_tone import DisplayTone
from imaging.errors import UnfitStateError
from imaging.models import (
    ImageStatus,
    Job,
    JobKind,
    Person,
    Pyramid,
    PyramidKind,
    Registration,
    RegistrationStatus,
    TechnicalImage,
)
from imaging.services.image_sources import open_image_source
from imaging.services.job_runs import JobRun
from imaging.services.jobs import start_job
from imaging.services.pyramid_files import built_file, keep_pyramid, place_to_build

__all__ = ["change_tone", "current_pyramid", "publish_pyramid", "start_publishing"]


def current_pyramid(image: TechnicalImage, kind: PyramidKind) -> Pyramid | None:
    """Return the pyramid of a kind that is served now."""
    return (
        image.pyramids.filter(kind=kind, is_current=True, freed_at__isnull=True)
        .select_related("registration__frame")
        .first()
    )


def start_publishing(registration: Registration, *, wanted_by: Person | None = None) -> Job:
    """Put the publication of an accepted registration into the queue."""
    return start_job(
        JobKind.PUBLISH,
        image=registration.image,
        parameters={"registration": str(registration.pk)},
        wanted_by=wanted_by,
    )


@transaction.atomic
def change_tone(image: TechnicalImage, tone: DisplayTone, *, editor: Person) -> Job | None:
    """Keep another display tone and lay the tiles anew; no data is touched. Unregistered images have no tiles yet."""
    image.tone = tone.to_json()
    image.save(update_fields=["tone"])
    registration = image.registrations.filter(status=RegistrationStatus.ACCEPTED).first()
    return start_publishing(registration, wanted_by=editor) if registration else None


def publish_pyramid(run: JobRun) -> dict[str, Any]:
    """Run a PUBLISH job: build the pyramid aside, then make it the one that is served.

    The file is named after the job, so a job that was killed writes over what it left and nothing is doubled.
    """
    registration = Registration.objects.select_related("image__master", "frame").get(
        pk=run.job.parameters["registration"]
    )
    if registration.status == RegistrationStatus.REPLACED:
        return {"skipped": "registration was replaced meanwhile"}
    if registration.status != RegistrationStatus.ACCEPTED:
        raise UnfitStateError(
            noun="registration", state=registration.status, needed="accepted", remedy="Accept it, then publish."
        )
    image, plan = registration.image, _plan_of(registration)
    run.begin_stage("lay")
    path = place_to_build(run, PyramidKind.DISPLAY)
    build_pyramid(open_image_source(image), path, plan=plan, progress=run.report, is_cancelled=run.is_cancelled)
    run.begin_stage("checksum")
    built = built_file(run, PyramidKind.DISPLAY)
    with run.committing():
        keep_pyramid(
            built,
            image,
            registration=registration,
            footprint_mm=footprint_mm(plan.grid, plan.frame_map),
            parameters={"tone": plan.tone.to_json(), "is_resampled": plan.is_resampled},
            **_layout_of(PyramidFile(path)),
        )
        TechnicalImage.objects.filter(pk=image.pk).update(status=ImageStatus.PUBLISHED)
    return {"sha256": built.sha256}


def _plan_of(registration: Registration) -> PyramidPlan:
    """Return what the pyramid of a registration shows and where."""
    image = registration.image
    if image.tone is None:
        raise UnfitStateError(noun="image", state="not read", needed="read", remedy="Wait until it has been read.")
    frame_map = FrameMap.from_json(registration.map)
    grid = grid_to_publish(frame_map, canvas_pitch_mm=registration.frame.canvas_pitch_mm)
    return PyramidPlan(grid=grid, frame_map=frame_map, tone=DisplayTone.from_json(image.tone))


def _layout_of(file: PyramidFile) -> dict[str, Any]:
    """Return the columns that repeat what a pyramid file says of itself."""
    return {
        "media_type": file.media_type,
        "grid": file.grid.to_json(),
        "zooms": len(file.zooms),
        "tile_size_px": file.tile_size_px,
    }
