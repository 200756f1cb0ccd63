"""Restore a backup into an empty installation: all of it, checked, or nothing."""

from __future__ import annotations

import shutil
from pathlib import Path

from frontend.installation.disk import MIB_BYTES, refuse_full_disk
from frontend.installation.progress import Progress
from frontend.installation.refusal import InstallationError
from frontend.processes.saving.backup import DATABASE_FILE, FILES_FOLDER, SAVED_FOLDERS
from frontend.processes.saving.database_dump import DatabaseDump
from frontend.processes.saving.file_copies import copy_with_checksum, files_below, sha256_of
from frontend.processes.saving.manifest import BackupManifest

__all__ = ["restore_backup"]

_ROOM_FOR_DATABASE_BYTES = 500 * MIB_BYTES


def restore_backup(folder: Path, *, data: Path, database: DatabaseDump, is_database_empty: bool) -> BackupManifest:
    """Bring a backup back and return its list; what an interrupted restoration left is redone."""
    manifest = BackupManifest.read(folder)
    unfinished = data / "run" / "restore.unfinished"
    if not is_database_empty or (not unfinished.exists() and _has_files(data)):
        raise InstallationError(
            f"The installation in {data} is not empty, and restoring would mix two: set MAHLSTICK_DATA to a new folder "
            "(and DATABASE_URL, if it is set, to an empty database) and run this command again."
        )
    refuse_full_disk(data, needed_bytes=manifest.size_bytes + _ROOM_FOR_DATABASE_BYTES, purpose="Restoring this backup")
    dump = folder / DATABASE_FILE
    if not dump.is_file() or sha256_of(dump) != manifest.database_sha256:
        raise InstallationError(
            f"{dump} is missing or damaged (its SHA-256 differs): take another copy of this backup."
        )
    unfinished.parent.mkdir(parents=True, exist_ok=True)
    unfinished.touch()
    for name in SAVED_FOLDERS:
        shutil.rmtree(data / name, ignore_errors=True)
    _copy_back(manifest, folder / FILES_FOLDER, data)
    database.read(dump)
    unfinished.unlink()
    return manifest


def _copy_back(manifest: BackupManifest, source: Path, data: Path) -> None:
    copied_bytes = 0
    with Progress("Restoring files") as progress:

        def on_bytes(count: int) -> None:
            nonlocal copied_bytes
            copied_bytes += count
            progress.update(copied_bytes / max(manifest.size_bytes, 1))

        for saved in manifest.files:
            place = _place_in(data, saved.path)
            original = source / saved.path
            if not original.is_file():
                raise InstallationError(f"{original} is missing from the backup: take another copy of it.")
            if copy_with_checksum(original, place, on_bytes=on_bytes) != saved.sha256:
                raise InstallationError(
                    f"{original} is damaged (its SHA-256 differs from the list of the backup): take another copy of it."
                )


def _place_in(data: Path, name: str) -> Path:
    """Return where a file of the list belongs; a list cannot name a place outside."""
    place = (data / name).resolve()
    if not any(place.is_relative_to((data / folder).resolve()) for folder in SAVED_FOLDERS):
        raise InstallationError(f"The backup names a file outside the data folder ({name}) and is not restored.")
    return place


def _has_files(data: Path) -> bool:
    return any(True for name in SAVED_FOLDERS for _ in files_below(data / name))
