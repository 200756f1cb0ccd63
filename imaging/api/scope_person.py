"""Who asks, for the small ASGI applications that answer before Django does."""

import dataclasses
from collections.abc import Mapping
from datetime import datetime
from http.cookies import CookieError, SimpleCookie
from importlib import import_module
from typing import Any

from asgiref.sync import sync_to_async
from django.conf import settings
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.contrib.auth.models import AnonymousUser
from django.db import close_old_connections
from django.utils.crypto import constant_time_compare

from imaging.access import Viewer
from imaging.models import Person
from imaging.services.tokens import person_of_api_token

__all__ = [
    "Credential",
    "credential_from_scope",
    "header",
    "person_from_scope",
    "viewer_of",
]


@dataclasses.dataclass(frozen=True)
class Credential:
    """What a request shows to say who sends it; empty for strangers. Hashable, so decisions can be kept by it."""

    session_key: str = ""
    bearer: str = ""


def header(scope: Mapping[str, Any], name: bytes) -> str:
    """Return the first header of a name, decoded; empty when absent."""
    for key, value in scope["headers"]:
        if key == name:
            return bytes(value).decode("latin-1")
    return ""


def credential_from_scope(scope: Mapping[str, Any]) -> Credential:
    """Return session key and bearer token of an ASGI scope without touching the database."""
    scheme, _, secret = header(scope, b"authorization").partition(" ")
    bearer = secret.strip() if scheme.lower() == "bearer" else ""
    cookies = header(scope, b"cookie")
    if settings.SESSION_COOKIE_NAME not in cookies:
        return Credential(bearer=bearer)
    try:
        morsel = SimpleCookie(cookies).get(settings.SESSION_COOKIE_NAME)
    except CookieError:
        morsel = None
    return Credential(session_key=morsel.value if morsel else "", bearer=bearer)


def viewer_of(credential: Credential) -> tuple[Viewer, datetime | None]:
    """Return the person behind a credential and when the credential ends by itself.

    A bearer token wins over a session. An unknown credential is a stranger: what is public stays open to it.
    """
    if credential.bearer:
        found = person_of_api_token(credential.bearer)
        return (found[0], found[1].expires_at) if found else (AnonymousUser(), None)
    if credential.session_key:
        session = import_module(settings.SESSION_ENGINE).SessionStore(credential.session_key)
        person = _person_of_session(session)
        if person is not None:
            return person, session.get_expiry_date()
    return AnonymousUser(), None


def _person_of_session(session: Any) -> Person | None:
    """Return the signed-in person of a session, checking its password hash as Django does."""
    person_id = session.get(SESSION_KEY)
    if person_id is None or session.get(BACKEND_SESSION_KEY) not in settings.AUTHENTICATION_BACKENDS:
        return None
    person = Person.objects.select_related("invitation").filter(pk=person_id, is_active=True).first()
    if person is None:
        return None
    if not constant_time_compare(session.get(HASH_SESSION_KEY, ""), person.get_session_auth_hash()):
        return None
    return person


async def person_from_scope(scope: Mapping[str, Any]) -> Viewer:
    """Return who sends an ASGI request; strangers come back as AnonymousUser."""
    return await sync_to_async(_look_up_viewer, thread_sensitive=False)(credential_from_scope(scope))


def _look_up_viewer(credential: Credential) -> Viewer:
    """Return the viewer of a credential from a pool thread, leaving no stale connection behind."""
    close_old_connections()
    try:
        return viewer_of(credential)[0]
    finally:
        close_old_connections()
