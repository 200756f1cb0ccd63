"""API tokens: made once, shown once, revoked at will."""

import hashlib
import secrets
from datetime import timedelta

from django.db import transaction
from django.utils import timezone

from imaging.models import ApiToken, Person

__all__ = ["digest_of", "make_api_token", "person_of_api_token", "revoke_api_token"]


def digest_of(secret: str) -> str:
    """Return the SHA-256 under which a secret is kept; the secret itself has 256 random bits, so no salt is needed."""
    return hashlib.sha256(secret.encode()).hexdigest()


@transaction.atomic
def make_api_token(person: Person, *, label: str = "", days: int | None = None) -> tuple[ApiToken, str]:
    """Return a new token and its secret, which cannot be shown again."""
    secret = secrets.token_urlsafe(32)
    expires_at = timezone.now() + timedelta(days=days) if days else None
    token = ApiToken.objects.create(person=person, label=label, digest=digest_of(secret), expires_at=expires_at)
    return token, secret


def revoke_api_token(token: ApiToken) -> None:
    """End a token now; it stays in the list."""
    if token.revoked_at is None:
        token.revoked_at = timezone.now()
        token.save(update_fields=["revoked_at"])


def person_of_api_token(secret: str) -> tuple[Person, ApiToken] | None:
    """Return the owner of a valid token, or None; an inactive owner has no rights."""
    token = ApiToken.objects.select_related("person__invitation").filter(digest=digest_of(secret)).first()
    if token is None or not token.is_valid or not token.person.is_active:
        return None
    return token.person, token
