"""Derived files: named so that a repeated run writes the same file, taken over only when complete."""

import contextlib
import dataclasses
import fcntl
import time
import uuid
from pathlib import Path
from typing import Any

from django.conf import settings

from imaging.compute.masters.checksum import sha256_of_file
from imaging.models import Job, Pyramid, PyramidKind, TechnicalImage
from imaging.services.job_runs import JobRun
from imaging.services.jobs import unfinished_jobs
from imaging.services.storage_paths import pyramid_path, relative_path
from imaging.services.versions import SOFTWARE_VERSION

__all__ = ["BuiltFile", "built_file", "keep_pyramid", "place_to_build", "pyramid_id_of", "sweep_pyramid_parts"]

#: A part is created before it is locked; a file this young may be one.
_YOUNG_S = 5.0


@dataclasses.dataclass(frozen=True)
class BuiltFile:
    """A complete derived file that has no row yet."""

    id: uuid.UUID
    kind: PyramidKind
    path: Path
    sha256: str
    size_bytes: int


def pyramid_id_of(job: Job, kind: PyramidKind) -> uuid.UUID:
    """Return the id of what a job builds: the same at every attempt, so a killed one leaves no stray file."""
    return uuid.uuid5(job.pk, kind.value)


def place_to_build(run: JobRun, kind: PyramidKind) -> Path:
    """Return where a job builds a file of a kind; its folder exists."""
    assert run.job.image_id is not None
    path = pyramid_path(run.job.image_id, pyramid_id_of(run.job, kind))
    path.parent.mkdir(parents=True, exist_ok=True)
    return path


def built_file(run: JobRun, kind: PyramidKind) -> BuiltFile:
    """Return what a job has built, with its checksum."""
    path = place_to_build(run, kind)
    sha256 = sha256_of_file(path, progress=run.report, is_cancelled=run.is_cancelled)
    return BuiltFile(pyramid_id_of(run.job, kind), kind, path, sha256, path.stat().st_size)


def keep_pyramid(built: BuiltFile, image: TechnicalImage, **fields: Any) -> Pyramid:
    """Write the row of a built file as the current one of its kind; inside `JobRun.committing`."""
    image.pyramids.filter(kind=built.kind, is_current=True).exclude(pk=built.id).update(is_current=False)
    pyramid, _ = Pyramid.objects.update_or_create(
        id=built.id,
        defaults={
            "image": image,
            "kind": built.kind,
            "path": relative_path(built.path),
            "sha256": built.sha256,
            "size_bytes": built.size_bytes,
            "software_version": SOFTWARE_VERSION,
            "is_current": True,
            "freed_at": None,
            **fields,
        },
    )
    return pyramid


def sweep_pyramid_parts() -> int:
    """Remove what killed, stopped or cancelled builds left behind; return how many files."""
    folder = Path(settings.DATA_DIR) / "pyramids"
    parts, finals = sorted(folder.glob("*/.*.part")), sorted(folder.glob("*/[!.]*.tif"))
    return sum(_is_removed_part(part) for part in parts) + sum(_is_removed_final(final) for final in finals)


def _is_removed_part(part: Path) -> bool:
    """Remove a part that no living process writes."""
    with contextlib.suppress(FileNotFoundError), part.open("rb") as file:
        if time.time() - part.stat().st_mtime < _YOUNG_S:
            return False
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        part.unlink(missing_ok=True)
        return True
    return False


def _is_removed_final(final: Path) -> bool:
    """Remove a complete file that no row and no unfinished job will ever claim, or whose row is freed.

    Rows are looked up after the jobs: a job that has ended meanwhile has written its rows before.
    """
    try:
        image_id = uuid.UUID(final.parent.name)
    except ValueError:
        return False
    if unfinished_jobs().filter(image=image_id).exists():
        return False
    if Pyramid.objects.filter(path=relative_path(final), freed_at__isnull=True).exists():
        return False
    final.unlink(missing_ok=True)
    return True
