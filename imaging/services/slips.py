"""The slip: what a person states about a picture when bringing it in, from a command, a table or a page.

All three come as texts by name; one list of fields says how each is read, so that a slip is refused for the same
reasons and in the same words everywhere.
"""

import dataclasses
import datetime as dt
import math
import re
from collections.abc import Callable, Mapping
from typing import Any

from imaging.compute.rights import RIGHTS_URIS
from imaging.errors import FieldRefusedError
from imaging.models import Modality, TreatmentState, Visibility
from imaging.models.technical_image import Polarity

__all__ = ["SLIP_FIELDS", "Slip", "read_slip"]

_LONGEST_TEXT = 500
_BAND = re.compile(r"^\s*(\d+(?:[.,]\d+)?)\s*[-–]\s*(\d+(?:[.,]\d+)?)\s*(?:nm)?\s*$")
_LONG_SLIP_NAMES = {"title": 200, "credit_line": _LONGEST_TEXT, "place_hint": 300, "element_line": 20}
#: Widest band anybody images paintings in, nm: soft X-rays are stated by their tube, not here.
_BAND_BOUNDS_NM = (100.0, 20_000.0)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Slip:
    """A checked slip; empty texts and None where nothing was stated."""

    modality: str
    state: str
    version: int | None = None
    title: str = ""
    band_nm: tuple[float, float] | None = None
    um_per_px: float | None = None
    light_source: str = ""
    light_azimuth_deg: float | None = None
    light_elevation_deg: float | None = None
    tube_kv: float | None = None
    tube_ma: float | None = None
    exposure_s: float | None = None
    distance_mm: float | None = None
    filter: str = ""
    polarity: str = ""
    camera: str = ""
    lens: str = ""
    element_line: str = ""
    place_hint: str = ""
    campaign_date: dt.date | None = None
    place: str = ""
    step: str = ""
    visibility: str = Visibility.STUDY
    embargo_until: dt.date | None = None
    credit_line: str = ""
    rights_uri: str = ""
    photographer: str = ""
    site: str = ""
    same_grid_as: str = ""

    def image_fields(self) -> dict[str, Any]:
        """Return what goes straight into the row of the image, by its names."""
        band_from_nm, band_to_nm = self.band_nm or (None, None)
        return {
            "modality": self.modality,
            "title": self.title,
            "band_from_nm": band_from_nm,
            "band_to_nm": band_to_nm,
            "stated_um_per_px": self.um_per_px,
            "tube_voltage_kv": self.tube_kv,
            "tube_current_ma": self.tube_ma,
            "filter_name": self.filter,
            **{name: getattr(self, name) for name in _SAME_NAMES},
        }


_SAME_NAMES = (
    "light_source",
    "light_azimuth_deg",
    "light_elevation_deg",
    "exposure_s",
    "distance_mm",
    "polarity",
    "camera",
    "lens",
    "element_line",
    "place_hint",
    "visibility",
    "embargo_until",
    "credit_line",
    "rights_uri",
    "photographer",
)


def read_slip(texts: Mapping[str, Any]) -> Slip:
    """Return a slip from texts by name; FieldRefusedError names the first field that cannot be used."""
    unknown = sorted(set(texts) - set(SLIP_FIELDS))
    if unknown:
        raise FieldRefusedError(field=unknown[0], given="not known here", needed=f"one of {', '.join(SLIP_FIELDS)}")
    values = {}
    for name, read in SLIP_FIELDS.items():
        _text = str(texts.get(name) if texts.get(name) is not None else "").strip()
        if _text:
            values[name] = read(name, _text)
    for name, choices in (("modality", Modality), ("state", TreatmentState)):
        if name not in values:
            raise FieldRefusedError(field=name, given="empty", needed=f"one of {', '.join(choices.values)}")
    _refuse_contradictions(values)
    return Slip(**values)


def _refuse_contradictions(values: dict[str, Any]) -> None:
    """Refuse fields that make no sense beside the modality."""
    if values["modality"] != Modality.X_RADIOGRAPH:
        for name in ("tube_kv", "tube_ma"):
            if name in values:
                raise FieldRefusedError(
                    field=name,
                    given=f"{values[name]:g} for {values['modality']}",
                    needed="empty, or the modality XR: only a radiograph has an X-ray tube",
                )


def _text(name: str, given: str) -> str:
    """Return a line of text of bounded length without control characters."""
    longest = _LONG_SLIP_NAMES.get(name, 200)
    if len(given) > longest:
        raise FieldRefusedError(field=name, given=f"{len(given)} characters long", needed=f"at most {longest}")
    if any(ord(character) < 32 for character in given):
        raise FieldRefusedError(field=name, given="text with control characters", needed="one line of plain text")
    return given


def _number_between(low: float, high: float, unit: str) -> Callable[[str, str], float]:
    """Return a reader of a decimal number within bounds."""

    def read(name: str, given: str) -> float:
        try:
            value = float(given.replace(",", "."))
        except ValueError:
            value = math.nan
        if not low <= value <= high:
            raise FieldRefusedError(field=name, given=given, needed=f"a number from {low:g} to {high:g} {unit}")
        return value

    return read


def _band(name: str, given: str) -> tuple[float, float]:
    """Return a band such as 900-1700, in nm."""
    match = _BAND.match(given)
    low_nm, high_nm = (float(part.replace(",", ".")) for part in match.groups()) if match else (math.nan, math.nan)
    if not _BAND_BOUNDS_NM[0] <= low_nm < high_nm <= _BAND_BOUNDS_NM[1]:
        raise FieldRefusedError(field=name, given=given, needed="two wavelengths in nm, the shorter first: 900-1700")
    return low_nm, high_nm


def _date(name: str, given: str) -> dt.date:
    """Return an ISO date."""
    try:
        return dt.date.fromisoformat(given)
    except ValueError:
        raise FieldRefusedError(field=name, given=given, needed="a date as YYYY-MM-DD") from None


def _one_of(choices: type[Any]) -> Callable[[str, str], str]:
    """Return a reader of one of some codes, whatever the case."""

    def read(name: str, given: str) -> str:
        for value in choices.values:
            if given.casefold() == str(value).casefold():
                return str(value)
        raise FieldRefusedError(field=name, given=given, needed=f"one of {', '.join(choices.values)}")

    return read


def _version_number(name: str, given: str) -> int:
    """Return a version: 1, 2 ... also written v02."""
    digits = given.lower().removeprefix("v")
    if not (digits.isascii() and digits.isdecimal() and 1 <= int(digits) <= 9999):
        raise FieldRefusedError(field=name, given=given, needed="a whole number from 1 on")
    return int(digits)


def _rights(name: str, given: str) -> str:
    """Return a rights URI of the two published sets; http and https, with or without the last stroke, are the same."""
    uri = given.replace("https://", "http://", 1)
    uri = uri if uri.endswith("/") else f"{uri}/"
    if uri not in RIGHTS_URIS:
        raise FieldRefusedError(
            field=name, given=given, needed="a URI of rightsstatements.org or of a Creative Commons licence"
        )
    return uri


SLIP_FIELDS: dict[str, Callable[[str, str], Any]] = {
    "modality": _one_of(Modality),
    "state": _one_of(TreatmentState),
    "version": _version_number,
    "title": _text,
    "band_nm": _band,
    "um_per_px": _number_between(0.01, 100_000.0, "µm per pixel"),
    "light_azimuth_deg": _number_between(-360.0, 360.0, "degrees"),
    "light_elevation_deg": _number_between(-90.0, 90.0, "degrees"),
    "tube_kv": _number_between(1.0, 500.0, "kV"),
    "tube_ma": _number_between(0.001, 1000.0, "mA"),
    "exposure_s": _number_between(1e-6, 1e6, "s"),
    "distance_mm": _number_between(1.0, 100_000.0, "mm"),
    "filter": _text,
    "polarity": _one_of(Polarity),
    "campaign_date": _date,
    "visibility": _one_of(Visibility),
    "embargo_until": _date,
    "credit_line": _text,
    "rights_uri": _rights,
    "photographer": _text,
    "site": _text,
    "same_grid_as": _text,
    "light_source": _text,
    "camera": _text,
    "lens": _text,
    "element_line": _text,
    "place_hint": _text,
    "place": _text,
    "step": _text,
}
