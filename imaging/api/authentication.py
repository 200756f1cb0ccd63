"""Authentication of API requests by a bearer token."""

from typing import Any

from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework.authentication import BaseAuthentication, get_authorization_header
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from imaging.services.tokens import person_of_api_token

__all__ = ["TokenAuthentication", "TokenScheme"]


class TokenAuthentication(BaseAuthentication):
    """Accept `Authorization: Bearer SECRET`; a wrong token is refused, never ignored."""

    def authenticate(self, request: Request) -> tuple[Any, Any] | None:
        """Return the token's owner, or None when no bearer token was sent."""
        scheme, _, secret = get_authorization_header(request).decode("latin-1").partition(" ")
        if scheme.lower() != "bearer":
            return None
        found = person_of_api_token(secret.strip())
        if found is None:
            raise AuthenticationFailed("This token is unknown, ended or revoked. Make a new one on your page.")
        return found

    def authenticate_header(self, request: Request) -> str:
        """Return the challenge, which makes the status 401 instead of 403."""
        return 'Bearer realm="mahlstick"'


class TokenScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]  # registers itself by being defined
    """Tell the OpenAPI document how a token is sent."""

    target_class = TokenAuthentication
    name = "token"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        """Return the scheme of RFC 6750."""
        return {"type": "http", "scheme": "bearer"}
