"""Pyramids on disk: lossless reading levels of a master, or display tiles laid into the frame."""

import uuid
from typing import ClassVar

from django.db import models
from django.utils.translation import gettext_lazy as _

from imaging.models.registration import Registration
from imaging.models.technical_image import TechnicalImage

__all__ = ["Pyramid", "PyramidKind"]


class PyramidKind(models.TextChoices):
    """What a pyramid is for."""

    READING = "reading", _("lossless levels of the master")
    RAW_DISPLAY = "raw_display", _("display tiles in the image's own pixels")
    DISPLAY = "display", _("display tiles in the frame")


class Pyramid(models.Model):
    """One derived file; it knows its parents, parameters, software version and checksum."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    image = models.ForeignKey(TechnicalImage, on_delete=models.PROTECT, related_name="pyramids")
    registration = models.ForeignKey(
        Registration, null=True, blank=True, on_delete=models.PROTECT, related_name="pyramids"
    )
    kind = models.CharField(max_length=12, choices=PyramidKind)
    path = models.CharField(max_length=1000, unique=True)
    sha256 = models.CharField(max_length=64)
    size_bytes = models.BigIntegerField()
    media_type = models.CharField(max_length=40, blank=True)
    # CanvasGrid as JSON; for display pyramids also the zoom count and the tile size.
    grid = models.JSONField(null=True, blank=True)
    zooms = models.PositiveSmallIntegerField(default=0)
    tile_size_px = models.PositiveSmallIntegerField(default=256)
    footprint_mm = models.JSONField(default=list, blank=True)
    parameters = models.JSONField(default=dict)
    software_version = models.CharField(max_length=40)
    is_current = models.BooleanField(default=True)
    made_at = models.DateTimeField(auto_now_add=True)
    freed_at = models.DateTimeField(_("freed"), null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["image", "-made_at"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["image", "kind"], condition=models.Q(is_current=True), name="one_current_pyramid_a_kind"
            )
        ]

    def __str__(self) -> str:
        return f"{self.image} · {self.kind}"
