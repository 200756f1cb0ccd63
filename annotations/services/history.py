"""What an annotation said before: every revision with its author, time and what it changed."""

import datetime as dt
from dataclasses import dataclass
from typing import Any

from annotations.compute.geometries import geometry_from_wkb, geometry_to_json
from annotations.models import Annotation
from annotations.services.words import WORD_FIELDS
from imaging.models import Person

__all__ = ["Change", "Revision", "revisions_of"]

#: What people can change; the rest of a row follows from it.
_COMPARED = ("status", *WORD_FIELDS, "frame_id")


@dataclass(frozen=True)
class Change:
    """One field before and after; geometries as JSON in millimetres."""

    field: str
    before: Any
    after: Any


@dataclass(frozen=True)
class Revision:
    """One state of an annotation; the first has no changes, for there was nothing before."""

    number: int
    editor: Person | None
    made_at: dt.datetime
    changes: tuple[Change, ...]


def revisions_of(annotation: Annotation) -> list[Revision]:
    """Return every revision of an annotation, the newest last, as the database's own triggers recorded them."""
    # The event model is made by the tracker; its manager is unknown to type checkers.
    recorded: Any = annotation
    events = list(recorded.events.order_by("pgh_id"))
    editors = Person.objects.in_bulk({event.edited_by_id for event in events})
    revisions = []
    before = None
    for event in events:
        changes = _changes_between(before, event) if before is not None else ()
        editor = editors.get(event.edited_by_id)
        revisions.append(Revision(event.revision_number, editor, event.edited_at, changes))
        before = event
    return revisions


def _changes_between(before: Any, after: Any) -> tuple[Change, ...]:
    """Return what one recorded row changed of the one before it."""
    changes = [
        Change(name.removesuffix("_id"), _text_of(getattr(before, name)), _text_of(getattr(after, name)))
        for name in _COMPARED
        if getattr(before, name) != getattr(after, name)
    ]
    if bytes(before.geometry_wkb) != bytes(after.geometry_wkb):
        changes.append(Change("geometry", _geometry_of(before), _geometry_of(after)))
    return tuple(changes)


def _geometry_of(event: Any) -> dict[str, Any]:
    """Return the geometry of a recorded row as JSON."""
    return geometry_to_json(geometry_from_wkb(bytes(event.geometry_wkb)))


def _text_of(value: Any) -> str:
    """Return a field as text; identifiers among them."""
    return str(value)
