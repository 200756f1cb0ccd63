"""Annotations as a table: one row each, millimetres, geometry as Well-Known Text (UTF-8 CSV, RFC 4180)."""

import csv
import io
from collections.abc import Iterable, Mapping
from typing import Any

__all__ = ["TABLE_COLUMNS", "table_header", "table_row"]

TABLE_COLUMNS = (
    "key",
    "id",
    "url",
    "frame_version",
    "subject",
    "title",
    "observation",
    "interpretation",
    "text_language",
    "certainty",
    "certainty_reason",
    "geometry_mm_wkt",
    "length_mm",
    "length_uncertainty_mm",
    "area_mm2",
    "area_uncertainty_mm2",
    "can_resolve",
    "drawn_on",
    "registration_version",
    "author",
    "author_orcid",
    "created_at",
    "edited_at",
    "revision",
)
# A spreadsheet runs a cell that begins so; with an apostrophe before it, it stays text.
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


def _line_of(cells: Iterable[Any]) -> str:
    """Return one CSV line."""
    text = io.StringIO()
    csv.writer(text, lineterminator="\r\n").writerow(cells)
    return text.getvalue()


def table_header() -> str:
    """Return the first line.

    Examples
    --------
    >>> table_header()[:10]
    'key,id,url'
    """
    return _line_of(TABLE_COLUMNS)


def table_row(values: Mapping[str, Any]) -> str:
    """Return the line of one annotation.

    Parameters
    ----------
    values : mapping
        By column name; missing ones stay empty. Texts that a spreadsheet would run as a formula
        get an apostrophe before them, numbers do not.

    Raises
    ------
    ValueError
        If a name is no column.

    Examples
    --------
    >>> table_row({"key": "A7", "title": "=1+1", "length_mm": -0.5}).split(",")[5]
    "'=1+1"
    """
    unknown = set(values) - set(TABLE_COLUMNS)
    if unknown:
        raise ValueError(f"these are no columns: {sorted(unknown)}")
    return _line_of(_cell_of(values.get(name)) for name in TABLE_COLUMNS)


def _cell_of(value: Any) -> Any:
    """Return a value as it stands in its cell."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"'{value}" if isinstance(value, str) and value.startswith(_FORMULA_STARTS) else value
