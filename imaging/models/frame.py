"""The frame of a face: plane millimetres, x right, y down, with a recorded datum."""

import uuid
from typing import ClassVar

import pghistory
from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from imaging.models.artwork import Face

__all__ = ["Datum", "Frame"]


class Datum(models.TextChoices):
    """Which corner of what is 0, 0."""

    PAINTED_SURFACE_TOP_LEFT = "painted_surface_top_left", _("upper left corner of the painted surface")
    SUPPORT_TOP_LEFT = "support_top_left", _("upper left corner of the support")
    SIGHT_TOP_LEFT = "sight_top_left", _("upper left corner of the sight size")


@pghistory.track()
class Frame(models.Model):
    """One version of a face's millimetres; a correction is a new version, never an edit."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    face = models.ForeignKey(Face, on_delete=models.PROTECT, related_name="frames")
    version = models.PositiveIntegerField()
    datum = models.CharField(_("zero point"), max_length=32, choices=Datum, default=Datum.PAINTED_SURFACE_TOP_LEFT)
    datum_note = models.CharField(_("zero point in words"), max_length=300, blank=True)
    width_mm = models.FloatField(_("width, mm"))
    height_mm = models.FloatField(_("height, mm"))
    size_uncertainty_mm = models.FloatField(_("uncertainty of the size (95 %), mm"), default=1.0)
    scale_uncertainty = models.FloatField(_("relative uncertainty of the scale (1 sigma)"), default=0.001)
    canvas_pitch_mm = models.FloatField(_("canvas pitch, mm per pixel"))
    # Corners as [[x, y], ...] in frame millimetres: the denominator of every percentage.
    outline_mm = models.JSONField(_("outline of the painted surface"), default=list)
    # Affine 3 x 3, millimetres of this version from millimetres of the previous one; empty for version 1.
    mm_from_previous_mm = models.JSONField(null=True, blank=True)
    reason = models.CharField(_("why this version was made"), max_length=500, blank=True)
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering: ClassVar = ["face", "version"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["face", "version"], name="one_frame_a_version"),
            models.CheckConstraint(
                condition=models.Q(width_mm__gt=0) & models.Q(height_mm__gt=0) & models.Q(canvas_pitch_mm__gt=0),
                name="a_frame_has_a_size_and_a_pitch",
            ),
        ]

    def __str__(self) -> str:
        return f"F{self.version}"
