"""How accounts come into being: a lead invites, nobody signs up alone."""

from allauth.account.adapter import DefaultAccountAdapter
from django.http import HttpRequest

__all__ = ["InvitedOnlyAdapter"]


class InvitedOnlyAdapter(DefaultAccountAdapter):  # type: ignore[misc]  # the library is untyped
    """Close the open sign-up of the account pages."""

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        """Return False: a study's lead adds members, `manage.py person` makes the first one."""
        return False
