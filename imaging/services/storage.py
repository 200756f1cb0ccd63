"""What takes space on the disk, and freeing it by explicit choice; a master is never freed."""

import dataclasses
import time
from collections.abc import Iterable
from pathlib import Path

from django.conf import settings
from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from imaging.errors import UnfitStateError
from imaging.models import Person, Pyramid, PyramidKind, Study, TechnicalImage, Upload
from imaging.services.jobs import unfinished_jobs
from imaging.services.storage_paths import absolute_path
from imaging.services.uploading import end_upload, upload_path

__all__ = ["FreeablePiece", "SpaceOfImage", "free_pieces", "freeable_pieces", "space_of_folders", "space_of_images"]

#: An upload whose file has not grown for a day may be freed by a lead before it expires by itself.
_LEFT_ALONE_S = 24 * 3600


@dataclasses.dataclass(frozen=True)
class SpaceOfImage:
    """Bytes on disk that belong to one image."""

    image: TechnicalImage
    master_bytes: int
    levels_bytes: int
    tiles_bytes: int
    replaced_bytes: int

    @property
    def total_bytes(self) -> int:
        """All of it; a master used in place counts nothing here."""
        return self.master_bytes + self.levels_bytes + self.tiles_bytes + self.replaced_bytes


@dataclasses.dataclass(frozen=True)
class FreeablePiece:
    """One file that may be freed, and what that means."""

    key: str
    label: str
    size_bytes: int
    consequence: str
    study: Study
    pyramid: Pyramid | None = None
    upload: Upload | None = None


def space_of_images(images: QuerySet[TechnicalImage]) -> list[SpaceOfImage]:
    """Return what each image takes, the largest first."""
    rows = [
        _space_of_image(image) for image in images.select_related("master", "campaign").prefetch_related("pyramids")
    ]
    return sorted(rows, key=lambda row: row.total_bytes, reverse=True)


def _space_of_image(image: TechnicalImage) -> SpaceOfImage:
    """Return what one image takes, from the rows of its files."""
    kept = [pyramid for pyramid in image.pyramids.all() if pyramid.freed_at is None]
    current = [pyramid for pyramid in kept if pyramid.is_current]
    levels_bytes = sum(pyramid.size_bytes for pyramid in current if pyramid.kind == PyramidKind.READING)
    return SpaceOfImage(
        image=image,
        master_bytes=image.master.size_bytes if image.master and not image.master.is_in_place else 0,
        levels_bytes=levels_bytes,
        tiles_bytes=sum(pyramid.size_bytes for pyramid in current) - levels_bytes,
        replaced_bytes=sum(pyramid.size_bytes for pyramid in kept if not pyramid.is_current),
    )


def space_of_folders() -> dict[str, int]:
    """Return bytes on disk by folder of the data folder, and what is free."""
    data = Path(settings.DATA_DIR)
    sizes = {name: _size_of_folder(data / name) for name in ("masters", "pyramids", "uploads")}
    waiting = Upload.objects.filter(completed_at__isnull=True).count()
    return {**sizes, "open_uploads": waiting}


def _size_of_folder(folder: Path) -> int:
    """Return the bytes of all files below a folder; files that vanish meanwhile count nothing."""
    total = 0
    for path in folder.rglob("*"):
        try:
            total += path.stat().st_size if path.is_file() else 0
        except FileNotFoundError:
            continue
    return total


def freeable_pieces(images: QuerySet[TechnicalImage]) -> list[FreeablePiece]:
    """Return replaced pyramids, derived files that can be made again, and uploads that nobody goes on with.

    Images without work under way only; uploads of the same studies that have been left alone for a day.
    """
    busy = unfinished_jobs().filter(image__isnull=False).values("image")
    wanted = Q(is_current=False) | Q(kind__in=[PyramidKind.READING, PyramidKind.RAW_DISPLAY])
    pyramids = (
        Pyramid.objects.filter(wanted, image__in=images, freed_at__isnull=True)
        .exclude(image__in=busy)
        .select_related("image__face__artwork__study", "image__campaign", "registration")
        .order_by("is_current", "-size_bytes")
    )
    derived = [
        FreeablePiece(
            key=str(pyramid.pk),
            label=_label_of(pyramid),
            size_bytes=pyramid.size_bytes,
            consequence=_consequence_of(pyramid),
            study=pyramid.image.study,
            pyramid=pyramid,
        )
        for pyramid in pyramids
    ]
    return derived + _left_uploads(images)


def _left_uploads(images: QuerySet[TechnicalImage]) -> list[FreeablePiece]:
    """Return the unfinished uploads, to studies of some images, whose file has not grown for a day."""
    studies = images.order_by().values("face__artwork__study")
    uploads = Upload.objects.filter(face__artwork__study__in=studies, completed_at__isnull=True)
    pieces = []
    for upload in uploads.select_related("face__artwork__study"):
        path = upload_path(upload.pk)
        if not path.exists() or time.time() - path.stat().st_mtime < _LEFT_ALONE_S:
            continue
        pieces.append(
            FreeablePiece(
                key=str(upload.pk),
                label=_("Unfinished upload of %(name)s") % {"name": upload.original_name},
                size_bytes=path.stat().st_size,
                consequence=_("Its sender has to begin again; what had arrived is lost."),
                study=upload.face.artwork.study,
                upload=upload,
            )
        )
    return pieces


def _label_of(pyramid: Pyramid) -> str:
    """Return what a piece is."""
    words = {"image": str(pyramid.image), "kind": pyramid.get_kind_display(), "title": pyramid.image.title}
    if pyramid.is_current:
        return _("%(image)s %(title)s: %(kind)s") % words
    return _("%(image)s %(title)s: %(kind)s, replaced") % words


def _consequence_of(pyramid: Pyramid) -> str:
    """Return what freeing a piece means for those who work with the image."""
    if not pyramid.is_current:
        return _("Nothing shown uses it; old figures that name it say where it came from, and can be made again.")
    if pyramid.kind == PyramidKind.READING:
        return _("Windows at a small scale become slow until the image is read again; nothing is lost.")
    return _("The page of control points cannot show the image until it is read again; nothing is lost.")


def free_pieces(pieces: Iterable[FreeablePiece], *, freed_by: Person) -> int:
    """Free chosen pieces and return how many bytes that gave; each stays on record as freed."""
    freed_bytes = 0
    for piece in pieces:
        if piece.upload is not None:
            end_upload(piece.upload)
            freed_bytes += piece.size_bytes
        elif piece.pyramid is not None:
            freed_bytes += _free_pyramid(piece.pyramid, freed_by=freed_by)
    return freed_bytes


def _free_pyramid(pyramid: Pyramid, *, freed_by: Person) -> int:
    """Mark one derived file as freed, then remove it; a kill between the two leaves a file that is swept."""
    with transaction.atomic():
        pyramid = Pyramid.objects.select_for_update().get(pk=pyramid.pk)
        if pyramid.freed_at is not None:
            return 0
        if unfinished_jobs().filter(image=pyramid.image_id).exists():
            raise UnfitStateError(
                noun="image", state="being worked on", needed="at rest", remedy="Wait for its jobs, or stop them."
            )
        if pyramid.is_current and pyramid.kind == PyramidKind.DISPLAY:
            raise UnfitStateError(
                noun="pyramid", state="in use", needed="replaced", remedy="Publish another registration first."
            )
        pyramid.freed_at = timezone.now()
        pyramid.parameters = {**pyramid.parameters, "freed_by": str(freed_by.pk)}
        pyramid.save(update_fields=["freed_at", "parameters"])
    absolute_path(pyramid.path).unlink(missing_ok=True)
    return pyramid.size_bytes
