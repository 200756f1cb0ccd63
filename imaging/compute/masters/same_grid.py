"""Whether two images lie on one pixel grid, as was claimed: measured, not believed."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from .structure_channels import channel_shift, structure_channels

__all__ = ["GridLevel", "PatchShift", "SameGridFinding", "measure_same_grid"]

_PATCH_PX, _STEP_PX = 128, 64
_RADIUS_PX = 32
# Filters reach this far from a border.
_BORDER_PX = 12
# First over second peak; patches below it have matched by chance.
_LEAST_PEAK_RATIO = 1.05
_FEWEST_PATCHES = 8
# Part of the patches with a peak that must lie on one smooth (affine) field of shifts.
_LEAST_CONSENSUS = 0.5
_CONSENSUS_PX = 1.0
# Half a pixel of a level is a doubt; patches of unlike modalities scatter by 0.1 to 0.3 px.
_DOUBT_PX = 0.5


@dataclass(frozen=True)
class GridLevel:
    """The same window of a picture at one scale, grey.

    Parameters
    ----------
    pixels : (rows, columns) array
        Any number type; a mean of the bands for colour.
    scale_factor : float
        Master pixels per pixel of this level: 1, 2, 4 ...
    origin_px : (float, float)
        Master pixel of its left upper corner.
    valid : (rows, columns) bool array or None
        False where there is no picture.
    """

    pixels: NDArray[Any]
    scale_factor: float = 1.0
    origin_px: tuple[float, float] = (0.0, 0.0)
    valid: NDArray[np.bool_] | None = None


@dataclass(frozen=True)
class PatchShift:
    """How far the content of one patch lies from the reference, in master pixels.

    Parameters
    ----------
    x_px, y_px : float
        Middle of the patch in the master.
    dx_px, dy_px : float
        Content of the moving image minus that of the reference.
    peak_ratio : float
        Height of the best peak over that of the second best.
    scale_factor : float
        Of the level it was measured in.
    """

    x_px: float
    y_px: float
    dx_px: float
    dy_px: float
    peak_ratio: float
    scale_factor: float


@dataclass(frozen=True)
class SameGridFinding:
    """The answer, with its numbers.

    Parameters
    ----------
    verdict : str
        ``"agrees"``, ``"doubtful"`` or ``"cannot_tell"``.
    reason : str
        One sentence in English.
    dx_px, dy_px : float or None
        Shift in the middle of what was measured, in master pixels, at the finest level that told.
    largest_px : float or None
        Largest shift of the smooth field at any patch of that level.
    scatter_px : float or None
        Median distance of a patch from the smooth field.
    resolves_px : float or None
        Shift that would have been a doubt.
    patches_used, patches_tried : int
        Patches on the smooth field, and all that lie inside the picture, over all levels.
    shifts : tuple of PatchShift
        Every patch that had a say.
    """

    verdict: str
    reason: str
    dx_px: float | None
    dy_px: float | None
    largest_px: float | None
    scatter_px: float | None
    resolves_px: float | None
    patches_used: int
    patches_tried: int
    shifts: tuple[PatchShift, ...]

    def to_json(self) -> dict[str, Any]:
        """Return the finding as JSON values."""
        return asdict(self) | {"shifts": [asdict(shift) for shift in self.shifts]}


def measure_same_grid(
    reference: Sequence[GridLevel],
    moving: Sequence[GridLevel],
    *,
    reference_size_px: tuple[int, int],
    moving_size_px: tuple[int, int],
) -> SameGridFinding:
    """Measure the claim that a picture lies on the pixel grid of another.

    Parameters
    ----------
    reference, moving : sequence of GridLevel
        Pairs of the same windows at the same scales, such as the whole picture at about
        1000 px and a few windows of 512 px at full scale.
    reference_size_px, moving_size_px : (int, int)
        Width and height of the two masters.

    Returns
    -------
    finding : SameGridFinding
        ``"agrees"`` if the shifts at every level that tells stay below half a pixel of that level;
        ``"doubtful"`` if they do not, or the sizes differ; ``"cannot_tell"`` if too few patches
        share any structure.

    Raises
    ------
    ValueError
        If the levels do not come in pairs of one shape.

    Notes
    -----
    Modalities share edges, not brightness: patches of oriented amplitudes (`structure_channels`;
    the idea of oriented channels: DOI 10.3390/rs13173535) are correlated by phase. A chance match
    points anywhere, a true one like its neighbours: only patches on one affine field of shifts
    count, and at least half of those with a clear peak must. Shifts up to 32 px of a level are
    found, so give a coarse level too. Raking light moves the content itself by up to 0.4 px; the
    blocks of two JPEG pictures lie on one grid whatever their content does, so that two strongly
    compressed ones may seem to agree. Memory: about 16 times a level in float32.
    """
    if len(reference) != len(moving):
        raise ValueError("reference and moving need the same number of levels")
    if reference_size_px != moving_size_px:
        (width, height), (other_width, other_height) = reference_size_px, moving_size_px
        return _without_shifts(
            "doubtful",
            f"The images have {width} × {height} and {other_width} × {other_height} px; one grid "
            "needs one size. Set control points instead.",
        )
    pairs = list(zip(reference, moving, strict=True))
    for one, other in pairs:
        if one.pixels.shape[:2] != other.pixels.shape[:2]:
            raise ValueError(f"levels of {one.pixels.shape} and {other.pixels.shape} px")
    fields = []
    for scale in sorted({one.scale_factor for one, _ in pairs}):
        tried, shifts = 0, []
        for one, other in pairs:
            if one.scale_factor == scale:
                count, found = _patch_shifts(one, other)
                tried += count
                shifts += found
        fields.append(_smooth_field(shifts, scale=scale, tried=tried))
    return _judged(fields)


@dataclass(frozen=True)
class _Field:
    """The smooth field of shifts of one scale, empty if its patches contradict each other."""

    scale: float
    tried: int
    kept: tuple[PatchShift, ...] = ()
    middle_px: tuple[float, float] = (0.0, 0.0)
    largest_px: float = 0.0
    scatter_px: float = 0.0

    @property
    def is_doubtful(self) -> bool:
        return self.largest_px > _DOUBT_PX * self.scale


def _patch_shifts(one: GridLevel, other: GridLevel) -> tuple[int, list[PatchShift]]:
    """Return how many patches lie inside the picture, and the shifts of those with a peak."""
    valid = _inside(one) & _inside(other)
    height, width = valid.shape
    if min(height, width) < _PATCH_PX:
        return 0, []
    reference, moving = structure_channels(_grey(one.pixels)), structure_channels(_grey(other.pixels))
    tried, found = 0, []
    for top in range(_BORDER_PX, height - _PATCH_PX + 1, _STEP_PX):
        for left in range(_BORDER_PX, width - _PATCH_PX + 1, _STEP_PX):
            window = np.s_[top : top + _PATCH_PX, left : left + _PATCH_PX]
            if not valid[window].all():
                continue
            tried += 1
            shift = channel_shift(reference[:, *window], moving[:, *window], radius_px=_RADIUS_PX)
            if shift is None or shift.peak_ratio < _LEAST_PEAK_RATIO:
                continue
            scale = one.scale_factor
            found.append(
                PatchShift(
                    x_px=one.origin_px[0] + (left + _PATCH_PX / 2) * scale,
                    y_px=one.origin_px[1] + (top + _PATCH_PX / 2) * scale,
                    dx_px=shift.dx_px * scale,
                    dy_px=shift.dy_px * scale,
                    peak_ratio=shift.peak_ratio,
                    scale_factor=scale,
                )
            )
    return tried, found


def _inside(level: GridLevel) -> NDArray[np.bool_]:
    shape = level.pixels.shape[:2]
    valid = np.ones(shape, np.uint8) if level.valid is None else level.valid.astype(np.uint8)
    reach = 2 * _BORDER_PX + 1
    # Outside the picture counts as no picture.
    eroded = cv2.erode(valid, np.ones((reach, reach), np.uint8), borderValue=0)
    return np.asarray(eroded, bool)


def _grey(pixels: NDArray[Any]) -> NDArray[Any]:
    return pixels if pixels.ndim == 2 else pixels.mean(axis=2, dtype=np.float32)


def _smooth_field(shifts: list[PatchShift], *, scale: float, tried: int) -> _Field:
    """Fit one affine field to the shifts and keep the patches that lie on it."""
    if len(shifts) < _FEWEST_PATCHES:
        return _Field(scale=scale, tried=tried)
    places = np.array([(shift.x_px, shift.y_px) for shift in shifts])
    vectors = np.array([(shift.dx_px, shift.dy_px) for shift in shifts])
    spread = np.maximum(np.ptp(places, axis=0), 1.0)
    design = np.column_stack([np.ones(len(shifts)), (places - places.mean(axis=0)) / spread])
    tolerance_px = _CONSENSUS_PX * scale
    predicted = np.tile(_densest(vectors, 4.0 * tolerance_px), (len(shifts), 1))
    for width_px in np.geomspace(4.0, 1.0, 8) * tolerance_px:
        # Geman-McClure weights, from generous to strict.
        off = np.hypot(*(vectors - predicted).T)
        weights = 1.0 / (1.0 + (off / width_px) ** 2)
        # A weak pull to a constant shift, or patches in one corner would tilt the field.
        normal = (design * weights[:, None] ** 2).T @ design + np.diag([0.0, 0.5, 0.5])
        solved = np.linalg.solve(normal, (design * weights[:, None] ** 2).T @ vectors)
        predicted = design @ solved
    off = np.hypot(*(vectors - predicted).T)
    is_kept = off <= tolerance_px
    if is_kept.sum() < max(_FEWEST_PATCHES, _LEAST_CONSENSUS * len(shifts)):
        return _Field(scale=scale, tried=tried)
    middle = predicted[is_kept].mean(axis=0)
    return _Field(
        scale=scale,
        tried=tried,
        kept=tuple(shift for shift, keep in zip(shifts, is_kept, strict=True) if keep),
        middle_px=(float(middle[0]), float(middle[1])),
        largest_px=float(np.hypot(*predicted[is_kept].T).max()),
        scatter_px=float(np.median(off[is_kept])),
    )


def _densest(vectors: NDArray[np.float64], radius_px: float) -> NDArray[np.float64]:
    """Return the mean of the shifts around the one with the most others near."""
    apart = np.hypot(*(vectors[:, None] - vectors[None]).transpose(2, 0, 1))
    is_near = apart <= radius_px
    best = int(np.argmax(is_near.sum(axis=1)))
    return np.asarray(vectors[is_near[best]].mean(axis=0))


def _judged(fields: list[_Field]) -> SameGridFinding:
    tried = sum(one.tried for one in fields)
    kept = tuple(shift for one in fields for shift in one.kept)
    telling = [one for one in fields if one.kept]
    if not telling:
        return _without_shifts(
            "cannot_tell",
            f"Too few of {tried} patches share structure; at least {_FEWEST_PATCHES} that "
            "agree with each other are needed. Compare the two at a few marks by eye.",
            tried=tried,
        )
    # The finest level that tells, or the finest one that contradicts the claim.
    doubtful = [one for one in telling if one.is_doubtful]
    chosen = (doubtful or telling)[0]
    dx, dy = chosen.middle_px
    if doubtful:
        reason = (
            f"The content lies {dx:+.2f} px in x and {dy:+.2f} px in y off, at most "
            f"{chosen.largest_px:.2f} px; on one grid it would be less than "
            f"{_DOUBT_PX * chosen.scale:.2g} px. Set control points instead."
        )
    else:
        reason = (
            f"{len(kept)} of {tried} patches agree: the content lies {dx:+.2f} px in x and "
            f"{dy:+.2f} px in y off; {_DOUBT_PX * chosen.scale:.2g} px would have been a doubt."
        )
    return SameGridFinding(
        verdict="doubtful" if doubtful else "agrees",
        reason=reason,
        dx_px=dx,
        dy_px=dy,
        largest_px=chosen.largest_px,
        scatter_px=chosen.scatter_px,
        resolves_px=_DOUBT_PX * chosen.scale,
        patches_used=len(kept),
        patches_tried=tried,
        shifts=kept,
    )


def _without_shifts(verdict: str, reason: str, *, tried: int = 0) -> SameGridFinding:
    return SameGridFinding(
        verdict=verdict,
        reason=reason,
        dx_px=None,
        dy_px=None,
        largest_px=None,
        scatter_px=None,
        resolves_px=None,
        patches_used=0,
        patches_tried=tried,
        shifts=(),
    )
