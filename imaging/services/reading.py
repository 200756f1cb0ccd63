"""Read a master: every pixel decoded once under guard, measured, doubted, and made quick to show.

Every stage may be repeated: files are named by their job, and rows are written together at the end.
"""

import dataclasses
import time
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db.models import QuerySet

from imaging.compute.frames import CanvasGrid
from imaging.compute.masters.guard import GuardLimits
from imaging.compute.masters.pixels import CheckedMaster, check_master
from imaging.compute.masters.source import MasterSource, open_master
from imaging.compute.pyramid.build import PyramidPlan, build_pyramid
from imaging.compute.pyramid.levels import build_reading_levels, with_levels
from imaging.compute.pyramid.tile_grid import TileGrid
from imaging.compute.render.display_tone import DisplayTone
from imaging.compute.render.shown_pixels import ShownPixels
from imaging.compute.render.tone_statistics import tone_from_statistics
from imaging.errors import (
    ChecksumMismatchError,
    GuardDeathError,
    GuardError,
    MasterFileError,
    UnusableProfileError,
)
from imaging.models import ImageStatus, Modality, PyramidKind, TechnicalImage
from imaging.models.technical_image import Polarity
from imaging.services.image_sources import open_image_source
from imaging.services.ingest_sheets import fill_from_metadata, fill_ingest_sheet, kept_metadata, sheet_line
from imaging.services.job_runs import JobRun
from imaging.services.laying import lay_into_frame
from imaging.services.master_files import refuse_full_disk
from imaging.services.pyramid_files import BuiltFile, built_file, keep_pyramid, place_to_build
from imaging.services.same_grid_claims import followers_of, measured_claim
from imaging.services.storage_paths import absolute_path

__all__ = [
    "build_raw_display",
    "read_master_of_image",
]

#: What a reading writes on the row of its image.
_READ_FIELDS = ("tone", "statistics", "metadata", "ingest_sheet", "status", "refusal")
#: A child killed from outside may have been killed together with this worker, a moment before it.
_OUTSIDE_KILLS = ("SIGKILL", "SIGTERM", "SIGINT", "SIGHUP")
_OUTSIDE_KILL_PAUSE_S = 2.0
_OUTSIDE_KILL_TRIES = 3
#: Reading levels are a third of the decoded picture, or four thirds where the master serves no windows.
_LEVEL_SHARE = 4 / 3


def read_master_of_image(run: JobRun) -> dict[str, Any]:
    """Run the READ job of an image; a refused file leaves the sentence on the image and touches nothing else.

    What is not the file's fault, such as a full disk, stops the job and leaves the image waiting for another try.
    """
    assert run.job.image_id is not None
    image = _images().get(pk=run.job.image_id)
    try:
        return _read_image(run, image)
    except (MasterFileError, GuardError, ChecksumMismatchError) as error:
        with run.committing():
            waiting = TechnicalImage.objects.filter(pk=image.pk, status=ImageStatus.WAITING)
            waiting.update(status=ImageStatus.REFUSED, refusal=str(error))
        raise


def _images() -> QuerySet[TechnicalImage]:
    """Return images with all rows that a reading looks at."""
    return TechnicalImage.objects.select_related("face__artwork__study", "campaign", "master", "same_grid_as")


def _read_image(run: JobRun, image: TechnicalImage) -> dict[str, Any]:
    """Do the stages one after the other and write their results together."""
    checked = _check_pixels(run, image)
    refuse_full_disk(int(checked.header.decoded_bytes * _LEVEL_SHARE), name=checked.header.file_name)
    source = _open_checked(image, checked)
    levels = _build_levels(run, source)
    run.begin_stage("tone")
    run.refuse_cancelled()
    levelled = with_levels(source, levels.path)
    tone, tone_doubts = _first_tone(levelled, image)
    grid, raw = build_raw_display(run, source, tone=tone)
    run.begin_stage("sheet")
    sheet = fill_ingest_sheet(image, checked) + tone_doubts + measured_claim(image, levelled)
    metadata = kept_metadata(absolute_path(_stored_path(image)), checked.header)
    with run.committing():
        # The row as it is now: somebody may have corrected or withdrawn the image meanwhile.
        image = _images().select_for_update(of=("self",)).get(pk=image.pk)
        image.statistics, image.metadata, image.ingest_sheet = checked.statistics.to_json(), metadata, sheet
        image.tone = image.tone or tone.to_json()
        if image.status in (ImageStatus.WAITING, ImageStatus.REFUSED):
            image.status, image.refusal = ImageStatus.READ, ""
        image.save(update_fields=[*_READ_FIELDS, *fill_from_metadata(image)])
        _keep_levels(image, levels, checked)
        _keep_raw_display(image, raw, grid)
        laid = lay_into_frame(image, wanted_by=run.job.wanted_by or image.brought_in_by)
        _measure_followers(image)
    return {"levels_sha256": levels.sha256, "raw_display_sha256": raw.sha256, **laid}


def _open_checked(image: TechnicalImage, checked: CheckedMaster) -> MasterSource:
    """Return the pixels of a master that was checked just now."""
    header = checked.header
    pages = tuple(range(header.bands)) if header.storage == "pages" else (0,)
    return open_master(absolute_path(_stored_path(image)), pages=pages)


def _measure_followers(image: TechnicalImage) -> None:
    """Measure the claims of images that were read before the one they refer to, and lay them if it is laid."""
    for follower in followers_of(image):
        if any(line["code"] == "same_grid_waiting" for line in follower.ingest_sheet):
            kept = [line for line in follower.ingest_sheet if line["code"] != "same_grid_waiting"]
            follower.ingest_sheet = kept + measured_claim(follower, open_image_source(follower))
            follower.save(update_fields=["ingest_sheet"])


def _stored_path(image: TechnicalImage) -> str:
    """Return the stored path of an image's master."""
    assert image.master is not None
    return image.master.path


def _check_pixels(run: JobRun, image: TechnicalImage) -> CheckedMaster:
    """Decode every pixel in a guarded child; one killed from outside is given another try."""
    assert image.master is not None
    run.begin_stage("check")
    path = absolute_path(image.master.path)
    _refuse_changed_master(image, path)
    guard = GuardLimits(memory_bytes=settings.DECODE_MEMORY_BYTES, time_s=settings.DECODE_SECONDS)
    for tries_left in reversed(range(_OUTSIDE_KILL_TRIES)):
        try:
            return check_master(
                path,
                name=image.master.original_name,
                guard=guard,
                progress=run.report,
                is_cancelled=run.is_cancelled,
            )
        except GuardDeathError as error:
            if error.values.get("how") not in _OUTSIDE_KILLS or not tries_left:
                raise
            time.sleep(_OUTSIDE_KILL_PAUSE_S)
            run.refuse_cancelled()
    raise AssertionError("the last try returns or raises")


def _refuse_changed_master(image: TechnicalImage, path: Path) -> None:
    """Refuse a master whose size is no longer the one received; `verify` compares its checksum too."""
    assert image.master is not None
    if path.stat().st_size != image.master.size_bytes:
        raise ChecksumMismatchError(
            file_name=image.master.original_name,
            got=f"a length of {path.stat().st_size:,} bytes",
            expected=f"{image.master.size_bytes:,} bytes",
        )


def _build_levels(run: JobRun, source: MasterSource) -> BuiltFile:
    """Build the lossless reading levels."""
    run.begin_stage("levels")
    path = place_to_build(run, PyramidKind.READING)
    build_reading_levels(source, path, progress=run.report, is_cancelled=run.is_cancelled)
    return built_file(run, PyramidKind.READING)


def _first_tone(source: MasterSource, image: TechnicalImage) -> tuple[DisplayTone, list[dict[str, Any]]]:
    """Return the tone that was set, or one from the statistics of the whole picture.

    A profile that cannot be used is left out and said. Radiographs are shown as on film: white is dense.
    """
    if image.tone is not None:
        return DisplayTone.from_json(image.tone), []
    is_inverted = image.modality == Modality.X_RADIOGRAPH and image.polarity == Polarity.BLACK_IS_DENSE
    tone = dataclasses.replace(tone_from_statistics(source), is_inverted=is_inverted)
    try:
        ShownPixels(source, tone)
    except UnusableProfileError as error:
        return dataclasses.replace(tone, is_colour_managed=False), [sheet_line(error.code, sentence=str(error))]
    return tone, []


def build_raw_display(run: JobRun, source: MasterSource, *, tone: DisplayTone) -> tuple[CanvasGrid, BuiltFile]:
    """Build display tiles in the image's own pixels: one unit of their grid is one pixel."""
    run.begin_stage("raw_display")
    grid = CanvasGrid(0.0, 0.0, 1.0, source.width_px, source.height_px)
    plan = PyramidPlan(grid, None, tone)
    path = place_to_build(run, PyramidKind.RAW_DISPLAY)
    build_pyramid(source, path, plan=plan, progress=run.report, is_cancelled=run.is_cancelled)
    return grid, built_file(run, PyramidKind.RAW_DISPLAY)


def _keep_levels(image: TechnicalImage, levels: BuiltFile, checked: CheckedMaster) -> None:
    """Write the row of the reading levels."""
    assert image.master is not None
    keep_pyramid(
        levels,
        image,
        media_type="image/tiff",
        zooms=len(TileGrid(checked.header.width_px, checked.header.height_px).zooms),
        parameters={"master_sha256": image.master.sha256, "reduction": "2 x 2 mean, half up"},
    )


def _keep_raw_display(image: TechnicalImage, raw: BuiltFile, grid: CanvasGrid) -> None:
    """Write the row of the display tiles in the image's own pixels."""
    assert image.master is not None
    keep_pyramid(
        raw,
        image,
        media_type="image/jpeg",
        grid=grid.to_json(),
        zooms=len(TileGrid(grid.width_px, grid.height_px).zooms),
        parameters={"master_sha256": image.master.sha256, "tone": image.tone, "unit": "px"},
    )
