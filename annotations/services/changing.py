"""Change an annotation: reshape, reword, withdraw. Each makes one revision, guarded by the one it began from."""

from collections.abc import Mapping
from typing import Any

from django.db import transaction
from shapely.geometry.base import BaseGeometry

from annotations.access import RELATED
from annotations.errors import AnnotationWithdrawnError
from annotations.models import Annotation, AnnotationStatus
from annotations.services.announcing import announce
from annotations.services.placing import columns_of_shape
from annotations.services.words import refuse_unfit_words
from imaging.errors import EditConflictError
from imaging.models import Person

__all__ = ["change_annotation", "reshape_annotation", "reword_annotation", "withdraw_annotation"]


def reshape_annotation(
    annotation: Annotation, *, shape_mm: BaseGeometry, editor: Person, expected_revision: int
) -> Annotation:
    """Give an annotation another shape."""
    return change_annotation(
        annotation, shape_mm=shape_mm, words={}, editor=editor, expected_revision=expected_revision
    )


def reword_annotation(
    annotation: Annotation, *, words: Mapping[str, str], editor: Person, expected_revision: int
) -> Annotation:
    """Give an annotation other words; fields that are not named stay."""
    return change_annotation(annotation, shape_mm=None, words=words, editor=editor, expected_revision=expected_revision)


def change_annotation(
    annotation: Annotation,
    *,
    shape_mm: BaseGeometry | None,
    words: Mapping[str, str],
    editor: Person,
    expected_revision: int,
) -> Annotation:
    """Give an annotation another shape and other words at once, as one revision."""
    refuse_unfit_words(words)
    columns = columns_of_shape(shape_mm) if shape_mm is not None else {}
    return _revised(annotation, columns={**columns, **words}, editor=editor, expected_revision=expected_revision)


def withdraw_annotation(annotation: Annotation, *, editor: Person, expected_revision: int) -> Annotation:
    """Withdraw an annotation; its number is never given again and its history stays."""
    columns = {"status": AnnotationStatus.WITHDRAWN}
    return _revised(annotation, columns=columns, editor=editor, expected_revision=expected_revision)


@transaction.atomic
def _revised(
    annotation: Annotation, *, columns: Mapping[str, Any], editor: Person, expected_revision: int
) -> Annotation:
    """Return the annotation with new columns as its next revision; a change that changes nothing makes none."""
    rows = Annotation.objects.select_for_update(of=("self",)).select_related(*RELATED, "edited_by")
    row = rows.get(pk=annotation.pk)
    if row.status == AnnotationStatus.WITHDRAWN:
        raise AnnotationWithdrawnError(key=row.key, withdrawn_at=row.edited_at.isoformat(), by=row.edited_by.name)
    if row.revision_number != expected_revision:
        raise EditConflictError(expected=expected_revision, current=row.revision_number, editor=row.edited_by.name)
    changed = {name: value for name, value in columns.items() if _column_of(row, name) != value}
    if not changed:
        return row
    for name, value in changed.items():
        setattr(row, name, value)
    row.revision_number += 1
    row.edited_by = editor
    row.save(update_fields=[*changed, "revision_number", "edited_by", "edited_at"])
    announce(row)
    return row


def _column_of(row: Annotation, name: str) -> Any:
    """Return a column as it compares; PostgreSQL hands bytes out as a memory view."""
    value = getattr(row, name)
    return bytes(value) if isinstance(value, memoryview) else value
