"""XMP packets as plain values; no entity is ever expanded."""

from typing import Any
from xml.etree.ElementTree import Element, ParseError

from defusedxml import ElementTree
from defusedxml.common import DefusedXmlException

__all__ = ["XmpText", "first_text", "xmp_properties"]

XmpText = str | list[Any] | dict[str, Any]

_RDF = "{http://www.w3.org/1999/02/22-rdf-syntax-ns#}"
_LANGUAGE = "{http://www.w3.org/XML/1998/namespace}lang"
_LONGEST_PACKET = 4 * 2**20
_LONGEST_TEXT = 65_536
_MOST_ITEMS = 1000
_DEEPEST = 12


def xmp_properties(packet: bytes) -> dict[str, XmpText] | None:
    """Return the properties of an XMP packet by ``"{namespace}name"``.

    Parameters
    ----------
    packet : bytes
        RDF/XML with or without its wrapper.

    Returns
    -------
    properties : dict or None
        Text, a list (Seq, Bag), a dict by language (Alt) or by field. None if the packet is
        damaged, larger than 4 MiB, nested deeper than 12, or declares entities.

    Notes
    -----
    ISO 16684-1:2019, clause 7. Every property is kept, those of unknown namespaces too.
    """
    text = packet.strip(b"\0 \r\n\t")
    if not text or len(text) > _LONGEST_PACKET:
        return None
    try:
        root = ElementTree.fromstring(text, forbid_dtd=True)
    except (ParseError, DefusedXmlException, ValueError, LookupError):
        return None
    if _depth_exceeds(root, _DEEPEST):
        return None
    properties: dict[str, XmpText] = {}
    for collection in root.iter(f"{_RDF}RDF"):
        for description in collection.findall(f"{_RDF}Description"):
            properties |= _fields(description)
    return properties


def first_text(value: XmpText | None, *, language: str = "x-default") -> str:
    """Return one text of a property: the default language, or the first of a list.

    Parameters
    ----------
    value : str, list, dict or None
        From `xmp_properties`.
    language : str
        Preferred key of a language alternative.

    Examples
    --------
    >>> first_text({"nl": "Kan", "x-default": "Jug"})
    'Jug'
    >>> first_text(["Ilse Korvander", "Jun Teasdale"])
    'Ilse Korvander; Jun Teasdale'
    """
    if value is None:
        return ""
    if isinstance(value, str):
        return value
    if isinstance(value, list):
        return "; ".join(text for text in map(first_text, value) if text)
    chosen = value.get(language) or value.get("x-default") or next(iter(value.values()), "")
    return first_text(chosen)


def _fields(element: Element) -> dict[str, XmpText]:
    fields: dict[str, XmpText] = {
        name: value[:_LONGEST_TEXT]
        for name, value in element.attrib.items()
        if not name.startswith(_RDF) and name != _LANGUAGE
    }
    for child in element:
        fields[child.tag] = _value(child)
    return fields


def _value(element: Element) -> XmpText:
    resource = element.get(f"{_RDF}resource")
    if resource is not None:
        return resource[:_LONGEST_TEXT]
    children = list(element)
    if not children:
        inner = _fields(element)
        return inner or (element.text or "").strip()[:_LONGEST_TEXT]
    container = children[0]
    if container.tag == f"{_RDF}Alt":
        items = list(container)[:_MOST_ITEMS]
        if all(item.get(_LANGUAGE) for item in items):
            return {item.get(_LANGUAGE, ""): _value(item) for item in items}
        return [_value(item) for item in items]
    if container.tag in (f"{_RDF}Seq", f"{_RDF}Bag"):
        return [_value(item) for item in list(container)[:_MOST_ITEMS]]
    if container.tag == f"{_RDF}Description":
        return _fields(container)
    return _fields(element)


def _depth_exceeds(root: Element, limit: int) -> bool:
    level = [root]
    for _ in range(limit):
        level = [child for element in level for child in element]
        if not level:
            return False
    return True
