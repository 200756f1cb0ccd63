"""Write a backup: the database first, then the files it speaks of, then the list of all."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

from frontend.installation.disk import MIB_BYTES, refuse_full_disk
from frontend.installation.progress import Progress
from frontend.installation.refusal import InstallationError
from frontend.processes.saving.database_dump import DatabaseDump
from frontend.processes.saving.file_copies import SavedFile, copy_with_checksum, files_below, sha256_of
from frontend.processes.saving.manifest import BackupManifest

__all__ = ["DATABASE_FILE", "FILES_FOLDER", "SAVED_FOLDERS", "write_backup"]

DATABASE_FILE = "database.dump"
FILES_FOLDER = "files"
#: Masters cannot be made again; pyramids can, but a restored installation should not wait for it.
SAVED_FOLDERS = ("masters", "pyramids")
_ROOM_FOR_DATABASE_BYTES = 500 * MIB_BYTES


def write_backup(folder: Path, *, data: Path, database: DatabaseDump, software_version: str) -> BackupManifest:
    """Write a backup into a new or empty folder and return its list.

    Masters never change and pyramids get a new name with each version, so that files copied after
    the database hold everything it speaks of.
    """
    if folder.exists() and any(folder.iterdir()):
        raise InstallationError(f"{folder} is not empty: name a new folder, so that no earlier backup is lost.")
    sources = [path for name in SAVED_FOLDERS for path in files_below(data / name)]
    total_bytes = sum(path.stat().st_size for path in sources)
    refuse_full_disk(folder, needed_bytes=total_bytes + _ROOM_FOR_DATABASE_BYTES, purpose="This backup")
    folder.mkdir(parents=True, exist_ok=True)
    database.write(folder / DATABASE_FILE)
    # Listed again: what came in while the database was being written belongs to it or does no harm.
    sources = [path for name in SAVED_FOLDERS for path in files_below(data / name)]
    files = _copy(sources, data=data, target=folder / FILES_FOLDER, total_bytes=total_bytes)
    manifest = BackupManifest(
        made_at=dt.datetime.now(dt.UTC).isoformat(timespec="seconds"),
        software_version=software_version,
        database_sha256=sha256_of(folder / DATABASE_FILE),
        files=files,
    )
    manifest.write(folder)
    return manifest


def _copy(sources: list[Path], *, data: Path, target: Path, total_bytes: int) -> tuple[SavedFile, ...]:
    copied_bytes = 0
    files = []
    with Progress("Saving files") as progress:

        def on_bytes(count: int) -> None:
            nonlocal copied_bytes
            copied_bytes += count
            progress.update(copied_bytes / max(total_bytes, 1))

        for source in sources:
            name = source.relative_to(data).as_posix()
            try:
                sha256 = copy_with_checksum(source, target / name, on_bytes=on_bytes)
            except FileNotFoundError:
                # Freed by somebody since it was listed; its row says so, or verify will.
                continue
            files.append(SavedFile(name, (target / name).stat().st_size, sha256))
    return tuple(files)
