"""Straight path data of SVG: the commands M, L, H, V and Z, absolute and relative.

Scalable Vector Graphics 1.1 (W3C Recommendation 16 August 2011), section 8.3.
"""

import re

from annotations.errors import SelectorFormatError

__all__ = ["lines_and_rings_from_path"]

_TOKEN = re.compile(r"([A-Za-z])|([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)|([\s,]+)|(.)")
_Place = tuple[float, float]
_NEEDED = "path data with the commands M, L, H, V and Z only; curves are drawn as short lines"
_NUMBERS_A_STEP = {"M": 2, "L": 2, "H": 1, "V": 1, "Z": 0}


def lines_and_rings_from_path(data: str) -> tuple[list[list[_Place]], list[list[_Place]]]:
    """Return the open lines and the closed rings of straight path data.

    Parameters
    ----------
    data : str
        The attribute ``d``.

    Returns
    -------
    lines, rings : lists of lists of (x, y), px
        Rings come without their first vertex repeated.

    Raises
    ------
    SelectorFormatError
        If a command is not one of M, L, H, V, Z or its numbers are missing.

    Examples
    --------
    >>> lines_and_rings_from_path("M0,0 h10 v5 M20,20 L30,20 l0,10 Z")
    ([[(0.0, 0.0), (10.0, 0.0), (10.0, 5.0)]], [[(20.0, 20.0), (30.0, 20.0), (30.0, 30.0)]])
    """
    lines: list[list[_Place]] = []
    rings: list[list[_Place]] = []
    run: list[_Place] = []
    for command, numbers in _steps_of(data):
        name = command.upper()
        if name == "Z":
            rings.append(run)
            # The next run starts where this one did, unless a move comes first.
            run = run[:1]
        elif name == "M":
            if len(run) > 1:
                lines.append(run)
            run = [_moved(run[-1] if run else (0.0, 0.0), command, numbers)]
        elif not run:
            raise SelectorFormatError(selector="SVG path", got=data, needed=_NEEDED)
        else:
            run.append(_moved(run[-1], command, numbers))
    if len(run) > 1:
        lines.append(run)
    return lines, rings


def _moved(place: _Place, command: str, numbers: list[float]) -> _Place:
    """Return where a command leads from a place."""
    x, y = place
    is_relative = command.islower()
    name = command.upper()
    if name == "H":
        return (x + numbers[0] if is_relative else numbers[0]), y
    if name == "V":
        return x, (y + numbers[0] if is_relative else numbers[0])
    return (x + numbers[0], y + numbers[1]) if is_relative else (numbers[0], numbers[1])


def _steps_of(data: str) -> list[tuple[str, list[float]]]:
    """Return every command with its own numbers; a repeated M means L."""
    steps: list[tuple[str, list[float]]] = []
    command = ""
    pending: list[float] = []
    for letter, number, _blank, other in _TOKEN.findall(data):
        if other or (letter and letter.upper() not in _NUMBERS_A_STEP) or (letter and pending):
            raise SelectorFormatError(selector="SVG path", got=data, needed=_NEEDED)
        if letter:
            command = letter
            if letter in "Zz":
                steps.append((letter, []))
        elif number:
            if not command or command in "Zz":
                raise SelectorFormatError(selector="SVG path", got=data, needed=_NEEDED)
            pending.append(float(number))
            if len(pending) == _NUMBERS_A_STEP[command.upper()]:
                steps.append((command, pending))
                pending = []
                command = {"M": "L", "m": "l"}.get(command, command)
    if pending:
        raise SelectorFormatError(selector="SVG path", got=data, needed=_NEEDED)
    return steps
