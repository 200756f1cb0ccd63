"""How values of a master become the eight bits that a screen shows; never touches the data."""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from imaging.errors import FieldRefusedError

__all__ = ["DisplayTone", "ToneStatistics"]

# Values between black and white that a float is sorted into before its curve is looked up.
_FLOAT_STEPS = 65535


# Closer together, black and white are the same number for a float32.
_SMALLEST_SPAN = 1e-6


@dataclass(frozen=True)
class ToneStatistics:
    """The values from which a tone was made.

    Parameters
    ----------
    low_percentile, high_percentile : float, percent
        What black and white are percentiles of.
    scale_factor : int
        Reduction of the picture that was counted; a mean trims the extremes by 1-2 %.
    pixels : int
        Number of pixels counted, over the whole picture.
    minimum, maximum : float
        Of the counted values.
    """

    low_percentile: float
    high_percentile: float
    scale_factor: int
    pixels: int
    minimum: float
    maximum: float


@dataclass(frozen=True)
class DisplayTone:
    """Black point, white point, gamma, inversion and channels of a picture on the screen.

    Parameters
    ----------
    black, white : float, values of the master
        Shown as 0 and 255; white is above black.
    gamma : float
        Shown is ``255 * ((value - black) / (white - black)) ** (1 / gamma)``; above 1 the middle
        tones become lighter.
    is_inverted : bool
        Exchange light and dark at the end.
    channels : tuple of int
        One band for grey, three for red, green, blue; counted from 0.
    mix : tuple of tuples of float or None
        Instead of `channels`: a row of weights, one per band, for grey or for red, green, blue.
    is_colour_managed : bool
        Whether the master's colour profile is applied before the tone.
    statistics : ToneStatistics or None
        Where black and white come from; None when set by a person.

    Raises
    ------
    FieldRefusedError
        If a number is unusable; it names the field.

    Examples
    --------
    >>> tone = DisplayTone(black=100.0, white=355.0)
    >>> tone.lut(np.dtype(np.uint16))[[0, 100, 101, 400]].tolist()
    [0, 0, 1, 255]
    """

    black: float
    white: float
    gamma: float = 1.0
    is_inverted: bool = False
    channels: tuple[int, ...] = (0,)
    mix: tuple[tuple[float, ...], ...] | None = None
    is_colour_managed: bool = False
    statistics: ToneStatistics | None = None

    def __post_init__(self) -> None:
        """Refuse unusable numbers, naming the field."""
        for name in ("black", "white", "gamma"):
            value = getattr(self, name)
            if isinstance(value, bool) or not isinstance(value, int | float):
                raise FieldRefusedError(field=f"tone.{name}", given=value, needed="a number")
            if not math.isfinite(value):
                raise FieldRefusedError(field=f"tone.{name}", given=value, needed="a finite number")
        if self.white - self.black < _SMALLEST_SPAN * max(1.0, abs(self.black)):
            needed = f"a value clearly above tone.black, which is {self.black}"
            raise FieldRefusedError(field="tone.white", given=self.white, needed=needed)
        if not 0.05 <= self.gamma <= 20.0:
            raise FieldRefusedError(field="tone.gamma", given=self.gamma, needed="0.05 to 20")
        if len(self.mix or self.channels) not in (1, 3):
            field = "tone.mix" if self.mix else "tone.channels"
            raise FieldRefusedError(field=field, given=self.mix or self.channels, needed="1 or 3")

    @property
    def shown_channels(self) -> int:
        """1 for grey, 3 for red, green, blue."""
        return len(self.mix or self.channels)

    @classmethod
    def whole_range(
        cls, dtype: np.dtype, *, channels: tuple[int, ...] = (0,), is_colour_managed: bool = False
    ) -> DisplayTone:
        """Return the tone that shows integers from 0 to their largest value as they are."""
        white = float(np.iinfo(dtype).max)
        return cls(0.0, white, channels=channels, is_colour_managed=is_colour_managed)

    def is_whole_range(self, dtype: np.dtype) -> bool:
        """Return whether all values of an integer type are shown in proportion."""
        if dtype.kind != "u" or self.is_inverted:
            return False
        return (self.black, self.white, self.gamma) == (0.0, float(np.iinfo(dtype).max), 1.0)

    def is_passthrough(self, dtype: np.dtype) -> bool:
        """Return whether values of that type are shown unchanged."""
        return dtype == np.uint8 and self.is_whole_range(dtype)

    def refuse_missing_bands(self, bands: int) -> None:
        """Raise FieldRefusedError if a picture of so many bands lacks one that is shown."""
        if self.mix is not None:
            wrong = [len(row) for row in self.mix if len(row) != bands]
            if wrong:
                raise FieldRefusedError(field="tone.mix", given=f"{wrong[0]} weights", needed=f"{bands} weights a row")
        elif not all(0 <= channel < bands for channel in self.channels):
            needed = f"bands from 0 to {bands - 1}"
            raise FieldRefusedError(field="tone.channels", given=self.channels, needed=needed)

    def select(self, pixels: NDArray[Any]) -> NDArray[Any]:
        """Return the shown channels, not yet toned.

        Parameters
        ----------
        pixels : (rows, columns, bands) array
            Values of the master.

        Returns
        -------
        selected : (rows, columns, 1 or 3) array
            In the type of the master, a view where all bands are shown; float32 for a mix.
        """
        if self.mix is not None:
            weights = np.asarray(self.mix, np.float32)
            return np.ascontiguousarray(pixels.astype(np.float32) @ weights.T)
        if self.channels == tuple(range(pixels.shape[2])):
            return pixels
        return np.ascontiguousarray(pixels[..., list(self.channels)])

    def lut(self, dtype: np.dtype) -> NDArray[np.uint8]:
        """Return what each value of uint8 or uint16 is shown as; not to be written to."""
        return _lut_of(self, np.dtype(dtype))

    def shade(self, selected: NDArray[Any], out: NDArray[np.uint8]) -> None:
        """Write the shown values.

        Parameters
        ----------
        selected : (rows, columns, channels) array
            From `select`, perhaps resampled since.
        out : (rows, columns, channels) uint8 array
            Taken as it is, a part of a larger array too.
        """
        if self.is_passthrough(selected.dtype):
            np.copyto(out, selected)
        elif selected.dtype.kind == "u":
            _look_up(selected, self.lut(selected.dtype), out)
        else:
            share = (selected - np.float32(self.black)) / np.float32(self.white - self.black)
            np.nan_to_num(share, copy=False, nan=0.0, posinf=1.0, neginf=0.0)
            steps = (np.clip(share, 0.0, 1.0) * _FLOAT_STEPS + 0.5).astype(np.uint16)
            _look_up(steps, _float_lut_of(self), out)

    def apply(self, pixels: NDArray[Any]) -> NDArray[np.uint8]:
        """Return what is shown of pixels of the master, without colour profile.

        Parameters
        ----------
        pixels : (rows, columns, bands) array
            Values of the master.
        """
        selected = self.select(pixels)
        out = np.empty(selected.shape, np.uint8)
        self.shade(selected, out)
        return out

    def to_json(self) -> dict[str, Any]:
        """Return the tone as a dictionary for storage."""
        document = asdict(self)
        document["channels"] = list(self.channels)
        document["mix"] = None if self.mix is None else [list(row) for row in self.mix]
        return document

    @classmethod
    def from_json(cls, document: Any) -> DisplayTone:
        """Read what `to_json` wrote; fields that are missing take their default.

        Raises
        ------
        FieldRefusedError
            If a field is unknown or unusable; it names the field.
        """
        if not isinstance(document, Mapping):
            raise FieldRefusedError(field="tone", given=type(document).__name__, needed="an object")
        values = dict(document)
        unknown = set(values) - {field.name for field in fields(cls)}
        missing = {"black", "white"} - set(values)
        if unknown or missing:
            given = f"with {sorted(unknown)}" if unknown else f"without {sorted(missing)}"
            needed = "an object of black, white, gamma, is_inverted, channels, mix"
            raise FieldRefusedError(field="tone", given=given, needed=needed)
        if "channels" in values:
            values["channels"] = _numbers(values["channels"], "tone.channels", int)
        if values.get("mix") is not None:
            rows = values["mix"] if isinstance(values["mix"], Sequence) else ()
            values["mix"] = tuple(_numbers(row, "tone.mix", float) for row in rows)
        for name in ("is_inverted", "is_colour_managed"):
            if not isinstance(values.get(name, False), bool):
                raise FieldRefusedError(field=f"tone.{name}", given=values[name], needed="true or false")
        if values.get("statistics") is not None:
            values["statistics"] = _statistics(values["statistics"])
        return cls(**values)


# A table costs more than toning a window with it.
@functools.lru_cache(maxsize=64)
def _lut_of(tone: DisplayTone, dtype: np.dtype) -> NDArray[np.uint8]:
    values = np.arange(np.iinfo(dtype).max + 1, dtype=np.float64)
    return _curve(tone, (values - tone.black) / (tone.white - tone.black))


@functools.lru_cache(maxsize=16)
def _float_lut_of(tone: DisplayTone) -> NDArray[np.uint8]:
    return _curve(tone, np.arange(_FLOAT_STEPS + 1) / _FLOAT_STEPS)


def _curve(tone: DisplayTone, share: NDArray[np.float64]) -> NDArray[np.uint8]:
    shown = np.clip(share, 0.0, 1.0) ** (1.0 / tone.gamma)
    if tone.is_inverted:
        shown = 1.0 - shown
    lut = np.floor(shown * 255.0 + 0.5).astype(np.uint8)
    lut.flags.writeable = False
    return lut


def _look_up(values: NDArray[Any], lut: NDArray[np.uint8], out: NDArray[np.uint8]) -> None:
    # OpenCV's table look-up takes uint16 too, several times as fast as indexing.
    if values.shape[2] == 1:
        cv2.LUT(values[..., 0], lut, dst=out[..., 0])
    else:
        cv2.LUT(values, lut, dst=out)


def _numbers(values: Any, field: str, kind: type[int] | type[float]) -> tuple[Any, ...]:
    is_list = isinstance(values, Sequence) and not isinstance(values, str)
    allowed = int if kind is int else (int, float)
    if not is_list or not all(
        isinstance(value, allowed) and not isinstance(value, bool) and math.isfinite(value) for value in values
    ):
        raise FieldRefusedError(field=field, given=values, needed="a list of numbers")
    return tuple(kind(value) for value in values)


def _statistics(document: Any) -> ToneStatistics:
    names = {field.name for field in fields(ToneStatistics)}
    if not isinstance(document, Mapping) or set(document) != names:
        needed = f"an object of {', '.join(sorted(names))}"
        raise FieldRefusedError(field="tone.statistics", given=document, needed=needed)
    return ToneStatistics(**document)
