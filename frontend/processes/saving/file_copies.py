"""Copy files with their SHA-256; a copy is complete or not there."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

__all__ = ["SavedFile", "copy_with_checksum", "files_below", "sha256_of"]

_CHUNK_BYTES = 4 * 1024 * 1024


@dataclass(frozen=True)
class SavedFile:
    """One file of a backup; the path is relative to the data folder."""

    path: str
    size_bytes: int
    sha256: str


def files_below(folder: Path) -> Iterator[Path]:
    """Yield the finished files of a folder; what begins with a dot is still being written."""
    for parent, folders, names in os.walk(folder):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        for name in sorted(names):
            path = Path(parent) / name
            if not name.startswith(".") and path.is_file():
                yield path


def copy_with_checksum(source: Path, target: Path, *, on_bytes: Callable[[int], None]) -> str:
    """Copy one file durably and return its SHA-256."""
    target.parent.mkdir(parents=True, exist_ok=True)
    aside = target.with_name(f".{target.name}.part")
    digest = hashlib.sha256()
    with source.open("rb") as reading, aside.open("wb") as writing:
        while chunk := reading.read(_CHUNK_BYTES):
            digest.update(chunk)
            writing.write(chunk)
            on_bytes(len(chunk))
        writing.flush()
        os.fsync(writing.fileno())
    aside.replace(target)
    return digest.hexdigest()


def sha256_of(path: Path) -> str:
    """Return the SHA-256 of a file."""
    with path.open("rb") as reading:
        return hashlib.file_digest(reading, "sha256").hexdigest()
