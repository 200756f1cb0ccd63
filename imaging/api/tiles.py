"""Tiles, answered before Django: check the kept decision, read the bytes, send them."""

import asyncio
import uuid
from collections.abc import Awaitable, Callable, MutableMapping
from concurrent.futures import ThreadPoolExecutor
from typing import Any, TypeAlias

from django.db import connection

from imaging.api.scope_person import Credential, credential_from_scope, header, viewer_of
from imaging.compute.pyramid.tile_reader import OpenPyramids
from imaging.services.tile_grants import TileGrant, TileGrants, decide

__all__ = ["TileApplication"]

Scope: TypeAlias = MutableMapping[str, Any]
Receive: TypeAlias = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send: TypeAlias = Callable[[MutableMapping[str, Any]], Awaitable[None]]

#: Addresses are immutable: another registration or tone is another pyramid with another id.
PUBLIC_CACHE = b"public, max-age=604800, immutable"
PRIVATE_CACHE = b"private, max-age=600, immutable"
REFUSALS = {
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
            await refuse(send, 405)
            return
        address = parse_address(scope["path"])
        if address is None:
            await refuse(send, 404)
            return
        pyramid_id, zoom, column, row = address
        grant = await self.grant_for(credential_from_scope(scope), pyramid_id)
        if grant.status != 200:
            await refuse(send, grant.status)
            return
        tile = self.files.get(grant.path).tile(zoom, column, row)
        if tile is None:
            await refuse(send, 404)
            return
        await send_tile(send, scope, tile, grant)

    async def grant_for(self, credential: Credential, pyramid_id: uuid.UUID) -> TileGrant:
        """Return the kept decision, or make one in a pool thread."""
        grant = self.grants.kept(credential, pyramid_id)
        if grant is not None:
            return grant
        loop = asyncio.get_running_loop()
        return await loop.run_in_executor(self.deciders, self.make_grant, credential, pyramid_id)

    def make_grant(self, credential: Credential, pyramid_id: uuid.UUID) -> TileGrant:
        """Ask the database who this is and whether the pyramid is open to them."""

        def make_decision() -> TileGrant:
            viewer, ends_at = viewer_of(credential)
            return decide(viewer, pyramid_id, ends_at)

        try:
            return self.grants.make(credential, pyramid_id, make_decision)
        finally:
            # Decisions are rare; idle threads must not keep connections of the database.
            connection.close()


def parse_address(path: str) -> tuple[uuid.UUID, int, int, int] | None:
    """Return pyramid, zoom, column and row of /t/PYRAMID/Z/X/Y; None when it is not such an address."""
    parts = path.split("/")
    if len(parts) != 6 or not all(part.isascii() and part.isdecimal() and len(part) <= 7 for part in parts[3:]):
        return None
    try:
        pyramid_id = uuid.UUID(parts[2])
    except ValueError:
        return None
    return pyramid_id, int(parts[3]), int(parts[4]), int(parts[5])


async def refuse(send: Send, status: int) -> None:
    """Send a short plain answer that no cache keeps."""
    text = REFUSALS[status]
    headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"cache-control", b"no-store")]
    if status == 405:
        headers.append((b"allow", b"GET, HEAD"))
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": text})


async def send_tile(send: Send, scope: Scope, tile: bytes, grant: TileGrant) -> None:
    """Send a tile, or 304 when the reader has it; its address is its version, so the path makes the ETag."""
    etag = b'"' + scope["path"][3:].replace("/", "-").encode("ascii") + b'"'
    headers = [
        (b"etag", etag),
        (b"cache-control", PUBLIC_CACHE if grant.is_public else PRIVATE_CACHE),
        (b"x-content-type-options", b"nosniff"),
    ]
    if not grant.is_public:
        headers.append((b"vary", b"Cookie, Authorization"))
    if etag.decode() in header(scope, b"if-none-match"):
        await send({"type": "http.response.start", "status": 304, "headers": headers})
        await send({"type": "http.response.body", "body": b""})
        return
    headers += [(b"content-type", grant.media_type.encode()), (b"content-length", str(len(tile)).encode())]
    await send({"type": "http.response.start", "status": 200, "headers": headers})
    await send({"type": "http.response.body", "body": b"" if scope["method"] == "HEAD" else tile})
