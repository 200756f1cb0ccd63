"""A study binds people to works: who takes part, from where, and who may look in."""

import uuid
from typing import ClassVar

import pghistory
from django.conf import settings
from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

__all__ = ["Invitation", "Membership", "Role", "Site", "Study"]


class Role(models.TextChoices):
    """What a member may do; each role includes the ones before it."""

    READER = "reader", _("reader")
    COMMENTER = "commenter", _("commenter")
    CONTRIBUTOR = "contributor", _("contributor")
    LEAD = "lead", _("lead")


class Site(models.Model):
    """A studio or laboratory that people work from."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    name = models.CharField(_("name"), max_length=200, unique=True)
    town = models.CharField(_("town"), max_length=200, blank=True)

    def __str__(self) -> str:
        return self.name


@pghistory.track()
class Study(models.Model):
    """People, works and the access between them."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    name = models.CharField(_("name"), max_length=200)
    summary = models.TextField(_("summary"), blank=True)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        verbose_name_plural = "studies"

    def __str__(self) -> str:
        return self.name


@pghistory.track()
class Membership(models.Model):
    """One person's part in a study."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    study = models.ForeignKey(Study, on_delete=models.CASCADE, related_name="memberships")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="memberships")
    role = models.CharField(_("role"), max_length=16, choices=Role)
    site = models.ForeignKey(Site, null=True, blank=True, on_delete=models.SET_NULL, related_name="memberships")
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["study", "person"], name="one_membership_a_study")]

    def __str__(self) -> str:
        return f"{self.person} · {self.role} · {self.study}"


@pghistory.track(exclude=["token_digest"])
class Invitation(models.Model):
    """A link that lets a named guest look in and comment until it ends or is revoked."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    study = models.ForeignKey(Study, on_delete=models.CASCADE, related_name="invitations")
    guest_name = models.CharField(_("name of the guest"), max_length=200)
    token_digest = models.CharField(max_length=64, unique=True)
    invited_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="invitations")
    created_at = models.DateTimeField(auto_now_add=True)
    expires_at = models.DateTimeField(_("ends"))
    revoked_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return f"{self.guest_name} · {self.study}"

    @property
    def is_valid(self) -> bool:
        """Whether the link still opens the study."""
        return self.revoked_at is None and self.expires_at > timezone.now()
