"""Refuse work that the disk has no room for, before it starts."""

from __future__ import annotations

import shutil
from pathlib import Path

from frontend.installation.refusal import InstallationError

__all__ = ["GIB_BYTES", "MIB_BYTES", "refuse_full_disk"]

MIB_BYTES = 1024 * 1024
GIB_BYTES = 1024 * MIB_BYTES


def refuse_full_disk(folder: Path, *, needed_bytes: int, purpose: str) -> None:
    """Raise an error with numbers when the disk of a folder has less free than needed."""
    existing = folder
    while not existing.exists():
        existing = existing.parent
    free_bytes = shutil.disk_usage(existing).free
    if free_bytes >= needed_bytes:
        return
    raise InstallationError(
        f"{purpose} needs {needed_bytes / GIB_BYTES:.1f} GiB on the disk of {folder}, which has "
        f"{free_bytes / GIB_BYTES:.1f} GiB free: make room there, or set MAHLSTICK_DATA to a "
        "folder on a larger disk if the data is what does not fit, and run this command again."
    )
