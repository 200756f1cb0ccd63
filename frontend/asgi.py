"""The application that the server runs: tiles and uploads first, Django in threads for the rest.

Django under ASGI with its stock middleware answers a tenth of what it answers under WSGI, and tiles must not wait
behind it; so the small applications are tried before Django is.
"""

import os
from collections.abc import MutableMapping
from typing import Any, cast

from a2wsgi import WSGIMiddleware

from frontend.wsgi import application as django_application

# The import above readies Django's apps, which everything below needs.
# isort: split
from frontend.error_responses import problem_of
from imaging.api.tiles import Receive, Scope, Send, TileApplication
from imaging.api.uploads import UploadApplication
from imaging.compute.pyramid.tile_reader import OpenPyramids
from imaging.services.tile_grants import TileGrants

__all__ = ["application"]

#: Threads that run Django in each server process.
_DJANGO_THREADS = int(os.environ.get("MAHLSTICK_DJANGO_THREADS", "8"))
#: Open pyramid files per process; each costs one descriptor and a memory map.
_OPEN_PYRAMIDS = 128

_grants = TileGrants()
_tiles = TileApplication(_grants, OpenPyramids(limit=_OPEN_PYRAMIDS))
_uploads = UploadApplication(problem_of)
_django_in_threads: Any = WSGIMiddleware(cast(Any, django_application), workers=_DJANGO_THREADS)


async def application(scope: Scope, receive: Receive, send: Send) -> None:
    """Route one connection to the application that answers it."""
    if scope["type"] == "lifespan":
        await _live(receive, send)
    elif scope["type"] != "http":
        await send({"type": "websocket.close", "code": 1003})
    elif scope["path"].startswith("/t/"):
        await _tiles(scope, receive, send)
    elif scope["path"].startswith("/uploads/"):
        await _uploads(scope, receive, send)
    else:
        await _run_django(scope, receive, send)


async def _run_django(scope: Scope, receive: Receive, send: Send) -> None:
    """Hand a request to Django in a thread."""

    # The adapter insists on coroutines; the server's own functions return plain awaitables.
    async def received() -> MutableMapping[str, Any]:
        return await receive()

    async def sent(message: MutableMapping[str, Any]) -> None:
        await send(message)

    await _django_in_threads(scope, received, sent)


async def _live(receive: Receive, send: Send) -> None:
    """Start and end what lives as long as the process."""
    while True:
        message = await receive()
        if message["type"] == "lifespan.startup":
            _grants.start()
            await send({"type": "lifespan.startup.complete"})
        elif message["type"] == "lifespan.shutdown":
            _grants.stop()
            await send({"type": "lifespan.shutdown.complete"})
            return
