"""An artwork and its faces."""

import uuid
from typing import ClassVar

import pghistory
from django.db import models
from django.utils.translation import gettext_lazy as _

from imaging.models.rights import validate_rights_uri
from imaging.models.study import Study

__all__ = ["Artwork", "Face", "FaceKind", "SizeOf"]


class SizeOf(models.TextChoices):
    """What a stated size was taken of; the three differ."""

    PAINTED_SURFACE = "painted_surface", _("painted surface")
    SUPPORT = "support", _("support")
    SIGHT = "sight", _("sight size")


@pghistory.track()
class Artwork(models.Model):
    """A work, which may be part of another: wing, panel, leaf."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    study = models.ForeignKey(Study, on_delete=models.PROTECT, related_name="artworks")
    part_of = models.ForeignKey("self", null=True, blank=True, on_delete=models.PROTECT, related_name="parts")
    inventory_number = models.CharField(_("inventory number"), max_length=100)
    title = models.CharField(_("title"), max_length=300)
    maker = models.CharField(_("painter"), max_length=300, blank=True)
    medium = models.CharField(_("material and support"), max_length=300, blank=True)
    dating = models.CharField(_("dating"), max_length=200, blank=True)
    earliest_year = models.IntegerField(_("earliest year"), null=True, blank=True)
    latest_year = models.IntegerField(_("latest year"), null=True, blank=True)
    height_mm = models.FloatField(_("height, mm"))
    width_mm = models.FloatField(_("width, mm"))
    depth_mm = models.FloatField(_("depth, mm"), null=True, blank=True)
    size_of = models.CharField(_("size taken of"), max_length=20, choices=SizeOf, default=SizeOf.PAINTED_SURFACE)
    owner = models.CharField(_("owner"), max_length=300, blank=True)
    credit_line = models.CharField(_("credit line"), max_length=500, blank=True)
    rights_uri = models.CharField(_("rights"), max_length=200, blank=True, validators=[validate_rights_uri])
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["study", "inventory_number"], name="one_inventory_number_a_study"),
            models.CheckConstraint(
                condition=models.Q(height_mm__gt=0) & models.Q(width_mm__gt=0), name="a_work_has_a_size"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.title}, {self.inventory_number}"


class FaceKind(models.TextChoices):
    """The sides of a work that are imaged."""

    FRONT = "front", _("front")
    BACK = "back", _("back")
    TOP_EDGE = "top_edge", _("top edge")
    RIGHT_EDGE = "right_edge", _("right edge")
    BOTTOM_EDGE = "bottom_edge", _("bottom edge")
    LEFT_EDGE = "left_edge", _("left edge")
    UNDER_FRAME = "under_frame", _("under the frame")


@pghistory.track()
class Face(models.Model):
    """One side of an artwork; it has one frame of plane millimetres at a time."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    artwork = models.ForeignKey(Artwork, on_delete=models.PROTECT, related_name="faces")
    kind = models.CharField(_("side"), max_length=16, choices=FaceKind, default=FaceKind.FRONT)

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["artwork", "kind"], name="one_face_a_side")]

    def __str__(self) -> str:
        return f"{self.artwork.inventory_number} · {self.get_kind_display()}"
