"""API tokens: shown once, kept as a digest, listed and revocable."""

import uuid
from typing import ClassVar

from django.conf import settings
from django.db import models
from django.utils import timezone

__all__ = ["ApiToken"]


class ApiToken(models.Model):
    """A token acts with the rights its owner has at the moment of each request."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="api_tokens")
    label = models.CharField(max_length=100, blank=True)
    digest = models.CharField(max_length=64, unique=True)
    created_at = models.DateTimeField(auto_now_add=True)
    expires_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)
    last_used_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["-created_at"]

    def __str__(self) -> str:
        return self.label or str(self.id)

    @property
    def is_valid(self) -> bool:
        """Whether the token still opens anything."""
        return self.revoked_at is None and (self.expires_at is None or self.expires_at > timezone.now())
