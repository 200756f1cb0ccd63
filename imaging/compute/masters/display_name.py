"""File names as people see them: cleaned for display, never used as a path."""

import unicodedata

__all__ = ["display_name"]

_LONGEST_NAME = 120
_NAMELESS = "unnamed file"


def display_name(name: str) -> str:
    r"""Return the last part of a name somebody gave, safe to show in one line.

    Parameters
    ----------
    name : str
        Whatever a browser, a table or a disk called the file.

    Returns
    -------
    shown : str
        Without folders, control and direction-changing characters, at most 120 characters;
        ``"unnamed file"`` if nothing is left. It names a file to people only: files on disk
        are called by their own id.

    Examples
    --------
    >>> display_name("../../etc/oh-0417_irr_bt.tif")
    'oh-0417_irr_bt.tif'
    >>> display_name("C:\\scans\\plate\u202efit.tif")
    'platefit.tif'
    >>> display_name("..")
    'unnamed file'
    """
    last = name.replace("\\", "/").rstrip("/").rsplit("/", 1)[-1]
    composed = unicodedata.normalize("NFC", last)
    # Categories C*: control, format (direction overrides), surrogates, unassigned;
    # Zl and Zp break lines.
    kept = "".join(
        " " if unicodedata.category(character).startswith("Z") else character
        for character in composed
        if unicodedata.category(character)[0] != "C"
    ).strip()
    if not kept.strip("."):
        return _NAMELESS
    if len(kept) <= _LONGEST_NAME:
        return kept
    half = (_LONGEST_NAME - 1) // 2
    return f"{kept[:half]}…{kept[-half:]}"
