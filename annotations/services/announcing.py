"""Tell whoever listens that an annotation changed; what it says now is asked of the database, the only truth."""

import json

from django.db import connection, transaction

from annotations.models import Annotation

__all__ = ["ANNOTATION_CHANNEL", "announce"]

#: Channel of PostgreSQL's LISTEN; payload {"face", "annotation", "revision"}.
ANNOTATION_CHANNEL = "mahlstick_annotation"


def announce(annotation: Annotation) -> None:
    """Send a notice of this revision once the transaction is committed; texts never travel in it."""
    notice = {
        "face": str(annotation.face_id),
        "annotation": str(annotation.pk),
        "revision": annotation.revision_number,
    }
    # Robust: the change is kept already, and listeners catch up from the database after any loss.
    transaction.on_commit(lambda: _send(json.dumps(notice)), robust=True)


def _send(payload: str) -> None:
    """Send one notice now."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_notify(%s, %s)", [ANNOTATION_CHANNEL, payload])
