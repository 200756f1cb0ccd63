"""Long work, seen from outside: what runs, how far it is, why it stopped."""

import uuid
from typing import ClassVar

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from imaging.models.study import Study
from imaging.models.technical_image import TechnicalImage

__all__ = ["Job", "JobKind", "JobStatus"]


class JobKind(models.TextChoices):
    """The steps from file to published pyramid."""

    READ = "read", _("read the master")
    PUBLISH = "publish", _("lay into the frame and publish")
    VERIFY = "verify", _("verify checksums")


class JobStatus(models.TextChoices):
    """Where a job stands."""

    WAITING = "waiting", _("waiting")
    RUNNING = "running", _("running")
    DONE = "done", _("done")
    STOPPED = "stopped", _("stopped")
    CANCELLED = "cancelled", _("cancelled")


class Job(models.Model):
    """One piece of long work; it can be run again after a kill and gives the same result."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    kind = models.CharField(max_length=12, choices=JobKind)
    study = models.ForeignKey(Study, null=True, blank=True, on_delete=models.CASCADE, related_name="jobs")
    image = models.ForeignKey(TechnicalImage, null=True, blank=True, on_delete=models.CASCADE, related_name="jobs")
    parameters = models.JSONField(default=dict, blank=True)
    status = models.CharField(max_length=12, choices=JobStatus, default=JobStatus.WAITING)
    stage = models.CharField(max_length=40, blank=True)
    done_units = models.BigIntegerField(default=0)
    total_units = models.BigIntegerField(default=0)
    attempts = models.PositiveIntegerField(default=0)
    is_cancel_wanted = models.BooleanField(default=False)
    error_code = models.CharField(max_length=60, blank=True)
    error = models.TextField(blank=True)
    result = models.JSONField(default=dict, blank=True)
    queue_id = models.BigIntegerField(null=True, blank=True)
    wanted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    wanted_at = models.DateTimeField(auto_now_add=True)
    begun_at = models.DateTimeField(null=True, blank=True)
    beat_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["-wanted_at"]

    def __str__(self) -> str:
        return f"{self.kind} · {self.status}"

    @property
    def seconds_left(self) -> float | None:
        """Seconds still to go at the pace so far; None while that is unknown."""
        if self.status != JobStatus.RUNNING or not self.done_units or not self.begun_at or not self.beat_at:
            return None
        spent_s = (self.beat_at - self.begun_at).total_seconds()
        return spent_s / self.done_units * max(0, self.total_units - self.done_units)
