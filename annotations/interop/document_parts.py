"""Small rules that every part of a Web Annotation document follows: dates, single values, unknown keys."""

import datetime as dt
from collections.abc import Mapping
from typing import Any

from annotations.errors import DocumentFormatError

__all__ = ["as_list", "moment_of", "one_or_many", "text_or_none", "unknown_keys", "utc_text"]


def utc_text(moment: dt.datetime) -> str:
    """Return a moment as xsd:dateTime in UTC, written with ``Z``.

    Parameters
    ----------
    moment : aware datetime

    Notes
    -----
    Web Annotation Data Model section 3.3.1 asks for UTC expressed as ``Z``; ``+00:00`` is refused.

    Examples
    --------
    >>> utc_text(dt.datetime(2026, 1, 15, 9, 30, tzinfo=dt.timezone(dt.timedelta(hours=2))))
    '2026-01-15T07:30:00Z'
    """
    return moment.astimezone(dt.UTC).isoformat().replace("+00:00", "Z")


def moment_of(document: Mapping[str, Any], field: str) -> dt.datetime | None:
    """Return the moment in a field, None when the field is absent.

    Raises
    ------
    DocumentFormatError
        If it is no date and time with a time zone.

    Examples
    --------
    >>> moment_of({"created": "2026-01-15T07:30:00Z"}, "created").hour
    7
    """
    if field not in document:
        return None
    needed = "one date and time in UTC such as 2026-01-15T07:30:00Z"
    try:
        moment = dt.datetime.fromisoformat(document[field])
    except (TypeError, ValueError) as err:
        raise DocumentFormatError(field=field, got=document[field], needed=needed) from err
    if moment.tzinfo is None:
        raise DocumentFormatError(field=field, got=document[field], needed=needed)
    return moment.astimezone(dt.UTC)


def as_list(value: Any) -> list[Any]:
    """Return the values of a property that may be absent, single or a list: JSON-LD treats them alike.

    Examples
    --------
    >>> as_list(None), as_list("x"), as_list(["x", "y"])
    ([], ['x'], ['x', 'y'])
    """
    if value is None:
        return []
    return list(value) if isinstance(value, list) else [value]


def one_or_many(values: list[Any]) -> Any:
    """Return a single value alone and several as a list, the form readers find easiest.

    Examples
    --------
    >>> one_or_many(["x"]), one_or_many(["x", "y"])
    ('x', ['x', 'y'])
    """
    return values[0] if len(values) == 1 else values


def text_or_none(document: Mapping[str, Any], field: str) -> str | None:
    """Return the text in a field, None when the field is absent.

    Raises
    ------
    DocumentFormatError
        If the field holds anything but text.
    """
    value = document.get(field)
    if value is None or isinstance(value, str):
        return value
    raise DocumentFormatError(field=field, got=value, needed="one text")


def unknown_keys(document: Mapping[str, Any], known: set[str]) -> dict[str, Any]:
    """Return what is not understood here; it is kept and written back.

    Examples
    --------
    >>> unknown_keys({"type": "Person", "shoe": 43}, {"type"})
    {'shoe': 43}
    """
    return {key: value for key, value in document.items() if key not in known}
