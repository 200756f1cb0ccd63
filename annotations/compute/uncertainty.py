"""Where the uncertainty of a measurement comes from, and how many figures it earns.

Contributions are added in quadrature (JCGM 100:2008, GUM, 5.1.2) and expanded with k = 2 (6.2),
about 95 %. A pixel position is known to the pixel, a uniform distribution of width p: p / sqrt(12)
(GUM 4.3.7).
"""

import math
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

__all__ = [
    "COVERAGE_FACTOR",
    "RESOLVABLE_PX",
    "ErrorBudget",
    "Pick",
    "RoundedPair",
    "resolvable_mm",
    "rounded_digits",
    "rounded_pair",
]

COVERAGE_FACTOR = 2.0
# Below this many pixels of the coarser image a length is not told from a blur; common practice, no source.
RESOLVABLE_PX = 3.0


@dataclass(frozen=True)
class Pick:
    """How places are picked in one image.

    Parameters
    ----------
    pitch_mm : float, mm per px
        Side of a pixel on the face, there where it is picked.
    repeatability_px : float, px
        Standard deviation of picking the same feature again, along one axis.

    Examples
    --------
    >>> round(Pick(pitch_mm=0.02).sigma_mm, 5)
    0.02082
    """

    pitch_mm: float
    repeatability_px: float = 1.0

    def __post_init__(self) -> None:
        """Refuse what is no pitch; callers pass what maps gave, never what people typed."""
        if not (math.isfinite(self.pitch_mm) and self.pitch_mm > 0.0):
            raise ValueError(f"pitch_mm must be above zero, got {self.pitch_mm}")
        if not (math.isfinite(self.repeatability_px) and self.repeatability_px >= 0.0):
            raise ValueError(f"repeatability_px must not be negative, got {self.repeatability_px}")

    @property
    def sigma_mm(self) -> float:
        """Standard uncertainty of a picked place along one axis, mm."""
        return self.pitch_mm * math.sqrt(1.0 / 12.0 + self.repeatability_px**2)


@dataclass(frozen=True)
class ErrorBudget:
    """What adds to the picks.

    Parameters
    ----------
    registration_mm : float, mm
        Standard uncertainty of the registration there; the residual of check points, not of
        control points. Zero within one image.
    relative_scale : float
        Standard uncertainty of the scale as a share, e.g. 0.001.
    """

    registration_mm: float = 0.0
    relative_scale: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what is no uncertainty."""
        for name, value in (("registration_mm", self.registration_mm), ("relative_scale", self.relative_scale)):
            if not (math.isfinite(value) and value >= 0.0):
                raise ValueError(f"{name} must not be negative, got {value}")


@dataclass(frozen=True)
class RoundedPair:
    """A value and its uncertainty as digits with a decimal point, the same places in both."""

    value_digits: str
    uncertainty_digits: str


def resolvable_mm(*picks: Pick) -> float:
    """Return the smallest length that the coarser of the images tells from a blur, mm.

    Examples
    --------
    >>> resolvable_mm(Pick(0.02), Pick(0.08))
    0.24
    """
    return RESOLVABLE_PX * max(pick.pitch_mm for pick in picks)


def rounded_pair(value: float, uncertainty: float) -> RoundedPair:
    """Return value and uncertainty rounded to the same place.

    The uncertainty keeps two figures when its leading three are 100 to 354, one figure from 355
    to 949, and becomes 1000 (two figures) from 950 on: Review of Particle Physics (Particle Data
    Group), Introduction, "Rounding".

    Examples
    --------
    >>> rounded_pair(12.3391, 0.0589)
    RoundedPair(value_digits='12.34', uncertainty_digits='0.06')
    >>> rounded_pair(7.5, 0.1385)
    RoundedPair(value_digits='7.50', uncertainty_digits='0.14')
    >>> rounded_pair(1234.5, 37.0)
    RoundedPair(value_digits='1230', uncertainty_digits='40')
    """
    if not (math.isfinite(value) and math.isfinite(uncertainty) and uncertainty >= 0.0):
        raise ValueError(f"needed are finite numbers, got {value} and {uncertainty}")
    if uncertainty == 0.0:
        return RoundedPair(rounded_digits(value, 6), "0")
    exponent = _decimal_exponent(uncertainty)
    leading = _rounded(uncertainty, 2 - exponent).scaleb(2 - exponent)
    places = (1 if leading < 355 or leading >= 950 else 0) - exponent
    # Rounded up to 1000, the figure stands one place further left.
    if leading >= 950:
        places -= 1
    return RoundedPair(rounded_digits(value, places), rounded_digits(uncertainty, places))


def rounded_digits(value: float, places: int) -> str:
    """Return a number rounded half away from zero to decimal places, which may be negative.

    Examples
    --------
    >>> rounded_digits(-0.32, 1), rounded_digits(1250.0, -2), rounded_digits(-0.001, 1)
    ('-0.3', '1300', '0.0')
    """
    rounded = _rounded(value, places)
    if not rounded:
        rounded = abs(rounded)
    return f"{rounded:f}"


def _rounded(value: float, places: int) -> Decimal:
    # The exact binary value is rounded, as Number.prototype.toFixed of ECMAScript does.
    rounded = Decimal(value).quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP)
    return rounded if places > 0 else rounded.quantize(Decimal(1))


def _decimal_exponent(value: float) -> int:
    """Return the power of ten of the first figure, from the shortest digits of the number."""
    return Decimal(repr(value)).adjusted()
