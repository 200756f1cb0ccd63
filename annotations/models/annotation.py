"""An annotation: a geometry in frame millimetres and what was seen and concluded there."""

import uuid
from typing import ClassVar

import pghistory
from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from imaging.models import Face, Frame, Registration, TechnicalImage

__all__ = ["Annotation", "AnnotationStatus", "Certainty"]


class Certainty(models.TextChoices):
    """How sure the author is; shown by the pattern of the line, never by colour."""

    CERTAIN = "certain", _("certain")
    PROBABLE = "probable", _("probable")
    POSSIBLE = "possible", _("possible")
    UNLIKELY = "unlikely", _("unlikely")
    REJECTED = "rejected", _("rejected")


class AnnotationStatus(models.TextChoices):
    """Deletion is a state, not a loss."""

    ACTIVE = "active", _("active")
    WITHDRAWN = "withdrawn", _("withdrawn")


@pghistory.track()
class Annotation(models.Model):
    """One mark; every change is a new revision in the event table, with its author and time."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    face = models.ForeignKey(Face, on_delete=models.PROTECT, related_name="annotations")
    frame = models.ForeignKey(Frame, on_delete=models.PROTECT, related_name="annotations")
    # Counts per face: A1, A2 ...
    number = models.PositiveIntegerField()
    subject = models.CharField(_("what is said"), max_length=40, blank=True)
    title = models.CharField(_("title"), max_length=200, blank=True)
    geometry_wkb = models.BinaryField()
    min_x_mm = models.FloatField()
    min_y_mm = models.FloatField()
    max_x_mm = models.FloatField()
    max_y_mm = models.FloatField()
    observation = models.TextField(_("seen"), blank=True)
    interpretation = models.TextField(_("concluded"), blank=True)
    text_language = models.CharField(_("language of the text"), max_length=35, default="en")
    certainty = models.CharField(_("certainty"), max_length=10, choices=Certainty, blank=True)
    certainty_reason = models.CharField(_("why so sure"), max_length=500, blank=True)
    drawn_on_image = models.ForeignKey(
        TechnicalImage, null=True, blank=True, on_delete=models.PROTECT, related_name="annotations"
    )
    drawn_on_registration = models.ForeignKey(
        Registration, null=True, blank=True, on_delete=models.PROTECT, related_name="annotations"
    )
    status = models.CharField(max_length=10, choices=AnnotationStatus, default=AnnotationStatus.ACTIVE)
    revision_number = models.PositiveIntegerField(default=1)
    author = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="annotations")
    edited_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    created_at = models.DateTimeField(auto_now_add=True)
    edited_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering: ClassVar = ["face", "number"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["face", "number"], name="one_number_a_face"),
            models.CheckConstraint(
                condition=models.Q(min_x_mm__lte=models.F("max_x_mm")) & models.Q(min_y_mm__lte=models.F("max_y_mm")),
                name="a_box_is_not_inside_out",
            ),
        ]

    def __str__(self) -> str:
        return self.key

    @property
    def key(self) -> str:
        """The short name under which people speak of it: A7."""
        return f"A{self.number}"
