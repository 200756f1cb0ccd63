"""Lines of the ingest sheet on the tones: saturation, flatness, and polarity of radiographs."""

from .sheet_facts import SheetCheck, SheetFacts
from .statistics import BandStatistics

__all__ = ["tone_checks"]

_FULL_SCALE = {"u8": 255.0, "u16": 65_535.0}
# A few glints are no loss (common practice, no source).
_SATURATED_SHARE = 0.001
# Below full scale a top value is clipped only if it piles up: 14-bit data in 16 bits.
_PILED_UP_SHARE = 0.005
_CRUSHED_SHARE = 0.01
# Part of the full scale that 99 % of the values of a flat picture keep within.
_FLAT_RANGE = 0.01
_POLARITY_RATIO = 1.5
_POLARITY_WORDS = {"white_is_dense": "white is dense", "black_is_dense": "black is dense"}


def tone_checks(facts: SheetFacts) -> list[SheetCheck]:
    """Return the lines that need the statistics of all pixels; none before they were read.

    Parameters
    ----------
    facts : SheetFacts
        Header, statistics, modality and polarity.

    Returns
    -------
    lines : list of SheetCheck
        Tones, and polarity for radiographs.

    Notes
    -----
    Polarity is judged by the tails of the histogram round its median: nails and lead white are
    few and far from the rest. This is a doubt to look at, never a decision.
    """
    if facts.statistics is None:
        return []
    bands = list(facts.statistics.bands)
    if facts.header.has_alpha:
        del bands[-1]
    lines = [_tones(facts, bands)]
    if facts.modality == "XR":
        lines.append(_polarity(facts, bands[0]))
    return lines


def _tones(facts: SheetFacts, bands: list[BandStatistics]) -> SheetCheck:
    full = _FULL_SCALE.get(facts.header.sample_format)
    if all(_is_flat(band, full) for band in bands):
        low, high = bands[0].percentiles["0.5"], bands[0].percentiles["99.5"]
        return SheetCheck(key="tones", state="open", code="flat", values={"low": low, "high": high})
    if full is not None:
        for number, band in enumerate(bands, start=1):
            is_full = band.maximum == full and band.at_maximum > _SATURATED_SHARE
            if is_full or band.at_maximum > _PILED_UP_SHARE:
                return SheetCheck(
                    key="tones",
                    state="open",
                    code="saturated",
                    values={
                        "percent": 100.0 * band.at_maximum,
                        "band": number,
                        "value": band.maximum,
                    },
                )
            # Outside a radiographed work the beam is open, and rightly black.
            is_crushed = band.minimum == 0 and band.at_minimum > _CRUSHED_SHARE
            if is_crushed and facts.modality not in ("XR", "XRF"):
                return SheetCheck(
                    key="tones",
                    state="open",
                    code="crushed",
                    values={"percent": 100.0 * band.at_minimum, "band": number},
                )
    low = min(band.percentiles["0.5"] for band in bands)
    high = max(band.percentiles["99.5"] for band in bands)
    return SheetCheck(key="tones", state="fits", code="tones_fit", values={"low": low, "high": high})


def _is_flat(band: BandStatistics, full: float | None) -> bool:
    spread = band.percentiles["99.5"] - band.percentiles["0.5"]
    return spread <= _FLAT_RANGE * full if full is not None else band.minimum == band.maximum


def _polarity(facts: SheetFacts, band: BandStatistics) -> SheetCheck:
    low, middle, high = (band.percentiles[each] for each in ("0.5", "50.0", "99.5"))
    dark_tail, light_tail = middle - low, high - middle
    seems_black = dark_tail > _POLARITY_RATIO * light_tail
    seems_white = light_tail > _POLARITY_RATIO * dark_tail
    if facts.polarity in _POLARITY_WORDS:
        words = _POLARITY_WORDS[facts.polarity]
        is_contradicted = seems_black if facts.polarity == "white_is_dense" else seems_white
        return SheetCheck(
            key="polarity",
            state="open" if is_contradicted else "fits",
            code="polarity_contradiction" if is_contradicted else "polarity_stated",
            values={"polarity": words},
        )
    if facts.header.is_white_zero:
        return SheetCheck(key="polarity", state="open", code="polarity_white_zero")
    if seems_black:
        ratio = dark_tail / light_tail if light_tail > 0 else 99.0
        return SheetCheck(
            key="polarity",
            state="open",
            code="polarity_doubt",
            values={"ratio": min(ratio, 99.0)},
        )
    return SheetCheck(key="polarity", state="open", code="polarity_likely")
