"""What a fit has to say about its points: slips by name, and doubts about the whole."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from imaging.compute.registration.solutions import Solution

__all__ = ["QualityNote", "Slip", "exchanged_points", "quality_note", "slips_by_name"]

# Two slipped points stand for one another when each lies this near the other's place.
_EXCHANGE_SHARE = 0.1

_NOTE_TEXTS = {
    "no_check_points": "No check points: residuals of points that made the fit are always too good. "
    "Mark some points as check points, or read the leave-one-out error.",
    "nothing_spare": "The {given} points fix a {model} map exactly, so nothing can be said about its error. "
    "Add at least {wanted} more.",
    "points_disagree": "The points agree only to {sigma_px:.1f} px, expected were {expected_px:.1f} px. "
    "Either a point is off, or the picture is bent: check the largest residuals, add points, or use a "
    "model with more freedom.",
    "one_sided": "The points cover {share_percent:.0f} % of the area judged. Beyond them the map is extrapolation. "
    "Add points near the edges left out.",
}


@dataclass(frozen=True)
class QualityNote:
    """A doubt about a fit, for the registration to keep; numbers allow translation by code."""

    code: str
    numbers: dict[str, float | str]

    @property
    def message(self) -> str:
        """The doubt in English, with what to do."""
        return _NOTE_TEXTS[self.code].format(**self.numbers)

    def to_json(self) -> dict[str, Any]:
        """Return code, numbers and English message."""
        return {"code": self.code, "numbers": dict(self.numbers), "message": self.message}


def quality_note(code: str, **numbers: float | str) -> QualityNote:
    """Return a note after checking that its text can be filled."""
    note = QualityNote(code, numbers)
    assert note.message
    return note


@dataclass(frozen=True)
class Slip:
    """A control point set on a wrong place.

    Parameters
    ----------
    index, label
        Position in the list given, and its name.
    distance_mm, distance_px : float
        From where the other points put it.
    expected_px : 2 floats, px
        Where the others put it in the image.
    exchanged_with : str, optional
        Label of another slip whose place this one has.
    is_left_out : bool
        Whether the fit was made without it.
    """

    index: int
    label: str
    distance_mm: float
    distance_px: float
    expected_px: tuple[float, float]
    exchanged_with: str | None = None
    is_left_out: bool = True

    @property
    def message(self) -> str:
        """The finding in English, with what to do."""
        found = (
            f"Point {self.label} is off by {self.distance_mm:.2f} mm ({self.distance_px:.0f} px) "
            "from where the other points put it"
        )
        if self.exchanged_with is not None:
            return f"{found}: it seems exchanged with point {self.exchanged_with}. Exchange the two."
        x_px, y_px = self.expected_px
        return f"{found}. Set it again near x {x_px:.0f}, y {y_px:.0f} px in the image, or remove it."

    def to_json(self) -> dict[str, Any]:
        """Return the finding as a dictionary with its English message."""
        return {
            "index": self.index,
            "label": self.label,
            "distance_mm": self.distance_mm,
            "distance_px": self.distance_px,
            "expected_px": list(self.expected_px),
            "exchanged_with": self.exchanged_with,
            "is_left_out": self.is_left_out,
            "message": self.message,
        }


def slips_by_name(
    indices: NDArray[np.int64],
    points: tuple[NDArray[np.float64], NDArray[np.float64]],
    *,
    solution: Solution,
    labels: Sequence[str],
    is_left_out: bool,
) -> tuple[Slip, ...]:
    """Return the slips with their distances from where a fit without them puts them.

    Parameters
    ----------
    indices : (S,) int array
        Positions of the slips among all points.
    points : pair of (N, 2) arrays
        All points in mm and px.
    solution : Solution
        Fit of the others.
    labels : sequence of str
        Names of all points.
    is_left_out : bool
    """
    if not len(indices):
        return ()
    points_mm, points_px = points[0][indices], points[1][indices]
    expected_px = solution.predicted_px(points_mm)
    distance_px = np.hypot(*(points_px - expected_px).T)
    # The pitch along the miss, from the plane part; good enough to say how far a slip went.
    mm_per_px = 1.0 / np.sqrt(abs(np.linalg.det(solution.plane.px_from_mm[:2, :2])))
    partners = exchanged_points(points_px, expected_px)
    return tuple(
        Slip(
            index=int(index),
            label=labels[index],
            distance_mm=float(distance_px[place] * mm_per_px),
            distance_px=float(distance_px[place]),
            expected_px=(float(expected_px[place, 0]), float(expected_px[place, 1])),
            exchanged_with=labels[indices[partners[place]]] if place in partners else None,
            is_left_out=is_left_out,
        )
        for place, index in enumerate(indices)
    )


def exchanged_points(points_px: NDArray[np.float64], expected_px: NDArray[np.float64]) -> dict[int, int]:
    """Return pairs of slips, each standing where the other is expected.

    Examples
    --------
    >>> places = np.array([[0.0, 0.0], [100.0, 0.0]])
    >>> exchanged_points(places, places[::-1])
    {0: 1, 1: 0}
    """
    partners = {}
    for first in range(len(points_px)):
        for second in range(len(points_px)):
            apart_px = np.hypot(*(expected_px[first] - expected_px[second]))
            misses_px = [np.hypot(*(points_px[a] - expected_px[b])) for a, b in ((first, second), (second, first))]
            if first != second and max(misses_px) < _EXCHANGE_SHARE * apart_px:
                partners[first] = second
    return partners
