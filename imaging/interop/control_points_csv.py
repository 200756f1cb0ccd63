"""Control points as a CSV table (RFC 4180, UTF-8, decimal point).

Columns: ``label,frame_x_mm,frame_y_mm,image_x_px,image_y_px,kind``; kind is ``control`` or
``check``. The order of columns is free; ``label`` and ``kind`` may be absent. Further columns are
kept as text and written again.
"""

import csv
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass, field

from imaging.map_errors import ControlPointTableError

__all__ = ["ControlPointRow", "export_control_points", "import_control_points"]

_NUMBERS = ("frame_x_mm", "frame_y_mm", "image_x_px", "image_y_px")
_COLUMNS = ("label", *_NUMBERS, "kind")
_KINDS = ("control", "check")
_MOST_ROWS = 5_000


@dataclass(frozen=True)
class ControlPointRow:
    """One control or check point.

    Parameters
    ----------
    label : str
    frame_mm, image_px : 2 floats, mm and px
        The same feature; image pixels continuous, pixel centres at .5.
    is_check : bool
        Held out of the fit.
    others : dict
        Text of further columns.
    """

    label: str
    frame_mm: tuple[float, float]
    image_px: tuple[float, float]
    is_check: bool = False
    others: dict[str, str] = field(default_factory=dict)


def import_control_points(text: str) -> list[ControlPointRow]:
    r"""Read a table of control points.

    Parameters
    ----------
    text : str
        The whole table; a byte order mark at its start is passed over.

    Returns
    -------
    rows : list of ControlPointRow

    Raises
    ------
    ControlPointTableError
        It names line and column, what was found and what is needed.

    Examples
    --------
    >>> table = "frame_x_mm,frame_y_mm,image_x_px,image_y_px\n0,0,10.5,20.5\n"
    >>> import_control_points(table)[0].image_px
    (10.5, 20.5)
    """
    reader = csv.DictReader(io.StringIO(text.removeprefix("\ufeff"), newline=""), strict=True)
    try:
        names = [name.strip() for name in reader.fieldnames or []]
        reader.fieldnames = names
        _refuse_header(names)
        rows = [_row(record, reader.line_num, index) for index, record in enumerate(reader, start=1)]
    except csv.Error as error:
        raise ControlPointTableError(
            line=reader.line_num, column="(whole line)", got=str(error), needed="comma-separated values"
        ) from error
    _refuse_double_labels(rows)
    return rows


def export_control_points(rows: Sequence[ControlPointRow]) -> str:
    r"""Return the table of control points, with numbers that read back exactly.

    Examples
    --------
    >>> export_control_points([ControlPointRow("P1", (0.0, 0.0), (10.5, 20.5))]).splitlines()[1]
    'P1,0.0,0.0,10.5,20.5,control'
    """
    others = list(dict.fromkeys(name for row in rows for name in row.others))
    stream = io.StringIO(newline="")
    writer = csv.writer(stream)
    writer.writerow([*_COLUMNS, *others])
    for row in rows:
        numbers = [repr(float(value)) for value in (*row.frame_mm, *row.image_px)]
        rest = [row.others.get(name, "") for name in others]
        writer.writerow([row.label, *numbers, _KINDS[row.is_check], *rest])
    return stream.getvalue()


def _refuse_header(names: Sequence[str]) -> None:
    for name in _NUMBERS:
        if names.count(name) != 1:
            got = "missing" if name not in names else "there twice"
            raise ControlPointTableError(
                line=1, column=name, got=got, needed=f"one column of each name in {','.join(_COLUMNS)}"
            )


def _row(record: dict[str | None, str | list[str] | None], line: int, index: int) -> ControlPointRow:
    if index > _MOST_ROWS:
        raise ControlPointTableError(line=line, column="label", got=f"row {index}", needed=f"at most {_MOST_ROWS} rows")
    if None in record:
        raise ControlPointTableError(
            line=line, column="(last)", got="followed by further values", needed="as many values as columns"
        )
    cells = {str(name): (value if isinstance(value, str) else "").strip() for name, value in record.items()}
    x_mm, y_mm, x_px, y_px = (_number(cells[name], line, name) for name in _NUMBERS)
    kind = cells.get("kind", "") or _KINDS[0]
    if kind not in _KINDS:
        raise ControlPointTableError(line=line, column="kind", got=repr(kind), needed="control or check")
    others = {name: value for name, value in cells.items() if name not in _COLUMNS}
    label = cells.get("label", "") or f"P{index}"
    return ControlPointRow(label, (x_mm, y_mm), (x_px, y_px), kind == "check", others)


def _number(cell: str, line: int, column: str) -> float:
    try:
        number = float(cell)
    except ValueError:
        got = repr(cell) if cell else "empty"
        needed = "a number with a decimal point" if "," in cell else "a number"
        raise ControlPointTableError(line=line, column=column, got=got, needed=needed) from None
    if not math.isfinite(number):
        raise ControlPointTableError(line=line, column=column, got=cell, needed="a finite number")
    return number


def _refuse_double_labels(rows: Sequence[ControlPointRow]) -> None:
    first_seen: dict[str, int] = {}
    for index, row in enumerate(rows, start=1):
        earlier = first_seen.setdefault(row.label, index)
        if earlier != index:
            raise ControlPointTableError(
                line=index + 1,
                column="label",
                got=f"{row.label!r}, as in row {earlier}",
                needed="a label of its own",
            )
