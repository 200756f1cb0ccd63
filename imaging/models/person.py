"""A person: somebody with an account, or a guest who came by an invitation link."""

import uuid
from typing import Any, ClassVar

import pghistory
from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.contrib.auth.models import PermissionsMixin
from django.core.exceptions import ValidationError
from django.db import models
from django.utils.translation import gettext_lazy as _

from imaging.compute.orcid import orcid_has_valid_check_character

__all__ = ["Language", "Person", "PersonManager", "validate_orcid"]


class Language(models.TextChoices):
    """Languages of the interface; the words of a person keep their own tag."""

    ENGLISH = "en", _("English")
    DUTCH = "nl", _("Dutch")
    ITALIAN = "it", _("Italian")
    SPANISH = "es", _("Spanish")
    GERMAN = "de", _("German")


def validate_orcid(value: str) -> None:
    """Refuse an ORCID whose check character (ISO 7064 MOD 11-2) is wrong."""
    if not orcid_has_valid_check_character(value):
        raise ValidationError(
            _("%(value)s is not an ORCID: sixteen digits in groups of four, the last one a check character."),
            params={"value": value},
            code="orcid_check",
        )


class PersonManager(BaseUserManager["Person"]):
    """Make persons; the e-mail address is the name one signs in with."""

    def create_user(self, email: str, password: str | None = None, **fields: Any) -> "Person":
        """Return a saved person; without a password no sign-in by password works."""
        person = self.model(email=self.normalize_email(email), **fields)
        person.set_password(password)
        person.save(using=self._db)
        return person

    def create_superuser(self, email: str, password: str | None = None, **fields: Any) -> "Person":
        """Return a saved person who may use Django's own administration."""
        return self.create_user(email, password, is_staff=True, is_superuser=True, **fields)


@pghistory.track(exclude=["password", "last_login"])
class Person(AbstractBaseUser, PermissionsMixin):
    """Somebody who looks, marks and speaks; guests have no e-mail address and no password."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    email = models.EmailField(_("e-mail address"), unique=True, null=True, blank=True)
    name = models.CharField(_("name"), max_length=200)
    orcid = models.CharField(_("ORCID"), max_length=19, blank=True, validators=[validate_orcid])
    language = models.CharField(_("language"), max_length=8, choices=Language, default=Language.ENGLISH)
    is_active = models.BooleanField(default=True)
    is_staff = models.BooleanField(default=False)
    invitation = models.ForeignKey(
        "imaging.Invitation", null=True, blank=True, on_delete=models.PROTECT, related_name="guests"
    )
    created_at = models.DateTimeField(auto_now_add=True)

    objects: ClassVar[PersonManager] = PersonManager()

    USERNAME_FIELD = "email"
    EMAIL_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = ["name"]

    def __str__(self) -> str:
        return self.name

    @property
    def is_guest(self) -> bool:
        """Whether this person came by an invitation link."""
        return self.invitation_id is not None

    @property
    def initials(self) -> str:
        """Two capitals for the square that stands for a person."""
        words = [word for word in self.name.split() if word]
        return (words[0][:1] + (words[-1][:1] if len(words) > 1 else "")).upper() if words else "?"
