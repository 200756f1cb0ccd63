"""The painted pictures: brought in, read, laid by control points, judged and published, as people would do it."""

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from django.db import transaction

from demo_fixtures.painter.paint import paint_images
from demo_fixtures.scenario import write_image_table
from imaging.interop.control_points_csv import ControlPointRow, import_control_points
from imaging.models import (
    Face,
    ImageStatus,
    Job,
    JobStatus,
    Person,
    Registration,
    RegistrationMethod,
    RegistrationStatus,
    TechnicalImage,
)
from imaging.services.framing import current_frame
from imaging.services.image_tables import TableLine, read_image_table
from imaging.services.job_runs import run_job_here
from imaging.services.master_files import Incoming
from imaging.services.publishing import start_publishing
from imaging.services.receiving import bring_in_image
from imaging.services.registering import (
    WantedFit,
    accept_registration,
    refuse_registration,
    register_by_control_points,
)
from imaging.services.tasks import HANDLERS

__all__ = ["PictureLoader"]

_LOOK_S = 0.2
_FIRST_REASON = "The middle is only assumed; laid by control points instead."


class PictureLoader:
    """Brings the pictures of one scenario into one face.

    `does_jobs` runs the jobs in this process, for tests and for installations without a worker.
    """

    def __init__(
        self, scenario: dict[str, Any], people: dict[str, Person], face: Face, *, folder: Path, does_jobs: bool = False
    ):
        self.scenario, self.people, self.face = scenario, people, face
        self.folder, self.does_jobs = folder, does_jobs

    def load(self, names: list[str], *, size: str, seed: int, say: Callable[[str, float], None]) -> None:
        """Paint, bring in, lay and publish the named pictures; what is there already is left alone."""
        missing = [name for name in names if not self.is_published(name)]
        if not missing:
            return
        to_paint = [name for name in missing if not (self.folder / f"{name}.tif").exists()]
        if to_paint:
            paint_images(self.folder, seed=seed, size=size, images=to_paint, progress=say)
        for name in missing:
            say(f"{name}: bring in", 0.0)
            self.lay(name, self.bring_in(name, size=size))
        self.link_versions()

    def wait_until_published(self, names: list[str]) -> None:
        """Wait until the named pictures can be looked at."""
        for name in names:
            image = self.image(name)
            assert image is not None
            self.wait_for_jobs(image)

    def image(self, name: str) -> TechnicalImage | None:
        """Return the picture of a name if it was brought in."""
        return TechnicalImage.objects.filter(face=self.face, master__original_name=f"{name}.tif").first()

    def is_published(self, name: str) -> bool:
        """Return whether a picture needs nothing more from the loader."""
        image = self.image(name)
        return image is not None and (
            image.status == ImageStatus.PUBLISHED or image.registrations.filter(status="accepted").exists()
        )

    def bring_in(self, name: str, *, size: str) -> TechnicalImage:
        """Bring a painted picture in by its line of the table and wait until it is read."""
        image = self.image(name)
        if image is None:
            line = self.table_line(name, size=size)
            incoming = Incoming(path=self.folder / f"{name}.tif", name=f"{name}.tif")
            image = bring_in_image(incoming, line.slip, face=self.face, person=self.owner(name)).image
        self.wait_for_jobs(image)
        image.refresh_from_db()
        if image.status == ImageStatus.REFUSED:
            raise RuntimeError(f"{name}.tif was refused: {image.refusal}")
        return image

    def link_versions(self) -> None:
        """Say which version replaces which: the demo brings the newest in first, so that it can be seen first."""
        images = TechnicalImage.objects.filter(face=self.face).order_by("version")
        for image in images.filter(version__gt=1, supersedes__isnull=True):
            before = images.filter(campaign=image.campaign, modality=image.modality, version=image.version - 1).first()
            if before is not None:
                image.supersedes = before
                image.save(update_fields=["supersedes"])

    def table_line(self, name: str, *, size: str) -> TableLine:
        """Return what the scenario states about a picture, in the form of `ingest --table`."""
        table = self.folder / f"images_{name}.csv"
        installed_on = self.face.artwork.study.created_at.date()
        write_image_table(table, names=[name], size=size, installed_on=installed_on)
        return read_image_table(table)[0]

    def owner(self, name: str) -> Person:
        """Return who brings a picture in: somebody who works where it was made."""
        entry = next(entry for entry in self.scenario["images"] if entry["name"] == name)
        campaign = next(row for row in self.scenario["campaigns"] if row["key"] == entry["campaign"])
        return self.people["korvander" if campaign["site"] == "north" else "adeyo"]

    def wait_for_jobs(self, image: TechnicalImage) -> None:
        """Wait until no job of an image waits or runs; a stopped one is an error."""
        while (job := self.unfinished_job(image)) is not None:
            if self.does_jobs:
                run_job_here(job, HANDLERS)
            else:
                time.sleep(_LOOK_S)
        stopped = image.jobs.order_by("-wanted_at").first()
        if stopped is not None and stopped.status == JobStatus.STOPPED:
            raise RuntimeError(f"{stopped.get_kind_display()} of {image} stopped: {stopped.error}")

    @staticmethod
    def unfinished_job(image: TechnicalImage) -> Job | None:
        """Return a job of an image that waits or runs."""
        return image.jobs.filter(status__in=[JobStatus.WAITING, JobStatus.RUNNING]).order_by("wanted_at").first()

    def lay(self, name: str, image: TechnicalImage) -> None:
        """Lay a picture as the scenario tells, one registration after the other, and publish the last."""
        self.refuse_first_guess(image)
        points = import_control_points((self.folder / f"control_points_{name}.csv").read_text(encoding="utf-8"))
        for entry in self.registrations_of(name):
            self.register(image, entry, points=points)
        if self.does_jobs:
            self.wait_for_jobs(image)

    def registrations_of(self, name: str) -> list[dict[str, Any]]:
        """Return the registrations of a picture in their order; one of the usual kind where nothing is told."""
        told = [entry for entry in self.scenario["registrations"] if entry["image"] == name]
        return told or [{"image": name, "author": "korvander", "model": "smooth"}]

    @transaction.atomic
    def register(self, image: TechnicalImage, entry: dict[str, Any], *, points: list[ControlPointRow]) -> Registration:
        """Fit, accept and publish one registration, with the fault that the scenario tells of."""
        frame = current_frame(image.face)
        assert frame is not None
        author = self.people[entry["author"]]
        wanted = WantedFit(_with_fault(points, entry.get("fault")), entry["model"])
        registration = register_by_control_points(image, frame, wanted=wanted, made_by=author)
        registration = accept_registration(registration, judge=author, reason=entry.get("note", ""))
        start_publishing(registration, wanted_by=author)
        return registration

    def refuse_first_guess(self, image: TechnicalImage) -> None:
        """Refuse the candidate that was made from the stated scale on receipt."""
        for registration in image.registrations.filter(
            status=RegistrationStatus.CANDIDATE, method=RegistrationMethod.STATED_SCALE
        ):
            refuse_registration(registration, judge=self.people["korvander"], reason=_FIRST_REASON)


def _with_fault(points: list[ControlPointRow], fault: dict[str, Any] | None) -> list[ControlPointRow]:
    """Return points picked as the scenario tells: beyond a place, off by a shift that grows towards the edge."""
    if fault is None:
        return points
    begin_mm, end_mm = fault["from_x_mm"], fault["at_x_mm"]

    def picked(point: ControlPointRow) -> ControlPointRow:
        share = max(0.0, point.frame_mm[0] - begin_mm) / (end_mm - begin_mm)
        x_mm, y_mm = (value - share * shift for value, shift in zip(point.frame_mm, fault["shift_mm"], strict=True))
        return ControlPointRow(point.label, (x_mm, y_mm), point.image_px, is_check=point.is_check)

    return [picked(point) for point in points]
