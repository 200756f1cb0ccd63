"""A campaign: one date, place and treatment state in which a work was imaged."""

import uuid
from typing import ClassVar

import pghistory
from django.db import models
from django.utils.translation import gettext_lazy as _

from imaging.models.artwork import Artwork
from imaging.models.study import Site

__all__ = ["Campaign", "TreatmentState"]


class TreatmentState(models.TextChoices):
    """Where in its treatment the work stood."""

    BEFORE = "before", _("before treatment")
    DURING = "during", _("during treatment")
    AFTER = "after", _("after treatment")


@pghistory.track()
class Campaign(models.Model):
    """One visit of the camera: date, place, treatment state."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    artwork = models.ForeignKey(Artwork, on_delete=models.PROTECT, related_name="campaigns")
    state = models.CharField(_("treatment state"), max_length=8, choices=TreatmentState)
    step = models.CharField(_("step of the treatment"), max_length=200, blank=True)
    begun_on = models.DateField(_("from"), null=True, blank=True)
    ended_on = models.DateField(_("to"), null=True, blank=True)
    site = models.ForeignKey(Site, null=True, blank=True, on_delete=models.SET_NULL, related_name="campaigns")
    place = models.CharField(_("place"), max_length=200, blank=True)
    note = models.TextField(_("note"), blank=True)

    class Meta:
        ordering: ClassVar = ["artwork", "begun_on"]

    def __str__(self) -> str:
        return f"{self.get_state_display()} {self.begun_on or ''}".strip()
