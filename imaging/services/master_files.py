"""Masters on disk: put aside under their checksum, never altered, nothing half written ever seen.

What a process was doing when it was killed is told by two kinds of files in `masters/.incoming`, both locked while
their process lives: `*.part` is a copy under way, `*.place` names a master whose row may not have been committed.
"""

import contextlib
import dataclasses
import enum
import fcntl
import hashlib
import os
import re
import shutil
import stat
import time
import unicodedata
import uuid
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import BinaryIO

from django.conf import settings
from django.db import connection, transaction

from imaging.compute.masters.checksum import sha256_of_file
from imaging.compute.masters.display_name import display_name
from imaging.errors import FileUnreadableError, NoDiskSpaceError
from imaging.models import StoredFile
from imaging.services.storage_paths import absolute_path, relative_path

__all__ = [
    "RESERVE_BYTES",
    "Incoming",
    "PlacedFile",
    "Progress",
    "Receipt",
    "placed_master",
    "readable_file",
    "refuse_full_disk",
    "safe_name",
    "sweep_incoming",
]

Progress = Callable[[int, int], None]

_BLOCK_BYTES = 4 * 2**20
#: Kept free on the disk for the database and the system.
RESERVE_BYTES = 256 * 2**20
#: A copy is created before it is locked; a file this young may be one.
_YOUNG_S = 5.0
_LONGEST_SAFE_NAME = 120
_LONGEST_PATH = 1000
_READ_ONLY = stat.S_IRUSR | stat.S_IRGRP | stat.S_IROTH


class Receipt(enum.Enum):
    """How a file comes in."""

    COPY = "copied aside"
    IN_PLACE = "used in place"
    TAKE = "taken over from the uploads"


@dataclasses.dataclass(frozen=True, kw_only=True)
class Incoming:
    """A file on its way in; `name` is what its sender calls it, `sha256` what the sender says it must be."""

    path: Path
    name: str
    receipt: Receipt = Receipt.COPY
    sha256: str = ""
    image_id: uuid.UUID | None = None


@dataclasses.dataclass(frozen=True)
class PlacedFile:
    """A master in its place; `path` as it is stored in the database."""

    path: str
    sha256: str
    size_bytes: int


def safe_name(name: str) -> str:
    """Return a name for the disk: ASCII letters, digits, points, dashes; nothing of it is ever a path."""
    ascii_name = unicodedata.normalize("NFKD", display_name(name)).encode("ascii", "ignore").decode()
    kept = re.sub(r"[^A-Za-z0-9._-]+", "_", ascii_name).strip("._-")
    if len(kept) > _LONGEST_SAFE_NAME:
        kept = kept[: _LONGEST_SAFE_NAME - 20] + kept[-20:]
    return kept or "master"


def readable_file(path: Path, *, name: str) -> Path:
    """Return the real place of a file that can be read; a folder, a device or a missing file is refused."""
    try:
        real = path.resolve(strict=True)
        if not stat.S_ISREG(real.stat().st_mode):
            raise FileUnreadableError(file_name=name, reason="it is no ordinary file")
        with real.open("rb"):
            pass
    except OSError as err:
        raise FileUnreadableError(file_name=name, reason=err.strerror or str(err)) from err
    if len(str(real)) > _LONGEST_PATH:
        raise FileUnreadableError(file_name=name, reason=f"its path has more than {_LONGEST_PATH} characters")
    return real


def refuse_full_disk(needed_bytes: int, *, name: str) -> None:
    """Refuse work for which the data folder has no room."""
    folder = Path(settings.DATA_DIR)
    folder.mkdir(parents=True, exist_ok=True)
    free_bytes = shutil.disk_usage(folder).free
    if free_bytes < needed_bytes + RESERVE_BYTES:
        raise NoDiskSpaceError(
            file_name=name, needed_bytes=needed_bytes + RESERVE_BYTES, folder=str(folder), free_bytes=free_bytes
        )


def _blocks_of(source: BinaryIO, total_bytes: int, progress: Progress | None) -> Iterator[memoryview]:
    """Yield a file block by block; a block is valid until the next one."""
    buffer = bytearray(_BLOCK_BYTES)
    view, done = memoryview(buffer), 0
    while count := source.readinto(buffer):  # type: ignore[attr-defined]
        yield view[:count]
        done += count
        if progress is not None:
            progress(done, total_bytes)


def _incoming_folder() -> Path:
    """Return the folder for copies under way, made when missing."""
    folder = Path(settings.DATA_DIR) / "masters" / ".incoming"
    folder.mkdir(parents=True, exist_ok=True)
    return folder


@contextlib.contextmanager
def placed_master(incoming: Incoming, *, progress: Progress | None = None) -> Iterator[PlacedFile]:
    """Put a master in its place for a block that writes its row, in one transaction.

    If the block fails, or the process is killed before the commit, the place is cleared again.
    """
    source = readable_file(incoming.path, name=incoming.name)
    if incoming.receipt is Receipt.IN_PLACE:
        sha256 = sha256_of_file(source, progress=progress)
        with transaction.atomic():
            yield PlacedFile(relative_path(source), sha256, source.stat().st_size)
        return
    with _locked_part(source, incoming, progress) as (part, sha256):
        final = Path(settings.DATA_DIR) / "masters" / sha256[:2] / sha256 / safe_name(incoming.name)
        with _intent(final) as is_kept, transaction.atomic():
            _lock_checksum(sha256)
            _move_into_place(part, final)
            yield PlacedFile(relative_path(final), sha256, final.stat().st_size)
            transaction.on_commit(is_kept)
    if incoming.receipt is Receipt.TAKE:
        source.unlink(missing_ok=True)


@contextlib.contextmanager
def _locked_part(source: Path, incoming: Incoming, progress: Progress | None) -> Iterator[tuple[Path, str]]:
    """Yield a file of the incoming folder with the bytes of a source, on disk, and their checksum."""
    part = _incoming_folder() / f"{uuid.uuid4()}.part"
    if incoming.receipt is Receipt.TAKE:
        with source.open("rb") as stream:
            # The lock belongs to the file, not to one of its names, so the second name is never seen unlocked.
            fcntl.flock(stream, fcntl.LOCK_EX)
            if _is_linked(source, part):
                try:
                    yield part, sha256_of_file(part, progress=progress)
                finally:
                    part.unlink(missing_ok=True)
                return
    refuse_full_disk(source.stat().st_size, name=incoming.name)
    with part.open("xb") as target:
        fcntl.flock(target, fcntl.LOCK_EX)
        try:
            yield part, _copied(source, target, progress=progress)
        finally:
            part.unlink(missing_ok=True)


def _is_linked(source: Path, target: Path) -> bool:
    """Give a file a second name; False where the disk cannot."""
    try:
        os.link(source, target)
    except OSError:
        return False
    return True


def _copied(source: Path, target: BinaryIO, *, progress: Progress | None) -> str:
    """Copy a file to an open one, down to the disk, and return the SHA-256 of what was written."""
    digest = hashlib.sha256()
    with source.open("rb") as stream:
        for block in _blocks_of(stream, source.stat().st_size, progress):
            digest.update(block)
            target.write(block)
    target.flush()
    os.fsync(target.fileno())
    return digest.hexdigest()


def _move_into_place(part: Path, final: Path) -> None:
    """Give a complete file its final name, read-only; the same bytes that lie there already stay."""
    if final.exists():
        return
    final.parent.mkdir(parents=True, exist_ok=True)
    part.chmod(_READ_ONLY)
    part.replace(final)
    for folder in (final.parent, final.parent.parent):
        _sync_folder(folder)


def _sync_folder(folder: Path) -> None:
    """Bring the names in a folder to the disk."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _lock_checksum(sha256: str) -> None:
    """Serialise everything about the place of one checksum until the end of the transaction."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(%s)", [int(sha256[:15], 16)])


@contextlib.contextmanager
def _intent(final: Path) -> Iterator[Callable[[], None]]:
    """Write down that a file is about to be placed; yield what to call once its row is committed."""
    place = _incoming_folder() / f"{uuid.uuid4()}.place"
    new, is_kept = place.with_suffix(".new"), []
    with new.open("x", encoding="utf-8") as note:
        fcntl.flock(note, fcntl.LOCK_EX)
        note.write(relative_path(final))
        note.flush()
        os.fsync(note.fileno())
        new.replace(place)
        try:
            yield lambda: is_kept.append(True)
        finally:
            if not is_kept:
                _clear_unclaimed(relative_path(final))
            place.unlink(missing_ok=True)


def _clear_unclaimed(path: str) -> None:
    """Remove a placed file that no row claims."""
    final = absolute_path(path)
    with transaction.atomic():
        _lock_checksum(final.parent.name)
        if StoredFile.objects.filter(path=path).exists():
            return
        final.unlink(missing_ok=True)
        for folder in (final.parent, final.parent.parent):
            with contextlib.suppress(OSError):
                folder.rmdir()


def sweep_incoming() -> int:
    """Clear what killed processes left in the incoming folder; return how many files that were."""
    swept = 0
    for path in sorted(_incoming_folder().iterdir()):
        with contextlib.suppress(FileNotFoundError), path.open("rb") as file:
            is_young = time.time() - path.stat().st_mtime < _YOUNG_S
            if (path.suffix != ".place" and is_young) or not _is_lock_free(file):
                continue
            if path.suffix == ".place":
                _clear_unclaimed(file.read().decode())
            path.unlink(missing_ok=True)
            swept += 1
    return swept


def _is_lock_free(file: BinaryIO) -> bool:
    """Return whether no living process holds a file's lock."""
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True
