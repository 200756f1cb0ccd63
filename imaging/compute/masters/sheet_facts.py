"""What the ingest sheet is made from, and one line of it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from .master_header import MasterHeader
from .sheet_texts import SHEET_TEXTS
from .statistics import PixelStatistics

__all__ = ["SheetCheck", "SheetFacts"]

_STATES = ("fits", "open", "refused")


@dataclass(frozen=True, kw_only=True)
class SheetFacts:
    """What is known of one received file and of what people said about it.

    Parameters
    ----------
    header : MasterHeader
        From `read_header`.
    statistics : PixelStatistics or None
        From `check_master`; None until the pixels were read.
    modality : str
        Code such as ``"VIS"``, ``"IRR"``, ``"XR"``; empty if not stated.
    stated_um_per_px : float or None
        What the person gave.
    work_size_mm : (float, float) or None
        Width and height of the face as recorded.
    is_detail : bool
        Whether the person said that it shows a part only.
    polarity : str
        ``"white_is_dense"``, ``"black_is_dense"`` or empty, for radiographs.
    checksum : str
        SHA-256 of the file; empty until known.
    known_checksums : mapping of str to str
        SHA-256 of masters already here, and what to call them.
    """

    header: MasterHeader
    statistics: PixelStatistics | None = None
    modality: str = ""
    stated_um_per_px: float | None = None
    work_size_mm: tuple[float, float] | None = None
    is_detail: bool = False
    polarity: str = ""
    checksum: str = ""
    known_checksums: Mapping[str, str] = field(default_factory=dict)

    @property
    def pitch_um(self) -> float | None:
        """The pitch to work with: what the person said, else what the file says."""
        if self.stated_um_per_px is not None:
            return self.stated_um_per_px
        pitch = self.header.um_per_px
        return None if pitch is None else (pitch[0] + pitch[1]) / 2

    @property
    def upright_size_px(self) -> tuple[int, int]:
        """Width and height as seen, that is after the orientation of the file."""
        size = (self.header.width_px, self.header.height_px)
        return size[::-1] if self.header.orientation >= 5 else size


@dataclass(frozen=True, kw_only=True)
class SheetCheck:
    """One line of the ingest sheet.

    Parameters
    ----------
    key : str
        What was checked: ``"scale"``, ``"size"``, ``"depth"``, ``"profile"``, ...
    state : str
        ``"fits"``, ``"open"`` (somebody must look) or ``"refused"``.
    code : str
        Key of `SHEET_TEXTS`: what to translate.
    values : dict of str to str, int or float
        What the texts are filled with.
    is_hint : bool
        Whether an open line may stay open without harm.

    Examples
    --------
    >>> line = SheetCheck(key="depth", state="fits", code="depth_fits", values={"bits": 16})
    >>> line.sentence, line.action
    ('16 bits a sample.', '')
    """

    key: str
    state: str
    code: str
    values: dict[str, str | int | float] = field(default_factory=dict)
    is_hint: bool = False

    def __post_init__(self) -> None:
        """Refuse a state that the sheet cannot show."""
        if self.state not in _STATES:
            raise ValueError(f"a check is one of {_STATES}, not {self.state}")

    @property
    def sentence(self) -> str:
        """What was got and what is needed, in English."""
        return SHEET_TEXTS[self.code][0].format(**self.values)

    @property
    def action(self) -> str:
        """What to do, in English; empty where all fits."""
        return SHEET_TEXTS[self.code][1].format(**self.values)

    def to_json(self) -> dict[str, Any]:
        """Return the line as JSON values, with its English texts."""
        return {
            "key": self.key,
            "state": self.state,
            "code": self.code,
            "values": self.values,
            "is_hint": self.is_hint,
            "sentence": self.sentence,
            "action": self.action,
        }

    @classmethod
    def from_json(cls, values: Mapping[str, Any]) -> "SheetCheck":
        """Return the line that `to_json` gave."""
        return cls(
            key=values["key"],
            state=values["state"],
            code=values["code"],
            values=dict(values["values"]),
            is_hint=values["is_hint"],
        )
