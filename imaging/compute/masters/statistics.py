"""Statistics of all pixels of a picture, from histograms that grow while it is read."""

import math
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "PERCENTS",
    "BandStatistics",
    "FloatHistogram",
    "PixelStatistics",
    "statistics_of_counts",
]

PERCENTS = (0.1, 0.5, 1.0, 5.0, 25.0, 50.0, 75.0, 95.0, 99.0, 99.5, 99.9)
_SHOWN_BINS = 256


@dataclass(frozen=True, kw_only=True)
class BandStatistics:
    """Statistics of every pixel of one band.

    Parameters
    ----------
    minimum, maximum, mean : float
        In the unit of the samples.
    percentiles : dict of str to float
        The percents of `PERCENTS`, such as ``"99.5"``. Exact for whole numbers; for floats
        within 0.4 % of the value (1.6 % with more than 16 bands).
    at_minimum, at_maximum : float
        Share of the pixels, 0 to 1, that have the lowest or highest value found.
    distinct_count : int
        Different values found; 0 for floats, where it is not counted.
    value_step : int
        Largest whole number that divides all differences of values; 0 for floats.
    not_a_number, infinite : int
        Pixels without a finite number.
    histogram : list of int
        Pixels in 256 equal classes from minimum to maximum.
    """

    minimum: float
    maximum: float
    mean: float
    percentiles: dict[str, float]
    at_minimum: float
    at_maximum: float
    distinct_count: int = 0
    value_step: int = 0
    not_a_number: int = 0
    infinite: int = 0
    histogram: list[int]


@dataclass(frozen=True, kw_only=True)
class PixelStatistics:
    """Statistics of every pixel of a master, one entry per band."""

    width_px: int
    height_px: int
    bands: tuple[BandStatistics, ...]

    def to_json(self) -> dict[str, Any]:
        """Return the statistics as JSON values."""
        return asdict(self) | {"bands": [asdict(band) for band in self.bands]}

    @classmethod
    def from_json(cls, values: dict[str, Any]) -> "PixelStatistics":
        """Return the statistics that `to_json` gave."""
        bands = tuple(BandStatistics(**band) for band in values["bands"])
        return cls(width_px=values["width_px"], height_px=values["height_px"], bands=bands)


def statistics_of_counts(counts: NDArray[np.float64]) -> BandStatistics:
    """Return the statistics of whole numbers from how often each value occurs.

    Parameters
    ----------
    counts : (N,) array
        ``counts[v]`` pixels have the value v; at least one is not zero.

    Returns
    -------
    statistics : BandStatistics
        Exact.

    Examples
    --------
    >>> found = statistics_of_counts(np.array([1.0, 0.0, 2.0, 1.0]))
    >>> found.minimum, found.maximum, found.mean, found.percentiles["50.0"]
    (0.0, 3.0, 1.75, 2.0)
    """
    values = np.flatnonzero(counts)
    weights = counts[values].astype(np.float64)
    total = float(weights.sum())
    steps = np.diff(values)
    return BandStatistics(
        minimum=float(values[0]),
        maximum=float(values[-1]),
        mean=float((values * weights).sum() / total),
        percentiles=_percentiles(values.astype(np.float64), weights),
        at_minimum=float(weights[0] / total),
        at_maximum=float(weights[-1] / total),
        distinct_count=len(values),
        value_step=math.gcd(*steps.tolist()) if len(steps) else 0,
        histogram=_shown(values.astype(np.float64), weights),
    )


class FloatHistogram:
    """Counts of float32 samples in classes of equal relative width, for any range of values.

    Parameters
    ----------
    is_coarse : bool
        2^16 classes (1.6 % wide at most) in place of 2^18 (0.4 %).

    Notes
    -----
    Written as whole numbers with the sign turned round, float32 values sort like their bits
    (IEEE 754-2019, 3.4); their first 16 or 18 bits are the class. Memory: 2 MB at most.

    Examples
    --------
    >>> histogram = FloatHistogram()
    >>> histogram.add(np.array([-1.0, 0.0, 2.0, np.nan], np.float32))
    >>> found = histogram.statistics()
    >>> found.minimum, found.maximum, found.not_a_number
    (-1.0, 2.0, 1)
    """

    def __init__(self, *, is_coarse: bool = False) -> None:
        self._shift = np.uint32(16 if is_coarse else 14)
        self._counts = np.zeros(2 ** (32 - int(self._shift)), np.int64)
        self._minimum, self._maximum, self._sum = math.inf, -math.inf, 0.0
        self._at_minimum = self._at_maximum = self._finite = 0
        self._not_a_number = self._infinite = 0

    def add(self, samples: NDArray[np.float32]) -> None:
        """Count more samples."""
        samples = np.ascontiguousarray(samples)
        # The minimum of anything with NaN is NaN, so two passes tell that all is finite.
        lowest, highest = float(samples.min()), float(samples.max())
        if not (math.isfinite(lowest) and math.isfinite(highest)):
            finite = samples[np.isfinite(samples)]
            not_a_number = int(np.isnan(samples).sum())
            self._not_a_number += not_a_number
            self._infinite += samples.size - finite.size - not_a_number
            if finite.size:
                self.add(finite)
            return
        if lowest <= self._minimum:
            carried = self._at_minimum if lowest == self._minimum else 0
            self._minimum = lowest
            self._at_minimum = carried + int(np.count_nonzero(samples == lowest))
        if highest >= self._maximum:
            carried = self._at_maximum if highest == self._maximum else 0
            self._maximum = highest
            self._at_maximum = carried + int(np.count_nonzero(samples == highest))
        self._sum += float(samples.sum(dtype=np.float64))
        self._finite += samples.size
        # All bits of a negative number are turned round, of a positive one the sign only.
        turned = (samples.view(np.int32) >> np.int32(31)).view(np.uint32) | np.uint32(0x80000000)
        np.bitwise_xor(samples.view(np.uint32), turned, out=turned)
        np.right_shift(turned, self._shift, out=turned)
        self._counts += np.bincount(turned, minlength=self._counts.size)

    def statistics(self) -> BandStatistics:
        """Return the statistics of all finite samples counted so far."""
        if not self._finite:
            return _without_numbers(self._not_a_number, self._infinite)
        classes = np.flatnonzero(self._counts)
        weights = self._counts[classes].astype(np.float64)
        values = np.clip(self._centres(classes), self._minimum, self._maximum)
        # The outer classes hold the extremes, which are known exactly.
        values[0], values[-1] = self._minimum, self._maximum
        return BandStatistics(
            minimum=self._minimum,
            maximum=self._maximum,
            mean=self._sum / self._finite,
            percentiles=_percentiles(values, weights),
            at_minimum=self._at_minimum / self._finite,
            at_maximum=self._at_maximum / self._finite,
            not_a_number=self._not_a_number,
            infinite=self._infinite,
            histogram=_shown(values, weights),
        )

    def _centres(self, classes: NDArray[np.int64]) -> NDArray[np.float64]:
        half = np.uint32(1) << (self._shift - np.uint32(1))
        keys = (classes.astype(np.uint32) << self._shift) | half
        sign = np.uint32(0x80000000)
        bits = np.where(keys & sign, keys & ~sign, ~keys)
        return bits.astype(np.uint32).view(np.float32).astype(np.float64)


def _without_numbers(not_a_number: int, infinite: int) -> BandStatistics:
    return BandStatistics(
        minimum=0.0,
        maximum=0.0,
        mean=0.0,
        percentiles={str(percent): 0.0 for percent in PERCENTS},
        at_minimum=0.0,
        at_maximum=0.0,
        not_a_number=not_a_number,
        infinite=infinite,
        histogram=[0] * _SHOWN_BINS,
    )


def _percentiles(values: NDArray[np.float64], weights: NDArray[np.float64]) -> dict[str, float]:
    """Return the smallest value below or at which each percent of the pixels lie."""
    reached = np.cumsum(weights)
    # A hair below the wanted count: 99.5 % of 200 pixels is 199, not 199.00000000000003.
    wanted = np.array(PERCENTS) / 100.0 * reached[-1] * (1.0 - 1e-12)
    places = np.minimum(np.searchsorted(reached, wanted), len(values) - 1)
    return {str(percent): float(values[place]) for percent, place in zip(PERCENTS, places, strict=True)}


def _shown(values: NDArray[np.float64], weights: NDArray[np.float64]) -> list[int]:
    lowest, highest = float(values[0]), float(values[-1])
    if lowest == highest:
        highest = lowest + 1.0
    counted, _ = np.histogram(values, _SHOWN_BINS, (lowest, highest), weights=weights)
    return [round(float(count)) for count in counted]
