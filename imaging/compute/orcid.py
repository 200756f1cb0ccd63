"""ORCID identifiers and their check character."""

import re

__all__ = ["orcid_has_valid_check_character"]

_ORCID_PATTERN = re.compile(r"\d{4}-\d{4}-\d{4}-\d{3}[\dX]")


def orcid_has_valid_check_character(orcid: str) -> bool:
    """Return whether an ORCID is well formed and its last character is right.

    Parameters
    ----------
    orcid : str
        Four groups of four, such as ``0000-0002-1825-0097``.

    Returns
    -------
    is_valid : bool

    Notes
    -----
    Check characters follow ISO 7064 MOD 11-2.

    Examples
    --------
    >>> orcid_has_valid_check_character("0000-0002-1825-0097")
    True
    >>> orcid_has_valid_check_character("0000-0002-1825-0098")
    False
    """
    if not _ORCID_PATTERN.fullmatch(orcid):
        return False
    characters = orcid.replace("-", "")
    total = 0
    for digit in characters[:-1]:
        total = (total + int(digit)) * 2
    remainder = (12 - total % 11) % 11
    return characters[-1] == ("X" if remainder == 10 else str(remainder))
