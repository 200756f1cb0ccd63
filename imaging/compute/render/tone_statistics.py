"""Black and white points from the values of a whole picture."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from imaging.compute.masters.source import MasterSource
from imaging.compute.render.display_tone import DisplayTone, ToneStatistics

__all__ = ["counted_scale_factor", "default_channels", "tone_from_statistics"]

# Larger pictures are counted on a reduced one: its extremes are only 1-2 % narrower, while a
# crop may miss half of the range.
_LONGEST_COUNTED_SIDE_PX = 5000
_FLOAT_BINS = 65536
_ROWS_AT_A_TIME = 256


@dataclass(frozen=True)
class _Counted:
    counts: NDArray[np.int64]
    values: NDArray[np.float64]

    def percentile(self, percent: float) -> float:
        sums = np.cumsum(self.counts)
        place = np.searchsorted(sums, percent / 100.0 * sums[-1])
        return float(self.values[min(int(place), len(self.values) - 1)])


def counted_scale_factor(source: MasterSource) -> int:
    """Return the scale factor whose longest side is 2500-5000 px, or the nearest finer one.

    Parameters
    ----------
    source : MasterSource
        A master, best with its reading levels.
    """
    wanted = 1
    while max(source.width_px, source.height_px) > _LONGEST_COUNTED_SIDE_PX * wanted:
        wanted *= 2
    return max((factor for factor in source.scale_factors if factor <= wanted), default=1)


def default_channels(bands: int) -> tuple[int, ...]:
    """Return which bands are shown first: the first three of a picture of three or four.

    Examples
    --------
    >>> default_channels(1), default_channels(4), default_channels(12)
    ((0,), (0, 1, 2), (0,))
    """
    return (0, 1, 2) if bands in (3, 4) else (0,)


def tone_from_statistics(
    source: MasterSource,
    *,
    channels: tuple[int, ...] | None = None,
    low_percentile: float = 0.5,
    high_percentile: float = 99.5,
) -> DisplayTone:
    """Return a tone for a master that nobody has adjusted yet.

    Parameters
    ----------
    source : MasterSource
        A master, best with its reading levels.
    channels : tuple of int, optional
        Bands to show; by default red, green, blue or the first.
    low_percentile, high_percentile : float, percent
        Values that become black and white, counted over the shown bands together.

    Returns
    -------
    tone : DisplayTone
        Integers with a colour profile, and 8-bit colours, keep their whole range: a photograph
        was exposed by somebody. Everything else is spread between the percentiles.

    Notes
    -----
    Counts the whole picture, at 2500-5000 px on its longest side. Streams; not finite values
    are left out.
    """
    shown = channels or default_channels(source.bands)
    is_plain = channels is None and source.dtype.kind == "u"
    has_profile = source.icc_profile is not None and source.bands <= 4
    if is_plain and (has_profile or (source.dtype == np.uint8 and len(shown) == 3)):
        return DisplayTone.whole_range(source.dtype, channels=shown, is_colour_managed=has_profile)
    scale_factor = counted_scale_factor(source)
    counted = _count(source, shown, scale_factor)
    black, white = counted.percentile(low_percentile), counted.percentile(high_percentile)
    if white <= black:
        # One value everywhere: any span shows it.
        white = black + max(1.0, abs(black) * 1e-3)
    present = counted.values[counted.counts > 0] if counted.counts.any() else np.zeros(1)
    statistics = ToneStatistics(
        low_percentile,
        high_percentile,
        scale_factor,
        int(counted.counts.sum()) // len(shown),
        float(present[0]),
        float(present[-1]),
    )
    return DisplayTone(black, white, channels=shown, statistics=statistics)


def _count(source: MasterSource, channels: tuple[int, ...], scale_factor: int) -> _Counted:
    if source.dtype.kind == "u":
        size = np.iinfo(source.dtype).max + 1
        counts = np.zeros(size, np.int64)
        for values in _shown_values(source, channels, scale_factor):
            counts += np.bincount(values, minlength=size)
        return _Counted(counts, np.arange(size, dtype=np.float64))
    low, high = np.inf, -np.inf
    for values in _shown_values(source, channels, scale_factor):
        if len(values):
            low, high = min(low, float(values.min())), max(high, float(values.max()))
    if not low < high:
        value = low if np.isfinite(low) else 0.0
        return _Counted(np.array([int(np.isfinite(low))]), np.array([value]))
    counts = np.zeros(_FLOAT_BINS, np.int64)
    for values in _shown_values(source, channels, scale_factor):
        counts += np.histogram(values, _FLOAT_BINS, (low, high))[0]
    return _Counted(counts, np.linspace(low, high, _FLOAT_BINS))


def _shown_values(source: MasterSource, channels: tuple[int, ...], scale_factor: int) -> Iterator[NDArray[Any]]:
    for rows in _rows(source, scale_factor):
        values = rows[..., list(channels)].ravel()
        yield values if values.dtype.kind == "u" else values[np.isfinite(values)]


def _rows(source: MasterSource, scale_factor: int) -> Iterator[NDArray[Any]]:
    if scale_factor not in source.scale_factors:
        for _, strip in source.strips(_ROWS_AT_A_TIME):
            yield strip
        return
    width_px, height_px = -(-source.width_px // scale_factor), -(-source.height_px // scale_factor)
    for y_px in range(0, height_px, _ROWS_AT_A_TIME):
        rows = min(_ROWS_AT_A_TIME, height_px - y_px)
        yield source.read_window(0, y_px, width_px, rows, scale_factor=scale_factor)
