"""An annotation: a geometry in frame millimetres and what was seen and concluded there."""

import uuid
from typing import ClassVar

import pghistory
from django.conf import settings
from django.contrib.postgres.indexes import GistIndex
from django.db import models
from django.db.models import F, Func
from django.utils.translation import gettext_lazy as _

from imaging.models import Face, Frame, Registration, TechnicalImage

__all__ = ["Annotation", "AnnotationQuerySet", "AnnotationStatus", "Certainty"]


def _point_sql(x_mm: F | float, y_mm: F | float) -> Func:
    """Return PostgreSQL's point of two columns or numbers."""
    return Func(x_mm, y_mm, function="point", output_field=models.Field())


def _bounding_box_sql() -> Func:
    """Return PostgreSQL's box around a row's geometry; index and query must spell it alike, or no index is used."""
    corners = _point_sql(F("max_x_mm"), F("max_y_mm")), _point_sql(F("min_x_mm"), F("min_y_mm"))
    return Func(*corners, function="box", output_field=models.Field())


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


class AnnotationQuerySet(models.QuerySet["Annotation"]):
    """Lists of annotations, narrowed by place and state."""

    def active(self) -> "AnnotationQuerySet":
        """Return those that nobody withdrew."""
        return self.filter(status=AnnotationStatus.ACTIVE)

    def within_window(self, x_mm: float, y_mm: float, *, width_mm: float, height_mm: float) -> "AnnotationQuerySet":
        """Return those whose bounding box meets a window of the frame, by the GiST index on boxes."""
        corners = _point_sql(x_mm + width_mm, y_mm + height_mm), _point_sql(x_mm, y_mm)
        window = Func(*corners, function="box", output_field=models.Field())
        meets = Func(
            _bounding_box_sql(),
            window,
            template="(%(expressions)s)",
            arg_joiner=" && ",
            output_field=models.BooleanField(),
        )
        return self.filter(meets)


@pghistory.track(append_only=True)
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

    objects = AnnotationQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["face", "number"]
        indexes: ClassVar = [GistIndex(_bounding_box_sql(), name="annotation_box")]
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
