"""The list of what a backup holds; it is written last, so without it a backup is not complete."""

from __future__ import annotations

import json
import os
from dataclasses import asdict, dataclass
from pathlib import Path

from frontend.installation.refusal import InstallationError
from frontend.processes.saving.file_copies import SavedFile

__all__ = ["BackupManifest"]

_NAME = "backup.json"
_TYPE = "mahlstick-backup"
_VERSION = 1


@dataclass(frozen=True)
class BackupManifest:
    """What is in a backup, by whom and when it was made."""

    made_at: str
    software_version: str
    database_sha256: str
    files: tuple[SavedFile, ...]

    @property
    def size_bytes(self) -> int:
        """Return the size of all files without the database."""
        return sum(saved.size_bytes for saved in self.files)

    def write(self, folder: Path) -> None:
        """Write the list durably, under its name only when it is whole."""
        content = {"type": _TYPE, "version": _VERSION, **asdict(self)}
        aside = folder / f".{_NAME}.part"
        with aside.open("w", encoding="utf-8") as writing:
            json.dump(content, writing, indent=1)
            writing.flush()
            os.fsync(writing.fileno())
        aside.replace(folder / _NAME)

    @classmethod
    def read(cls, folder: Path) -> BackupManifest:
        """Read the list of a backup, or say what is wrong with it."""
        path = folder / _NAME
        if not path.is_file():
            raise InstallationError(
                f"{folder} holds no complete backup ({_NAME} is missing, which is written last): give the folder of a "
                "backup that was finished."
            )
        try:
            content = json.loads(path.read_text(encoding="utf-8"))
            if content["type"] != _TYPE or content["version"] > _VERSION:
                raise InstallationError(
                    f"{path} is of type {content['type']}, version {content['version']}; this release reads {_TYPE} up "
                    f"to version {_VERSION}: restore with the release that made it, or a newer one."
                )
            files = tuple(SavedFile(**saved) for saved in content["files"])
            return cls(content["made_at"], content["software_version"], content["database_sha256"], files)
        except (KeyError, TypeError, ValueError) as problem:
            raise InstallationError(f"{path} is damaged ({problem}): take another copy of this backup.") from problem
