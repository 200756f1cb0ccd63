"""Ask a running server and write down its answers."""

import http.client
import json
from collections.abc import Iterator
from typing import NamedTuple
from urllib.parse import urlencode, urlsplit

from django.conf import settings
from django.utils.crypto import get_random_string

from frontend.access_check.cast import ROLES, STATES, Cast, Subject
from frontend.access_check.routes import ANY_STATE, ROUTES, Route

__all__ = ["Answer", "ask_everything"]

_ANSWER_S = 60
#: Length that Django's check asks of the cookie's secret.
_CSRF_SECRET_LENGTH = 32


class Answer(NamedTuple):
    """One row of the table: a status, or for lists whether they hold the row."""

    route: str
    role: str
    state: str
    status: str


def ask_everything(cast: Cast, *, address: str) -> Iterator[Answer]:
    """Yield the answer to every route, role and state, over one connection a role."""
    for role in ROLES:
        asker = _Asker(address, cast.session_keys.get(role))
        for route in ROUTES:
            for state in STATES if route.is_of_image else (ANY_STATE,):
                subject = cast.subjects[STATES[0] if state == ANY_STATE else state]
                yield Answer(route.label, role, state, asker.ask(route, cast, subject=subject))
        asker.close()


class _Asker:
    """One person at one connection; a lost connection is made anew."""

    def __init__(self, address: str, session_key: str | None):
        parts = urlsplit(address)
        self.connection = http.client.HTTPConnection(str(parts.hostname), parts.port, timeout=_ANSWER_S)
        self.csrf = get_random_string(_CSRF_SECRET_LENGTH)
        cookies = [f"{settings.CSRF_COOKIE_NAME}={self.csrf}"]
        if session_key:
            cookies.append(f"{settings.SESSION_COOKIE_NAME}={session_key}")
        self.headers = {"Cookie": "; ".join(cookies), "X-CSRFToken": self.csrf, "Origin": address}

    def ask(self, route: Route, cast: Cast, *, subject: Subject) -> str:
        """Return the status, or for a list `listed` or `absent` (a refused list holds nothing)."""
        path, body = route.path(cast, subject), None
        accept = "application/json" if path.startswith("/api/") and route.accept == "text/html" else route.accept
        headers = {**self.headers, "Accept": accept, **route.headers(cast)}
        if route.body is not None:
            body = urlencode(route.body) if route.is_form else json.dumps(route.body)
            headers["Content-Type"] = "application/x-www-form-urlencoded" if route.is_form else "application/json"
        self.connection.request(route.method, path, body=body, headers=headers)
        answer = self.connection.getresponse()
        text = answer.read()
        if route.finds is None:
            return str(answer.status)
        is_listed = answer.status == http.HTTPStatus.OK and route.finds(subject).encode() in text
        return "listed" if is_listed else "absent"

    def close(self) -> None:
        """End the connection."""
        self.connection.close()
