"""Rights by URI: the twelve rightsstatements.org statements and the Creative Commons set."""

__all__ = ["CC_URIS", "RIGHTS_STATEMENT_CODES", "RIGHTS_URIS", "rights_label"]

#: The twelve statements of rightsstatements.org, http://rightsstatements.org/vocab/CODE/1.0/
RIGHTS_STATEMENT_CODES = {
    "InC": "In copyright",
    "InC-OW-EU": "In copyright, EU orphan work",
    "InC-EDU": "In copyright, educational use permitted",
    "InC-NC": "In copyright, non-commercial use permitted",
    "InC-RUU": "In copyright, rights-holder unlocatable",
    "NoC-CR": "No copyright, contractual restrictions",
    "NoC-NC": "No copyright, non-commercial use only",
    "NoC-OKLR": "No copyright, other known legal restrictions",
    "NoC-US": "No copyright, United States",
    "CNE": "Copyright not evaluated",
    "UND": "Copyright undetermined",
    "NKC": "No known copyright",
}

#: Creative Commons URIs are published with http; https is refused by IIIF readers.
CC_URIS = {
    f"http://creativecommons.org/licenses/{code}/{version}/": f"CC {code.upper()} {version}"
    for code in ("by", "by-sa", "by-nc", "by-nd", "by-nc-sa", "by-nc-nd")
    for version in ("4.0", "3.0")
} | {
    "http://creativecommons.org/publicdomain/zero/1.0/": "CC0 1.0",
    "http://creativecommons.org/publicdomain/mark/1.0/": "Public Domain Mark 1.0",
}

RIGHTS_URIS = {
    f"http://rightsstatements.org/vocab/{code}/1.0/": label for code, label in RIGHTS_STATEMENT_CODES.items()
} | CC_URIS


def rights_label(uri: str) -> str:
    """Return the short English name of a rights statement or licence.

    Parameters
    ----------
    uri : str
        One of ``RIGHTS_URIS``; anything else comes back unchanged.

    Returns
    -------
    label : str

    Examples
    --------
    >>> rights_label("http://creativecommons.org/licenses/by/4.0/")
    'CC BY 4.0'
    """
    return RIGHTS_URIS.get(uri, uri)
