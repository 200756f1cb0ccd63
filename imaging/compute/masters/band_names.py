"""Names of the bands of a picture, from the places where open formats keep them."""

import json
from xml.etree.ElementTree import ParseError

from defusedxml import ElementTree
from defusedxml.common import DefusedXmlException

__all__ = ["band_names_from_text"]

_LONGEST_NAME = 80
_LONGEST_TEXT = 4 * 2**20


def band_names_from_text(*texts: str, bands: int) -> tuple[str, ...]:
    """Return one name per band, or nothing if no text names them all.

    Parameters
    ----------
    texts : str
        ImageDescription, the XML of tag 42112, or a list of names divided by zero bytes; the
        first that names every band wins.
    bands : int
        How many names are needed.

    Returns
    -------
    names : tuple of str
        Exactly `bands` names, or empty.

    Notes
    -----
    Read are: JSON with a list ``band_names``; the ``Channel`` elements of OME-XML (2016-06);
    ``Item`` elements with ``role="description"`` and a ``sample`` number (tag 42112); and a
    zero-divided list (InkNames, TIFF 6.0 section 16). No entity of the XML is expanded.

    Examples
    --------
    >>> band_names_from_text('{"band_names": ["Pb-L", "Hg-L"]}', bands=2)
    ('Pb-L', 'Hg-L')
    >>> band_names_from_text("a plain description", bands=2)
    ()
    """
    for text in texts:
        names = [name.strip()[:_LONGEST_NAME] for name in _names(text[:_LONGEST_TEXT])]
        if len(names) == bands and any(names):
            return tuple(names)
    return ()


def _names(text: str) -> list[str]:
    start = text.lstrip()[:1]
    if start == "{":
        return _from_json(text)
    if start == "<":
        return _from_xml(text)
    return [part for part in text.split("\0") if part] if "\0" in text else []


def _from_json(text: str) -> list[str]:
    try:
        found = json.loads(text)
    except (ValueError, RecursionError):
        return []
    names = found.get("band_names") if isinstance(found, dict) else None
    if not isinstance(names, list):
        return []
    return [name for name in names if isinstance(name, str)]


def _from_xml(text: str) -> list[str]:
    try:
        root = ElementTree.fromstring(text)
    except (ParseError, DefusedXmlException, ValueError):
        return []
    by_sample: dict[int, str] = {}
    channels: list[str] = []
    for element in root.iter():
        local = element.tag.rsplit("}", 1)[-1] if isinstance(element.tag, str) else ""
        if local == "Channel":
            channels.append(element.get("Name", ""))
        elif local == "Item" and element.get("role") == "description":
            sample = element.get("sample", "")
            if sample.isdecimal() and len(sample) < 6:
                by_sample[int(sample)] = element.text or ""
    if by_sample:
        return [by_sample[sample] for sample in sorted(by_sample)]
    return channels
