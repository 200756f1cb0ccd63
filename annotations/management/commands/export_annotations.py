"""Write what is said about a face as Web Annotations or as a table."""

import json
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError

from annotations.access import annotations_of_face, every_annotation_of
from annotations.interop.annotation_table import table_header, table_row
from annotations.interop.web_annotation import export_annotation
from annotations.services.exporting import web_annotation_of
from annotations.services.tabulating import table_values_of
from imaging.access import access_face
from imaging.errors import NotFoundError
from imaging.models import Face, Person

__all__ = ["Command"]

# Rows are fetched in parts, so that a face with a million marks needs no more memory than one with ten.
_ROWS_A_PART = 1000


class Command(BaseCommand):
    """Export the annotations of a face: one JSON-LD document a line, or one row each."""

    help = "Write what is said about a face: one Web Annotation a line (jsonld) or one row each (csv, millimetres)."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take the face, the format, where to write, and whose eyes to use."""
        parser.add_argument("face", metavar="FACE", help="identifier of the face")
        parser.add_argument("--format", choices=["jsonld", "csv"], default="jsonld")
        parser.add_argument("--out", type=Path, metavar="FILE", help="write to a file instead of standard output")
        parser.add_argument("--as", dest="email", metavar="EMAIL", help="only what this person may see; default: all")

    def handle(self, *args: Any, **options: Any) -> None:
        """Write the lines."""
        lines = self.lines(self.rows(options["face"], options["email"]), options["format"])
        if options["out"] is None:
            for line in lines:
                self.stdout.write(line, ending="")
            return
        try:
            # Line ends are the format's own.
            with options["out"].open("w", encoding="utf-8", newline="") as file:
                file.writelines(lines)
        except OSError as err:
            raise CommandError(f"{options['out']} cannot be written: {err.strerror}. Name another file.") from err

    def rows(self, face_id: str, email: str | None) -> Any:
        """Return the annotations of a face: all of them, or those open to one person."""
        if email is None:
            return every_annotation_of(_face_of(face_id))
        person = Person.objects.filter(email=email).first()
        if person is None:
            raise CommandError(
                f"Nobody has the e-mail address {email}. Check it on the page of the study.", returncode=2
            )
        try:
            return annotations_of_face(person, access_face(person, face_id))
        except NotFoundError as err:
            raise CommandError(str(err), returncode=2) from err

    def lines(self, rows: Any, form: str) -> Any:
        """Yield the lines of the export."""
        found = rows.iterator(chunk_size=_ROWS_A_PART)
        if form == "csv":
            yield table_header()
            yield from (table_row(table_values_of(annotation)) for annotation in found)
            return
        for annotation in found:
            yield json.dumps(export_annotation(web_annotation_of(annotation)), ensure_ascii=False) + "\n"


def _face_of(face_id: str) -> Face:
    """Return a face by its identifier."""
    try:
        return Face.objects.get(pk=face_id)
    except (Face.DoesNotExist, ValidationError) as err:
        raise CommandError(
            f"There is no face {face_id}. Its identifier is in the address of its page.", returncode=2
        ) from err
