"""Tiles, answered before Django: check the kept decision, read the bytes, send them."""

import asyncio
import uuid
from collections.abc import Awaitable, Callable, MutableMapping
from concurrent.futures import ThreadPoolExecutor
from typing import Any, TypeAlias

from django.db import connection

from imaging.api.scope_person import Credential, credential_from_scope, viewer_of
from imaging.compute.pyramid.tile_reader import OpenPyramids
from imaging.services.tile_grants import TileGrant, TileGrants, decide

__all__ = [
    "Receive",
    "Scope",
    "Send",
    "TileApplication",
    "parse_address",
]

Scope: TypeAlias = MutableMapping[str, Any]
Receive: TypeAlias = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send: TypeAlias = Callable[[MutableMapping[str, Any]], Awaitable[None]]

#: Addresses are immutable: another registration or tone is another pyramid with another id.
_PUBLIC_CACHE = b"public, max-age=604800, immutable"
_PRIVATE_CACHE = b"private, max-age=600, immutable"
_REFUSALS = {
    403: b"This image is closed for now.",
    404: b"There is no such tile that is open to you.",
    405: b"Tiles are read only: GET or HEAD.",
    410: b"This pyramid was replaced and its space freed. Load the page again.",
}


class TileApplication:
    """ASGI application for /t/PYRAMID/Z/X/Y."""

    def __init__(self, grants: TileGrants, files: OpenPyramids):
        self.grants, self.files = grants, files
        self.deciders = ThreadPoolExecutor(max_workers=4, thread_name_prefix="tile-decision")

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request for a tile."""
        if scope["method"] not in ("GET", "HEAD"):
            await _refuse(send, 405)
            return
        address = parse_address(scope["path"])
        if address is None:
            await _refuse(send, 404)
            return
        pyramid_name, zoom, column, row = address
        shown, known_tag = _shown_by(scope)
        # What a request shows is compared as it came; only a decision to be made is worth the parsing.
        grant = self.grants.kept(shown, pyramid_name)
        if grant is None:
            grant = await self.decided(scope, pyramid_name, shown=shown)
        if grant.status != 200:
            await _refuse(send, grant.status)
            return
        tile = self.files.get(grant.path).tile(zoom, column, row)
        if tile is None:
            await _refuse(send, 404)
            return
        etag = f'"{pyramid_name}-{zoom}-{column}-{row}"'.encode()
        if etag in known_tag:
            await send(
                {"type": "http.response.start", "status": 304, "headers": [(b"etag", etag), *_headers_of(grant)]}
            )
            await send({"type": "http.response.body", "body": b""})
            return
        length = str(len(tile)).encode()
        headers = [(b"etag", etag), (b"content-length", length), *_headers_of(grant)]
        await send({"type": "http.response.start", "status": 200, "headers": headers})
        await send({"type": "http.response.body", "body": b"" if scope["method"] == "HEAD" else tile})

    async def decided(self, scope: Scope, pyramid_name: str, *, shown: tuple[bytes, bytes]) -> TileGrant:
        """Make a decision in a pool thread."""
        try:
            pyramid_id = uuid.UUID(pyramid_name)
        except ValueError:
            return TileGrant(status=404)
        loop = asyncio.get_running_loop()
        credential = credential_from_scope(scope)
        return await loop.run_in_executor(self.deciders, self.make_grant, credential, (shown, pyramid_id))

    def make_grant(self, credential: Credential, key: tuple[tuple[bytes, bytes], uuid.UUID]) -> TileGrant:
        """Ask the database who this is and whether the pyramid is open to them."""
        shown, pyramid_id = key

        def make_decision() -> TileGrant:
            viewer, ends_at = viewer_of(credential)
            return decide(viewer, pyramid_id, credential_ends_at=ends_at)

        try:
            return self.grants.make(shown, str(pyramid_id), make_decision=make_decision)
        finally:
            # Decisions are rare; idle threads must not keep connections of the database.
            connection.close()


def _shown_by(scope: Scope) -> tuple[tuple[bytes, bytes], bytes]:
    """Return cookies and authorization as they came, and the tag of what the reader has."""
    cookie = authorization = known_tag = b""
    for name, value in scope["headers"]:
        if name == b"cookie":
            cookie = value
        elif name == b"authorization":
            authorization = value
        elif name == b"if-none-match":
            known_tag = value
    return (cookie, authorization), known_tag


def parse_address(path: str) -> tuple[str, int, int, int] | None:
    """Return pyramid, zoom, column and row of /t/PYRAMID/Z/X/Y; None when it is not such an address."""
    parts = path.split("/")
    if len(parts) != 6 or not all(part.isascii() and part.isdecimal() and len(part) <= 7 for part in parts[3:]):
        return None
    return parts[2], int(parts[3]), int(parts[4]), int(parts[5])


def _headers_of(grant: TileGrant) -> list[tuple[bytes, bytes]]:
    """Return the headers that every tile of a decision carries."""
    headers = [(b"content-type", grant.media_type.encode()), (b"x-content-type-options", b"nosniff")]
    if grant.is_public:
        return [*headers, (b"cache-control", _PUBLIC_CACHE)]
    return [*headers, (b"cache-control", _PRIVATE_CACHE), (b"vary", b"Cookie, Authorization")]


async def _refuse(send: Send, status: int) -> None:
    """Send a short plain answer that no cache keeps."""
    text = _REFUSALS[status]
    headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"cache-control", b"no-store")]
    if status == 405:
        headers.append((b"allow", b"GET, HEAD"))
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": text})
