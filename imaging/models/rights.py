"""The check that a rights field holds a published rights URI."""

from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from imaging.compute.rights import RIGHTS_URIS

__all__ = ["validate_rights_uri"]


def validate_rights_uri(value: str) -> None:
    """Refuse anything but the rightsstatements.org statements and the Creative Commons set."""
    if value not in RIGHTS_URIS:
        raise ValidationError(
            _("%(value)s is not one of the rights statements. Choose one from the list."),
            params={"value": value},
            code="rights_uri",
        )
