"""A resumable upload under way; how much has arrived is the length of its file."""

import uuid
from typing import ClassVar

from django.conf import settings
from django.db import models

from imaging.models.artwork import Face

__all__ = ["Upload"]


class Upload(models.Model):
    """One file on its way in by the tus protocol."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    face = models.ForeignKey(Face, on_delete=models.CASCADE, related_name="uploads")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="uploads")
    size_bytes = models.BigIntegerField()
    original_name = models.CharField(max_length=255)
    # What the person filled in beside the file: modality, state, scale ...
    slip = models.JSONField(default=dict)
    created_at = models.DateTimeField(auto_now_add=True)
    expires_at = models.DateTimeField()
    completed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["-created_at"]

    def __str__(self) -> str:
        return self.original_name
