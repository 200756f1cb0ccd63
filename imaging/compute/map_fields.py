"""Strict reading of the fields of a map document; every refusal names its field."""

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from imaging.map_errors import MapFormatError

__all__ = [
    "finite_array",
    "finite_number",
    "known_fields",
    "literal",
    "positive_number",
    "whole_number",
]


def _described(value: Any) -> str:
    """Return a short description of a value for an error message."""
    if value is None:
        return "missing"
    if isinstance(value, list | tuple):
        return f"a list of {len(value)}"
    if isinstance(value, dict):
        return f"an object with {len(value)} fields"
    text = repr(value)
    return text if len(text) <= 40 else text[:37] + "..."


def known_fields(document: Any, field: str, *, required: Sequence[str], optional: Sequence[str] = ()) -> dict[str, Any]:
    """Return the document when it has all required fields and no unknown one.

    Raises
    ------
    MapFormatError
        If it is no object, or a field is missing or unknown.

    Examples
    --------
    >>> known_fields({"a": 1}, "map", required=["a"])
    {'a': 1}
    """
    if not isinstance(document, dict):
        raise MapFormatError(field=field, got=_described(document), needed="an object")
    for name in required:
        if name not in document:
            raise MapFormatError(field=f"{field}.{name}", got="missing", needed="a value")
    for name in document:
        if name not in required and name not in optional:
            raise MapFormatError(
                field=f"{field}.{name}", got="unknown", needed=f"one of {', '.join([*required, *optional])}"
            )
    return document


def literal(value: Any, field: str, *, expected: Any) -> None:
    """Refuse a value that is not exactly the expected one."""
    if isinstance(value, bool) or value != expected:
        raise MapFormatError(field=field, got=_described(value), needed=repr(expected))


def finite_number(value: Any, field: str) -> float:
    """Return the value as a float when it is a finite number.

    Examples
    --------
    >>> finite_number(3, "x0_mm")
    3.0
    """
    is_number = isinstance(value, int | float | np.integer | np.floating) and not isinstance(value, bool)
    if not is_number or not math.isfinite(value):
        raise MapFormatError(field=field, got=_described(value), needed="a finite number")
    return float(value)


def positive_number(value: Any, field: str) -> float:
    """Return the value as a float when it is finite and above zero."""
    number = finite_number(value, field)
    if number <= 0.0:
        raise MapFormatError(field=field, got=_described(value), needed="a number above zero")
    return number


def whole_number(value: Any, field: str, *, at_least: int) -> int:
    """Return the value as an int when it is whole and large enough."""
    number = finite_number(value, field)
    if number != int(number) or number < at_least:
        raise MapFormatError(field=field, got=_described(value), needed=f"a whole number from {at_least} up")
    return int(number)


def finite_array(value: Any, field: str, *, shape: tuple[int | None, ...]) -> NDArray[np.float64]:
    """Return the value as a float64 array of the given shape.

    Parameters
    ----------
    value : nested lists of numbers, or an array
    field : str
        Name for the error.
    shape : tuple of int or None
        Needed shape; ``None`` leaves that side free.

    Returns
    -------
    array : float64 array
        A copy nobody else holds.

    Raises
    ------
    MapFormatError
        If the shape differs or a number is not finite.

    Examples
    --------
    >>> finite_array([[1, 2], [3, 4]], "affine", shape=(2, 2)).tolist()
    [[1.0, 2.0], [3.0, 4.0]]
    """
    sides = " x ".join("any" if side is None else str(side) for side in shape)
    try:
        raw = np.asarray(value)
    except ValueError:
        raise MapFormatError(field=field, got="lists of unequal length", needed=f"{sides} numbers") from None
    if raw.dtype.kind not in "iuf":
        raise MapFormatError(field=field, got=_described(value), needed=f"{sides} numbers")
    fits = raw.ndim == len(shape) and all(
        need is None or have == need for have, need in zip(raw.shape, shape, strict=True)
    )
    if not fits:
        got = " x ".join(str(side) for side in raw.shape) or "a single number"
        raise MapFormatError(field=field, got=got, needed=f"{sides} numbers")
    array = np.array(raw, dtype=np.float64)
    if not np.isfinite(array).all():
        place = np.argwhere(~np.isfinite(array))[0].tolist()
        raise MapFormatError(field=f"{field}{place}", got="not finite", needed="a finite number")
    return array
