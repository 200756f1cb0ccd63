"""A registration: one versioned map from frame millimetres to an image's own pixels."""

import uuid
from typing import ClassVar

import pghistory
from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from imaging.models.frame import Frame
from imaging.models.technical_image import TechnicalImage

__all__ = ["ControlPoint", "PointKind", "Registration", "RegistrationMethod", "RegistrationStatus"]


class RegistrationMethod(models.TextChoices):
    """Where the map came from."""

    STATED_SCALE = "stated_scale", _("stated scale and zero point")
    CONTROL_POINTS = "control_points", _("control points")
    SAME_GRID = "same_grid", _("same grid as another image")


class RegistrationStatus(models.TextChoices):
    """Whether somebody has judged it; only an accepted one publishes a pyramid."""

    CANDIDATE = "candidate", _("awaits judgement")
    ACCEPTED = "accepted", _("accepted")
    REFUSED = "refused", _("refused")
    REPLACED = "replaced", _("replaced")


@pghistory.track(exclude=["uncertainty"])
class Registration(models.Model):
    """One version of the map of one image onto one frame version."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    image = models.ForeignKey(TechnicalImage, on_delete=models.PROTECT, related_name="registrations")
    frame = models.ForeignKey(Frame, on_delete=models.PROTECT, related_name="registrations")
    version = models.PositiveIntegerField()
    method = models.CharField(max_length=16, choices=RegistrationMethod)
    model = models.CharField(_("kind of map"), max_length=12, blank=True)
    status = models.CharField(max_length=12, choices=RegistrationStatus, default=RegistrationStatus.CANDIDATE)
    reference = models.ForeignKey("self", null=True, blank=True, on_delete=models.PROTECT, related_name="dependents")
    map = models.JSONField()
    # Residuals as counts and mm/px figures; see services.registering for the keys.
    quality = models.JSONField(default=dict)
    # Grid of 95 % uncertainties in mm; None where nothing was measured.
    uncertainty = models.JSONField(null=True, blank=True)
    quality_notes = models.JSONField(default=list, blank=True)
    software_version = models.CharField(max_length=40)
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField(auto_now_add=True)
    judged_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    judged_at = models.DateTimeField(null=True, blank=True)
    judgement = models.CharField(_("reason"), max_length=500, blank=True)

    class Meta:
        ordering: ClassVar = ["image", "version"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["image", "version"], name="one_registration_a_version"),
            models.UniqueConstraint(
                fields=["image"], condition=models.Q(status="accepted"), name="one_accepted_registration_an_image"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.image} · registration {self.version}"


class PointKind(models.TextChoices):
    """A control point takes part in the fit, a check point only judges it."""

    CONTROL = "control", _("control point")
    CHECK = "check", _("check point")


class ControlPoint(models.Model):
    """One place known in the frame and seen in the image."""

    registration = models.ForeignKey(Registration, on_delete=models.CASCADE, related_name="points")
    label = models.CharField(max_length=60)
    kind = models.CharField(max_length=8, choices=PointKind, default=PointKind.CONTROL)
    x_mm = models.FloatField()
    y_mm = models.FloatField()
    x_px = models.FloatField()
    y_px = models.FloatField()
    residual_mm = models.FloatField(null=True, blank=True)
    leave_one_out_mm = models.FloatField(null=True, blank=True)
    is_slip = models.BooleanField(default=False)

    class Meta:
        ordering: ClassVar = ["registration", "id"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["registration", "label"], name="one_label_a_registration")
        ]

    def __str__(self) -> str:
        return self.label
