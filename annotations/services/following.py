"""Annotations follow when the frame of their face is corrected: the same places, in the new millimetres."""

import numpy as np
import shapely
from django.utils import timezone
from shapely.geometry.base import BaseGeometry

from annotations.models import Annotation
from annotations.services.announcing import announce
from annotations.services.placing import columns_of_shape, shape_of
from imaging.compute.frame_versions import FrameChange
from imaging.models import Frame
from imaging.services.framing import FRAME_FOLLOWERS

__all__ = ["shape_in_frame"]

_ROWS_A_PART = 1000
_COLUMNS = ("frame", "geometry_wkb", "min_x_mm", "min_y_mm", "max_x_mm", "max_y_mm")


def shape_in_frame(shape_mm: BaseGeometry, frame: Frame, *, newest: Frame) -> BaseGeometry:
    """Return a shape drawn in one frame version in the millimetres of the newest, through those between."""
    later = newest.face.frames.filter(version__gt=frame.version, version__lte=newest.version).order_by("version")
    for step in later:
        change = FrameChange(np.asarray(step.mm_from_previous_mm, dtype=np.float64)[:2])
        shape_mm = shapely.transform(shape_mm, change.new_from_old_mm)
    return shape_mm


def _follow_frame(old: Frame, new: Frame, change: FrameChange) -> None:
    """Carry every annotation of a face over as its next revision, by whoever corrected the frame.

    Runs within the correction's transaction. Withdrawn ones follow too, so that no row speaks of millimetres that
    nobody uses any more; the history keeps what each said before.
    """
    part: list[Annotation] = []
    rows = Annotation.objects.filter(frame=old).select_for_update(of=("self",)).order_by("pk")
    for annotation in rows.iterator(chunk_size=_ROWS_A_PART):
        part.append(_carried(annotation, new, change))
        if len(part) == _ROWS_A_PART:
            _keep(part)
            part = []
    _keep(part)


def _carried(annotation: Annotation, new: Frame, change: FrameChange) -> Annotation:
    """Return an annotation laid into the new frame, not yet saved."""
    shape_mm = shapely.transform(shape_of(annotation), change.new_from_old_mm)
    annotation.frame = new
    for name, value in columns_of_shape(shape_mm).items():
        setattr(annotation, name, value)
    annotation.revision_number += 1
    annotation.edited_at = timezone.now()
    if new.made_by is not None:
        annotation.edited_by = new.made_by
    return annotation


def _keep(part: list[Annotation]) -> None:
    """Save some carried annotations and tell who listens."""
    Annotation.objects.bulk_update(part, [*_COLUMNS, "revision_number", "edited_by", "edited_at"])
    for annotation in part:
        announce(annotation)


FRAME_FOLLOWERS.append(_follow_frame)
