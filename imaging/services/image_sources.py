"""The pixels of an image: its master on disk, with its lossless reading levels where they exist."""

from imaging.compute.masters.source import MasterSource, open_master
from imaging.compute.pyramid.levels import with_levels
from imaging.errors import UnfitStateError
from imaging.models import PyramidKind, TechnicalImage
from imaging.services.storage_paths import absolute_path

__all__ = ["open_image_source"]


def open_image_source(image: TechnicalImage) -> MasterSource:
    """Return the source of an image's pixels for streams and windows."""
    if image.master is None:
        raise UnfitStateError(noun="image", state=image.status, needed="received", remedy="Bring the file in again.")
    pages = tuple(range(image.metadata.get("page_count", 1))) if image.metadata.get("is_one_band_a_page") else (0,)
    master = open_master(absolute_path(image.master.path), pages=pages)
    levels = image.pyramids.filter(kind=PyramidKind.READING, is_current=True, freed_at__isnull=True).first()
    return with_levels(master, absolute_path(levels.path)) if levels else master
