"""What an ICC profile says about itself, read without a colour engine."""

import struct
from dataclasses import dataclass

__all__ = ["ProfileSummary", "summarise_profile"]

_HEADER_BYTES = 128
_MOST_TAGS = 100
_LONGEST_NAME = 200


@dataclass(frozen=True)
class ProfileSummary:
    """Name and kind of an ICC profile; empty strings where it does not say."""

    name: str
    colour_space: str
    profile_class: str


def summarise_profile(profile: bytes) -> ProfileSummary | None:
    """Return the name, colour space and class of an ICC profile, None if it is not one.

    Parameters
    ----------
    profile : bytes
        The embedded profile.

    Returns
    -------
    summary : ProfileSummary or None
        ``colour_space`` is the four-letter signature, such as ``"RGB"`` or ``"GRAY"``.

    Notes
    -----
    Layout: ISO 15076-1:2010, 7.2 (header), 7.3 (tag table), 10.13 (multiLocalizedUnicodeType);
    textDescriptionType from ICC.1:2001-04, 6.5.17.
    """
    if len(profile) < _HEADER_BYTES + 4 or profile[36:40] != b"acsp":
        return None
    (count,) = struct.unpack_from(">I", profile, _HEADER_BYTES)
    name = ""
    for index in range(min(count, _MOST_TAGS)):
        position = _HEADER_BYTES + 4 + 12 * index
        if position + 12 > len(profile):
            break
        signature, offset, size = struct.unpack_from(">4sII", profile, position)
        if signature == b"desc" and offset + size <= len(profile):
            name = _text(profile[offset : offset + size])
            break
    return ProfileSummary(
        name=name,
        colour_space=_signature(profile[16:20]),
        profile_class=_signature(profile[12:16]),
    )


def _signature(four: bytes) -> str:
    return four.decode("ascii", "replace").strip()


def _text(element: bytes) -> str:
    kind = element[:4]
    if kind == b"desc" and len(element) >= 12:
        (length,) = struct.unpack_from(">I", element, 8)
        text = element[12 : 12 + min(length, _LONGEST_NAME)].decode("latin-1")
    elif kind == b"mluc" and len(element) >= 28:
        length, offset = struct.unpack_from(">II", element, 20)
        text = element[offset : offset + min(length, 2 * _LONGEST_NAME)].decode("utf-16-be", "ignore")
    else:
        return ""
    return text.split("\0", 1)[0].strip()
