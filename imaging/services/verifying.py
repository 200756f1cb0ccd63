"""Check every checksum and every reference again: what is written down against what lies on the disk."""

import dataclasses
import uuid
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db.models import Sum
from django.utils import timezone

from imaging.compute.maps import FrameMap
from imaging.compute.masters.checksum import sha256_of_file
from imaging.errors import ImagingError
from imaging.models import (
    ImageStatus,
    JobKind,
    Pyramid,
    PyramidKind,
    Registration,
    RegistrationStatus,
    StoredFile,
    TechnicalImage,
    Upload,
)
from imaging.services.job_runs import JobRun
from imaging.services.jobs import start_job
from imaging.services.master_files import sweep_incoming
from imaging.services.publishing import start_publishing
from imaging.services.pyramid_files import sweep_pyramid_parts
from imaging.services.storage_paths import absolute_path, relative_path

__all__ = ["Finding", "repair", "run_verification", "total_bytes", "verify_everything"]

_Progress = Callable[[int, int], None]


@dataclasses.dataclass(frozen=True)
class Finding:
    """One thing that was checked; `problem` is empty where it holds."""

    kind: str
    name: str
    sha256: str = ""
    size_bytes: int = 0
    problem: str = ""
    row: Any = dataclasses.field(default=None, compare=False, repr=False)

    def to_json(self) -> dict[str, Any]:
        """Return the finding as one JSON object."""
        document = {name: getattr(self, name) for name in ("kind", "name", "sha256", "size_bytes", "problem")}
        return {**document, "holds": not self.problem}


class _Count:
    """Turns the progress of one file after another into bytes of all of them."""

    def __init__(self, total: int, progress: _Progress | None, is_cancelled: Callable[[], bool] | None):
        self.total, self.progress, self.is_cancelled = total, progress, is_cancelled
        self.before = 0

    def sha256_of(self, path: Path, size_bytes: int) -> str:
        """Return the checksum of one file, telling how far all of it is."""

        def report(done: int, _: int) -> None:
            if self.progress is not None:
                self.progress(self.before + done, self.total)

        sha256 = sha256_of_file(path, progress=report, is_cancelled=self.is_cancelled)
        self.before += size_bytes
        return sha256


def total_bytes() -> int:
    """Return how many bytes a verification reads."""
    masters = StoredFile.objects.aggregate(total=Sum("size_bytes"))["total"] or 0
    pyramids = Pyramid.objects.filter(freed_at__isnull=True).aggregate(total=Sum("size_bytes"))["total"] or 0
    return int(masters + pyramids)


def verify_everything(
    *, progress: _Progress | None = None, is_cancelled: Callable[[], bool] | None = None
) -> Iterator[Finding]:
    """Yield a finding for each file and each reference; leftovers of killed processes are cleared first."""
    sweep_incoming()
    sweep_pyramid_parts()
    count = _Count(total_bytes(), progress, is_cancelled)
    yield from _check_masters(count)
    yield from _check_pyramids(count)
    yield from _check_unknown_files()
    yield from _check_images()
    yield from _check_registrations()


def _check_masters(count: _Count) -> Iterator[Finding]:
    """Compare every master, in the data folder or in place, with the checksum taken on receipt."""
    for row in StoredFile.objects.order_by("original_name", "sha256"):
        finding = _compared("master", row.original_name, row, count=count)
        if not finding.problem:
            StoredFile.objects.filter(pk=row.pk).update(checked_at=timezone.now())
        yield finding


def _check_pyramids(count: _Count) -> Iterator[Finding]:
    """Compare every derived file with its checksum; a freed one must be gone."""
    rows = Pyramid.objects.select_related("image__campaign", "image__master").order_by("image__brought_in_at", "kind")
    for row in rows:
        original = row.image.master.original_name if row.image.master else ""
        name = f"{row.image} {row.image.title or original}".strip()
        if row.freed_at is None:
            yield _compared(row.kind, name, row, count=count)
        elif absolute_path(row.path).exists():
            yield Finding(row.kind, name, problem="was freed but is still on the disk", row=row)


def _compared(kind: str, name: str, row: StoredFile | Pyramid, *, count: _Count) -> Finding:
    """Compare one file with its row."""
    path = absolute_path(row.path)
    problem = ""
    try:
        size_bytes = path.stat().st_size
        if size_bytes != row.size_bytes:
            problem = f"has {size_bytes:,} bytes, {row.size_bytes:,} are recorded"
        elif count.sha256_of(path, size_bytes) != row.sha256:
            problem = "has another SHA-256 than recorded; its bytes have changed"
    except OSError as error:
        problem = f"cannot be read at {row.path}: {error.strerror or error}"
    return Finding(kind, name, row.sha256, row.size_bytes, problem, row)


def _check_unknown_files() -> Iterator[Finding]:
    """Find files of the data folder that no row knows."""
    data = Path(settings.DATA_DIR)
    known = set(StoredFile.objects.values_list("path", flat=True)) | set(Pyramid.objects.values_list("path", flat=True))
    for folder, pattern in (("masters", "*/*/*"), ("pyramids", "*/*")):
        for path in sorted((data / folder).glob(pattern)):
            is_hidden = any(part.startswith(".") for part in path.relative_to(data).parts)
            is_unknown = path.is_file() and not is_hidden and relative_path(path) not in known
            if is_unknown and not _is_claimed_now(relative_path(path)):
                yield Finding("file", relative_path(path), problem="belongs to no row; nothing refers to it")
    for path in sorted((data / "uploads").glob("*")):
        upload_id = _uuid_or_none(path.name)
        if upload_id is None or not Upload.objects.filter(pk=upload_id).exists():
            yield Finding("file", relative_path(path), problem="belongs to no upload; nothing refers to it")


def _is_claimed_now(path: str) -> bool:
    """Return whether a row for a file was written, or its writer is at work, since the rows were listed."""
    if StoredFile.objects.filter(path=path).exists() or Pyramid.objects.filter(path=path).exists():
        return True
    return any((Path(settings.DATA_DIR) / "masters" / ".incoming").glob("*.place")) or _has_unfinished_build(path)


def _has_unfinished_build(path: str) -> bool:
    """Return whether a job is building for the image that a derived file belongs to."""
    image_id = _uuid_or_none(Path(path).parent.name)
    if image_id is None:
        return False
    return TechnicalImage.objects.filter(pk=image_id, jobs__status__in=["waiting", "running"]).exists()


def _uuid_or_none(text: str) -> uuid.UUID | None:
    """Return an id, or None for anything else."""
    try:
        return uuid.UUID(text)
    except ValueError:
        return None


def _check_images() -> Iterator[Finding]:
    """Check that each image has what its state promises."""
    for image in TechnicalImage.objects.select_related("campaign", "master").prefetch_related("pyramids"):
        kinds = {pyramid.kind for pyramid in image.pyramids.all() if pyramid.is_current}
        problem = ""
        if image.master is None:
            problem = "has no master"
        elif image.status in (ImageStatus.READ, ImageStatus.PUBLISHED) and PyramidKind.READING not in kinds:
            problem = "is read but has no reading levels"
        elif image.status == ImageStatus.PUBLISHED and PyramidKind.DISPLAY not in kinds:
            problem = "is published but has no display tiles"
        yield Finding("image", f"{image} {image.title}".strip(), problem=problem, row=image)


def _check_registrations() -> Iterator[Finding]:
    """Check that each accepted registration holds a map, on a frame of its image's own face."""
    accepted = Registration.objects.filter(status=RegistrationStatus.ACCEPTED)
    for registration in accepted.select_related("image__campaign", "frame"):
        problem = ""
        try:
            FrameMap.from_json(registration.map)
        except (ImagingError, ValueError, KeyError, TypeError) as error:
            problem = f"has a map that cannot be read: {error}"
        if registration.frame.face_id != registration.image.face_id:
            problem = "lies on the frame of another face"
        yield Finding("registration", str(registration), problem=problem, row=registration)


def repair(finding: Finding) -> str:
    """Start the job that makes a bad derived file again; return what was done, empty if nothing can be."""
    pyramid = finding.row
    if not isinstance(pyramid, Pyramid) or not finding.problem:
        return ""
    absolute_path(pyramid.path).unlink(missing_ok=True)
    pyramid.freed_at = pyramid.freed_at or timezone.now()
    pyramid.save(update_fields=["freed_at"])
    if not pyramid.is_current:
        return "removed; it was replaced already"
    if pyramid.kind != PyramidKind.DISPLAY:
        start_job(JobKind.READ, image=pyramid.image)
        return "the image is read again"
    if pyramid.registration is not None and pyramid.registration.status == RegistrationStatus.ACCEPTED:
        start_publishing(pyramid.registration)
        return "its registration is published again"
    return ""


def run_verification(run: JobRun) -> dict[str, Any]:
    """Run the VERIFY job: count what holds, keep what does not."""
    run.begin_stage("verify")
    checked, problems = 0, []
    for finding in verify_everything(progress=run.report, is_cancelled=run.is_cancelled):
        checked += 1
        if finding.problem:
            problems.append(finding.to_json())
    return {"checked": checked, "problems": problems[:1000], "problem_count": len(problems)}
