"""Where files lie: paths in the database are relative to the data folder, in-place masters are absolute."""

import uuid
from pathlib import Path

from django.conf import settings

__all__ = ["absolute_path", "pyramid_path", "relative_path"]


def absolute_path(path: str) -> Path:
    """Return the place on disk of a stored path."""
    return settings.DATA_DIR / path


def relative_path(path: Path) -> str:
    """Return what is stored for a place on disk: relative below the data folder, else absolute."""
    return str(path.relative_to(settings.DATA_DIR)) if path.is_relative_to(settings.DATA_DIR) else str(path)


def pyramid_path(image_id: uuid.UUID, pyramid_id: uuid.UUID) -> Path:
    """Return where a pyramid of an image is built."""
    return Path(settings.DATA_DIR) / "pyramids" / str(image_id) / f"{pyramid_id}.tif"
