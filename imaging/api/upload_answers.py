"""Answers of the upload application."""

import dataclasses
import json
from collections.abc import Awaitable, Callable, MutableMapping
from http import HTTPStatus
from typing import Any, TypeAlias

from django.conf import settings
from django.utils.http import http_date

from imaging.api.upload_requests import CHECKSUM_ALGORITHMS, TUS_VERSION
from imaging.models import Upload

__all__ = ["Answer", "Receive", "Scope", "Send", "discovery", "upload_headers"]

Scope: TypeAlias = MutableMapping[str, Any]
Receive: TypeAlias = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send: TypeAlias = Callable[[MutableMapping[str, Any]], Awaitable[None]]

_EXTENSIONS = "creation,creation-with-upload,expiration,checksum,termination"


@dataclasses.dataclass(frozen=True)
class Answer:
    """Status, headers and body of one answer; no cache keeps it."""

    status: int
    headers: dict[str, str] = dataclasses.field(default_factory=dict)
    body: bytes = b""

    @classmethod
    def json(cls, document: dict[str, Any], headers: dict[str, str]) -> "Answer":
        """Return a JSON document."""
        return cls(HTTPStatus.OK, {**headers, "Content-Type": "application/json"}, json.dumps(document).encode())

    @classmethod
    def problem(cls, problem: dict[str, Any]) -> "Answer":
        """Return problem details (RFC 9457) with the status that they state."""
        return cls(int(problem["status"]), {"Content-Type": "application/problem+json"}, json.dumps(problem).encode())

    async def send(self, send: Send, *, is_head: bool) -> None:
        """Send the answer."""
        headers = {
            "Tus-Resumable": TUS_VERSION,
            "Cache-Control": "no-store",
            "X-Content-Type-Options": "nosniff",
            **self.headers,
        }
        if self.body or self.status != HTTPStatus.NO_CONTENT:
            headers["Content-Length"] = str(len(self.body))
        encoded = [(name.lower().encode(), value.encode("latin-1", "replace")) for name, value in headers.items()]
        await send({"type": "http.response.start", "status": int(self.status), "headers": encoded})
        await send({"type": "http.response.body", "body": b"" if is_head else self.body})


def discovery() -> Answer:
    """Return what this server can do."""
    return Answer(
        HTTPStatus.NO_CONTENT,
        {
            "Tus-Version": TUS_VERSION,
            "Tus-Extension": _EXTENSIONS,
            "Tus-Max-Size": str(settings.MAX_UPLOAD_BYTES),
            "Tus-Checksum-Algorithm": ",".join(CHECKSUM_ALGORITHMS),
        },
    )


def upload_headers(upload: Upload) -> dict[str, str]:
    """Return when an upload expires."""
    return {"Upload-Expires": http_date(upload.expires_at.timestamp())}
