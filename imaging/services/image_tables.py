"""A whole campaign by table: every line is checked before anything is received."""

import csv
import dataclasses
import io
from collections.abc import Mapping
from pathlib import Path

from imaging.errors import FieldRefusedError, FileUnreadableError, ImagingError, TableRefusedError
from imaging.models import FaceKind
from imaging.services.slips import SLIP_FIELDS, Slip, read_slip

__all__ = ["PLACE_COLUMNS", "TableLine", "read_image_table"]

#: Columns beside those of the slip: where the file is and what it shows.
PLACE_COLUMNS = ("file", "artwork", "face")
_MOST_TABLE_BYTES = 16 * 2**20


@dataclasses.dataclass(frozen=True)
class TableLine:
    """One line that could be read; `number` counts the header as line 1."""

    number: int
    path: Path
    artwork: str
    face: str
    slip: Slip


def read_image_table(path: Path) -> list[TableLine]:
    """Return the lines of a CSV table; TableRefusedError holds every problem, by line."""
    reader = csv.DictReader(io.StringIO(_table_text(path)), delimiter=_delimiter_of(path))
    _refuse_columns(path, list(reader.fieldnames or []))
    lines, problems = [], []
    for number, row in enumerate(reader, start=2):
        try:
            lines.append(_read_line(path, number, row))
        except ImagingError as err:
            problems.append(f"line {number}: {err}")
    if not lines and not problems:
        problems.append("line 2: there is none; at least one picture is needed")
    if problems:
        raise TableRefusedError(table=path.name, problems=problems)
    return lines


def _table_text(path: Path) -> str:
    """Return the text of a table; UTF-8, with or without the mark that spreadsheets write."""
    try:
        data = path.read_bytes()
    except OSError as err:
        raise FileUnreadableError(file_name=str(path), reason=err.strerror or str(err)) from err
    if len(data) > _MOST_TABLE_BYTES:
        raise FileUnreadableError(file_name=str(path), reason=f"a table has at most {_MOST_TABLE_BYTES:,} bytes")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as err:
        raise FileUnreadableError(
            file_name=str(path), reason=f"byte {err.start} is no UTF-8; save the table as CSV UTF-8"
        ) from err


def _delimiter_of(path: Path) -> str:
    """Return how the first line is divided: comma, semicolon or tab."""
    first_line = _table_text(path).split("\n", 1)[0]
    return max(",;\t", key=first_line.count)


def _refuse_columns(path: Path, columns: list[str]) -> None:
    """Refuse a header with unknown, doubled or missing columns."""
    known = (*PLACE_COLUMNS, *SLIP_FIELDS)
    problems = [
        f"line 1: the column {name!r} is not known; the known ones are {', '.join(known)}"
        for name in columns
        if name not in known
    ]
    problems += [f"line 1: the column {name} is there twice" for name in known if columns.count(name) > 1]
    problems += [
        f"line 1: the column {name} is missing"
        for name in ("file", "artwork", "modality", "state")
        if name not in columns
    ]
    if problems:
        raise TableRefusedError(table=path.name, problems=problems)


def _read_line(table: Path, number: int, row: Mapping[str | None, str | list[str] | None]) -> TableLine:
    """Return one checked line."""
    if None in row:
        raise FieldRefusedError(field="this line", given="longer than the header", needed="one value a column")
    texts = {str(name): str(value or "").strip() for name, value in row.items()}
    for name in ("file", "artwork"):
        if not texts[name]:
            raise FieldRefusedError(field=name, given="empty", needed="a value in every line")
    face = texts.get("face") or FaceKind.FRONT.value
    if face not in FaceKind.values:
        raise FieldRefusedError(field="face", given=face, needed=f"one of {', '.join(FaceKind.values)}")
    slip = read_slip({name: value for name, value in texts.items() if name not in PLACE_COLUMNS})
    return TableLine(number, _place_of(table, texts["file"]), texts["artwork"], face, slip)


def _place_of(table: Path, file: str) -> Path:
    """Return where the file of a line lies: beside the table, or where the command was started."""
    beside = table.parent / file
    return beside if beside.exists() else Path(file)
