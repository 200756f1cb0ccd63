"""Resumable uploads: a row and a growing file; how much has arrived is the length of the file, nothing else."""

import contextlib
import dataclasses
import datetime as dt
import fcntl
import os
import shutil
import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import connection
from django.db.models import Sum
from django.utils import timezone

from imaging.access import Viewer, access_face, access_upload, require_role
from imaging.compute.masters.display_name import display_name
from imaging.errors import (
    FieldRefusedError,
    ImagingError,
    NoDiskSpaceError,
    UploadBusyError,
    UploadGoneError,
    UploadTooLargeError,
)
from imaging.models import Person, Role, Upload
from imaging.services.jobs import lock_number
from imaging.services.master_files import RESERVE_BYTES, Incoming, Receipt
from imaging.services.receiving import bring_in_image, check_slip
from imaging.services.slips import read_slip

__all__ = [
    "Outcome",
    "arrived_bytes_of",
    "begin_upload",
    "end_upload",
    "expire_uploads",
    "find_upload",
    "finish_upload",
    "has_outcome",
    "keep_alive",
    "upload_path",
    "written_upload",
]

_SHA256_HEX = 64


def upload_path(upload_id: uuid.UUID) -> Path:
    """Return the growing file of an upload; its name is its id, never anything a person gave."""
    folder = Path(settings.DATA_DIR) / "uploads"
    folder.mkdir(parents=True, exist_ok=True)
    return folder / str(upload_id)


def begin_upload(viewer: Viewer, *, face_id: str, size_bytes: int, name: str, fields: dict[str, Any]) -> Upload:
    """Make an empty upload after checking everything that can be known before the first byte."""
    face = access_face(viewer, face_id)
    require_role(viewer, face.artwork.study, needed=Role.CONTRIBUTOR)
    assert isinstance(viewer, Person)
    if size_bytes > settings.MAX_UPLOAD_BYTES:
        raise UploadTooLargeError(size_bytes=size_bytes, limit_bytes=settings.MAX_UPLOAD_BYTES)
    if size_bytes == 0:
        raise FieldRefusedError(field="size", given="0 bytes", needed="a file that is not empty")
    sha256 = str(fields.pop("sha256", "") or "").lower()
    if sha256 and not (len(sha256) == _SHA256_HEX and set(sha256) <= set("0123456789abcdef")):
        raise FieldRefusedError(field="sha256", given=sha256[:80], needed="64 hexadecimal digits")
    check_slip(read_slip(fields), face=face, person=viewer)
    _refuse_crowded_disk(size_bytes, name=display_name(name))
    upload = Upload.objects.create(
        face=face,
        person=viewer,
        size_bytes=size_bytes,
        original_name=display_name(name),
        slip={"fields": fields, "sha256": sha256},
        expires_at=timezone.now() + dt.timedelta(days=settings.UPLOAD_KEPT_DAYS),
    )
    upload_path(upload.pk).touch()
    return upload


def _refuse_crowded_disk(size_bytes: int, *, name: str) -> None:
    """Refuse an upload for which there is no room beside what other uploads still have to bring."""
    folder = upload_path(uuid.UUID(int=0)).parent
    open_uploads = Upload.objects.filter(completed_at__isnull=True, expires_at__gt=timezone.now())
    promised_bytes = open_uploads.aggregate(total=Sum("size_bytes"))["total"] or 0
    arrived_bytes = sum(path.stat().st_size for path in folder.iterdir() if path.is_file())
    needed_bytes = size_bytes + max(0, promised_bytes - arrived_bytes) + RESERVE_BYTES
    free_bytes = shutil.disk_usage(folder).free
    if free_bytes < needed_bytes:
        raise NoDiskSpaceError(file_name=name, needed_bytes=needed_bytes, folder=str(folder), free_bytes=free_bytes)


def find_upload(viewer: Viewer, upload_id: str) -> Upload:
    """Return one's own upload; NotFoundError for all others, UploadGoneError when its time is over."""
    upload = access_upload(viewer, upload_id)
    if upload.expires_at <= timezone.now():
        raise UploadGoneError
    if not has_outcome(upload) and not upload_path(upload.pk).exists():
        raise UploadGoneError
    require_role(viewer, upload.face.artwork.study, needed=Role.CONTRIBUTOR)
    return upload


def has_outcome(upload: Upload) -> bool:
    """Return whether an upload was brought in or refused."""
    return "outcome" in upload.slip


@contextlib.contextmanager
def written_upload(upload: Upload) -> Iterator[int]:
    """Open the growing file at its end for one writer; yield its descriptor."""
    try:
        descriptor = os.open(upload_path(upload.pk), os.O_RDWR)
    except FileNotFoundError:
        raise UploadGoneError from None
    try:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise UploadBusyError from None
        os.lseek(descriptor, 0, os.SEEK_END)
        yield descriptor
    finally:
        os.close(descriptor)


def arrived_bytes_of(upload: Upload) -> int:
    """Return how much has arrived: everything, once the file was taken over."""
    if has_outcome(upload):
        return upload.size_bytes
    try:
        return upload_path(upload.pk).stat().st_size
    except FileNotFoundError:
        raise UploadGoneError from None


@dataclasses.dataclass(frozen=True)
class Outcome:
    """What became of a complete upload: ids, or the code and sentence of a refusal; empty while under way."""

    texts: dict[str, str]
    error: ImagingError | None = None


def finish_upload(upload_id: uuid.UUID) -> Outcome:
    """Bring a complete upload in, once.

    A killed process leaves the upload complete without an outcome; the next question about it finishes it.
    """
    with _finishing_lock(upload_id) as is_ours:
        if not is_ours:
            return Outcome({})
        upload = Upload.objects.select_related("person", "face__artwork__study").get(pk=upload_id)
        if has_outcome(upload):
            return Outcome(dict(upload.slip["outcome"]))
        outcome = _bring_in_upload(upload)
        upload.slip["outcome"] = outcome.texts
        upload.completed_at = timezone.now()
        upload.save(update_fields=["slip", "completed_at"])
        upload_path(upload.pk).unlink(missing_ok=True)
        return outcome


def _bring_in_upload(upload: Upload) -> Outcome:
    """Bring the file of an upload in under the upload's own id, so that doing it twice makes one image."""
    incoming = Incoming(
        path=upload_path(upload.pk),
        name=upload.original_name,
        receipt=Receipt.TAKE,
        sha256=upload.slip.get("sha256", ""),
        image_id=upload.pk,
    )
    try:
        came = bring_in_image(incoming, read_slip(upload.slip["fields"]), face=upload.face, person=upload.person)
    except ImagingError as error:
        return Outcome({"code": error.code, "error": str(error)}, error)
    duplicate = {"duplicate_of": str(came.duplicates[0].pk)} if came.duplicates else {}
    return Outcome({"image": str(came.image.pk), "job": str(came.job.pk), **duplicate})


@contextlib.contextmanager
def _finishing_lock(upload_id: uuid.UUID) -> Iterator[bool]:
    """Hold the right to finish an upload, on any server process; yield whether it was free."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_lock(%s)", [lock_number(upload_id)])
        is_ours = bool(cursor.fetchone()[0])
        try:
            yield is_ours
        finally:
            if is_ours:
                cursor.execute("SELECT pg_advisory_unlock(%s)", [lock_number(upload_id)])


def keep_alive(upload: Upload) -> None:
    """Count the time until an upload expires from now on."""
    upload.expires_at = timezone.now() + dt.timedelta(days=settings.UPLOAD_KEPT_DAYS)
    upload.save(update_fields=["expires_at"])


def end_upload(upload: Upload) -> None:
    """Give an upload up: its bytes and its row go; an image that it became stays."""
    if not has_outcome(upload):
        with written_upload(upload):
            upload_path(upload.pk).unlink(missing_ok=True)
    upload.delete()


def expire_uploads() -> int:
    """Remove uploads whose time is over, and files without a row; return how many."""
    expired = 0
    for upload in Upload.objects.filter(expires_at__lte=timezone.now()):
        with contextlib.suppress(UploadBusyError, UploadGoneError):
            end_upload(upload)
            expired += 1
    return expired
