"""The claim that a picture was aligned with another before it came: measured, and its doubts said."""

from typing import Any

from django.utils.translation import gettext as _

from imaging.compute.masters.same_grid import GridLevel, SameGridFinding, measure_same_grid
from imaging.compute.masters.source import MasterSource
from imaging.models import ImageStatus, TechnicalImage
from imaging.services.image_sources import open_image_source
from imaging.services.ingest_sheets import sheet_line

__all__ = ["SAME_GRID_CODES", "followers_of", "measured_claim"]

#: A whole picture at about this size tells of large shifts, windows at full size of small ones.
_WHOLE_PX, _WINDOW_PX = 1200, 512
#: Where the windows lie, as shares of the picture.
_WINDOW_PLACES = ((0.25, 0.25), (0.75, 0.25), (0.5, 0.5), (0.25, 0.75), (0.75, 0.75))
SAME_GRID_CODES = {
    "agrees": "same_grid_agrees",
    "doubtful": "same_grid_doubtful",
    "cannot_tell": "same_grid_cannot_tell",
}


def measured_claim(image: TechnicalImage, source: MasterSource) -> list[dict[str, Any]]:
    """Return the line of the sheet on the claim of an image; none without a claim."""
    other = image.same_grid_as
    if other is None:
        return []
    if other.status not in (ImageStatus.READ, ImageStatus.PUBLISHED):
        return [
            sheet_line(
                "same_grid_waiting",
                sentence=_("Whether it lies on the grid of %(other)s is not measured yet.") % {"other": str(other)},
                remedy=_("Nothing: it is measured when that image has been read."),
            )
        ]
    finding = _compared(open_image_source(other), source)
    is_doubt = finding.verdict != "agrees"
    line = sheet_line(
        SAME_GRID_CODES[finding.verdict],
        sentence=_sentence_of(finding, other),
        remedy=_("Look at both by wipe, or set control points.") if is_doubt else "",
        state="open" if is_doubt else "fits",
    )
    return [line | {"finding": {**finding.to_json(), "shifts": []}}]


def _sentence_of(finding: SameGridFinding, other: TechnicalImage) -> str:
    """Return what was measured, in one sentence."""
    if finding.verdict == "agrees":
        return _("It lies on the grid of %(other)s: largest shift %(shift).2f px in %(count)d places.") % {
            "other": str(other),
            "shift": finding.largest_px or 0.0,
            "count": finding.patches_used,
        }
    return _("It was said to lie on the grid of %(other)s. %(reason)s") % {
        "other": str(other),
        "reason": finding.reason,
    }


def _compared(reference: MasterSource, moving: MasterSource) -> SameGridFinding:
    """Measure both pictures at a coarse scale and in windows at full size."""
    reference_size = (reference.width_px, reference.height_px)
    moving_size = (moving.width_px, moving.height_px)
    windows = _windows_of(reference, moving) if reference_size == moving_size else []
    return measure_same_grid(
        [_level_of(reference, *window) for window in windows],
        [_level_of(moving, *window) for window in windows],
        reference_size_px=reference_size,
        moving_size_px=moving_size,
    )


def _windows_of(reference: MasterSource, moving: MasterSource) -> list[tuple[int, int, int, int, int]]:
    """Return (x, y, width, height, scale factor) of what is compared, inside both pictures."""
    shared = sorted(set(reference.scale_factors) & set(moving.scale_factors))
    width_px, height_px = reference.width_px, reference.height_px
    windows = []
    coarse = [factor for factor in shared if max(width_px, height_px) <= _WHOLE_PX * factor]
    if coarse:
        factor = coarse[0]
        windows.append((0, 0, -(-width_px // factor), -(-height_px // factor), factor))
    if 1 in shared and coarse[:1] != [1]:
        side_px = (min(_WINDOW_PX, width_px), min(_WINDOW_PX, height_px))
        for x_share, y_share in _WINDOW_PLACES:
            x_px = min(max(0, round(width_px * x_share) - side_px[0] // 2), width_px - side_px[0])
            y_px = min(max(0, round(height_px * y_share) - side_px[1] // 2), height_px - side_px[1])
            windows.append((x_px, y_px, *side_px, 1))
    return windows


def _level_of(source: MasterSource, x_px: int, y_px: int, *size: int) -> GridLevel:
    """Return one window of a picture; its first three bands are what is seen."""
    width_px, height_px, factor = size
    pixels = source.read_window(x_px, y_px, width_px, height_px, scale_factor=factor)
    return GridLevel(
        pixels[..., :3] if pixels.shape[2] >= 3 else pixels[..., 0],
        scale_factor=float(factor),
        origin_px=(float(x_px * factor), float(y_px * factor)),
    )


def followers_of(image: TechnicalImage) -> list[TechnicalImage]:
    """Return the read images that are said to lie on the grid of an image."""
    followers = image.aligned.filter(status__in=[ImageStatus.READ, ImageStatus.PUBLISHED])
    return list(followers.select_related("face__artwork__study", "campaign", "master", "same_grid_as"))
