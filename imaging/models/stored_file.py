"""A master as it was received: never altered, checked by its SHA-256."""

import uuid
from typing import ClassVar

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

__all__ = ["StoredFile"]


class StoredFile(models.Model):
    """One file on disk; `path` is relative to the data folder unless the file is used in place."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    sha256 = models.CharField(max_length=64, db_index=True)
    size_bytes = models.BigIntegerField()
    path = models.CharField(max_length=1000, unique=True)
    is_in_place = models.BooleanField(_("used in place"), default=False)
    original_name = models.CharField(_("name on receipt"), max_length=255)
    media_type = models.CharField(max_length=100)
    received_at = models.DateTimeField(auto_now_add=True)
    received_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    checked_at = models.DateTimeField(_("last verified"), null=True, blank=True)

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(condition=models.Q(sha256__regex=r"^[0-9a-f]{64}$"), name="sha256_is_64_hex")
        ]

    def __str__(self) -> str:
        return self.original_name
