"""Works and their faces, entered and corrected by contributors."""

from typing import Any

from django.db import transaction

from imaging.errors import FieldRefusedError
from imaging.models import Artwork, Face, FaceKind, Study

__all__ = ["WORK_FIELDS", "add_face", "correct_work", "enter_work"]

#: What a person states about a work.
WORK_FIELDS = (
    "inventory_number",
    "title",
    "maker",
    "medium",
    "dating",
    "earliest_year",
    "latest_year",
    "height_mm",
    "width_mm",
    "depth_mm",
    "size_of",
    "owner",
    "credit_line",
    "rights_uri",
    "part_of",
)
_LARGEST_SIDE_MM = 100_000.0


@transaction.atomic
def enter_work(study: Study, fields: dict[str, Any]) -> Artwork:
    """Return a new work of a study with its front."""
    _refuse_unfit_work(study, fields, None)
    artwork = Artwork.objects.create(study=study, **fields)
    Face.objects.create(artwork=artwork, kind=FaceKind.FRONT)
    return artwork


@transaction.atomic
def correct_work(artwork: Artwork, fields: dict[str, Any]) -> Artwork:
    """Correct what is stated about a work; what stood before is in its history."""
    artwork = Artwork.objects.select_for_update().get(pk=artwork.pk)
    _refuse_unfit_work(artwork.study, fields, artwork)
    for name, value in fields.items():
        setattr(artwork, name, value)
    artwork.save()
    return artwork


def _refuse_unfit_work(study: Study, fields: dict[str, Any], artwork: Artwork | None) -> None:
    """Refuse a number that is taken, sizes no work has, and a work that would be part of itself."""
    same = Artwork.objects.filter(study=study, inventory_number=fields.get("inventory_number"))
    if artwork is not None:
        same = same.exclude(pk=artwork.pk)
    if same.exists():
        raise FieldRefusedError(
            field="inventory_number", given=f"{fields['inventory_number']}, taken", needed="a number of its own"
        )
    for name in ("height_mm", "width_mm"):
        if name in fields and not 0.0 < fields[name] <= _LARGEST_SIDE_MM:
            raise FieldRefusedError(field=name, given=f"{fields[name]} mm", needed="above 0 and at most 100 m")
    whole = fields.get("part_of")
    while whole is not None:
        if artwork is not None and whole.pk == artwork.pk:
            raise FieldRefusedError(field="part_of", given="a part of this work", needed="another work")
        whole = whole.part_of


@transaction.atomic
def add_face(artwork: Artwork, kind: FaceKind) -> Face:
    """Return a face of a work, making it if it is new."""
    face, _ = Face.objects.get_or_create(artwork=artwork, kind=kind)
    return face
