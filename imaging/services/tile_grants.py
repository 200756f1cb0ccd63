"""Decisions on who may fetch which pyramid's tiles, kept per process and dropped the moment rights change.

A decision is made by `imaging.access` once and then kept for the same credential and pyramid. PostgreSQL notifies every
process at the commit of any change of rights (migration 0002), which empties the store. A listener that has not heard
from its connection within `FRESH_S` counts as deaf: until it hears again each request is decided anew, so a revoked
right stops tiles within two seconds even when the notice is lost.
"""

import dataclasses
import logging
import threading
import time
import uuid
from collections import OrderedDict
from collections.abc import Callable, Hashable
from datetime import datetime
from pathlib import Path

import psycopg
from django.contrib.auth.models import AnonymousUser
from django.db import connection
from django.utils import timezone

from imaging.access import Viewer, access_pyramid
from imaging.errors import ImageClosedError, NotFoundError
from imaging.services.storage_paths import absolute_path

__all__ = ["FRESH_S", "TileGrant", "TileGrants", "decide"]

_logger = logging.getLogger(__name__)

#: A decision counts while the listener heard from the database within this time.
FRESH_S = 1.5
#: Pause between two signs of life asked of the listening connection.
_BEAT_S = 0.4
#: No decision is kept longer, whatever happens.
_KEPT_S = 60.0
#: Decisions kept per process; the oldest goes first.
_KEPT_DECISIONS = 50_000


@dataclasses.dataclass(frozen=True)
class TileGrant:
    """One decision: the status to answer with and, when open, the file to read from."""

    status: int
    path: Path = Path()
    media_type: str = ""
    is_public: bool = False
    ends_at_s: float = 0.0


class TileGrants:
    """The store of decisions of one process, with the thread that listens for changes of rights."""

    def __init__(self) -> None:
        self.decisions: OrderedDict[tuple[Hashable, str], TileGrant] = OrderedDict()
        self.generation = 0
        self.heard_at_s = 0.0
        self.lock = threading.Lock()
        self.stopping = threading.Event()
        self.listener: threading.Thread | None = None

    def kept(self, shown: Hashable, pyramid: str) -> TileGrant | None:
        """Return a decision that still counts for what a request shows; None when one must be made."""
        now_s = time.monotonic()
        if now_s - self.heard_at_s > FRESH_S:
            return None
        grant = self.decisions.get((shown, pyramid))
        return grant if grant is not None and grant.ends_at_s > now_s else None

    def make(self, shown: Hashable, pyramid: str, *, make_decision: Callable[[], TileGrant]) -> TileGrant:
        """Return a fresh decision and keep it unless rights changed while it was made."""
        generation = self.generation
        grant = make_decision()
        with self.lock:
            if generation == self.generation:
                self.decisions[shown, pyramid] = grant
                while len(self.decisions) > _KEPT_DECISIONS:
                    self.decisions.popitem(last=False)
        return grant

    def forget_all(self) -> None:
        """Drop every decision; those being made now will not be kept either."""
        with self.lock:
            self.generation += 1
            self.decisions.clear()

    def start(self) -> None:
        """Begin to listen for changes of rights, once per process."""
        if self.listener is None:
            self.listener = threading.Thread(target=self.listen, name="tile-grants", daemon=True)
            self.listener.start()

    def stop(self) -> None:
        """End the listening thread and wait until its connection is closed."""
        self.stopping.set()
        if self.listener is not None:
            self.listener.join(timeout=2 * FRESH_S)

    def listen(self) -> None:
        """Hear changes of rights until stopped; a lost connection is made anew."""
        while not self.stopping.is_set():
            try:
                self.listen_on_one_connection()
            except psycopg.Error as error:
                _logger.warning("tile grants: the listening connection was lost (%s); each tile asks anew", error)
                self.stopping.wait(_BEAT_S)

    def listen_on_one_connection(self) -> None:
        """Hear notices on one connection, asking it for a sign of life between them."""
        parameters = connection.get_connection_params()
        for name in ("cursor_factory", "context"):
            parameters.pop(name, None)
        with psycopg.connect(**parameters, autocommit=True) as listening:
            listening.execute("LISTEN mahlstick_access")
            # Notices sent before LISTEN took hold are lost, so nothing decided earlier may count.
            self.forget_all()
            while not self.stopping.is_set():
                listening.execute("SELECT 1")
                self.heard_at_s = time.monotonic()
                for _ in listening.notifies(timeout=_BEAT_S, stop_after=1):
                    self.forget_all()


def decide(viewer: Viewer, pyramid_id: uuid.UUID, *, credential_ends_at: datetime | None) -> TileGrant:
    """Return the decision on one pyramid for one person, asking the access door."""
    now_s = time.monotonic()
    ends_at_s = now_s + _KEPT_S
    if credential_ends_at is not None:
        ends_at_s = min(ends_at_s, now_s + (credential_ends_at - timezone.now()).total_seconds())
    if (invitation := getattr(viewer, "invitation", None)) is not None:
        ends_at_s = min(ends_at_s, now_s + (invitation.expires_at - timezone.now()).total_seconds())
    try:
        pyramid = access_pyramid(viewer, pyramid_id)
    except NotFoundError:
        return TileGrant(status=404, ends_at_s=ends_at_s)
    except ImageClosedError:
        return TileGrant(status=403, ends_at_s=ends_at_s)
    if pyramid.freed_at is not None:
        return TileGrant(status=410, ends_at_s=ends_at_s)
    return TileGrant(
        status=200,
        path=absolute_path(pyramid.path),
        media_type=pyramid.media_type,
        is_public=_is_open_to_strangers(pyramid_id),
        ends_at_s=ends_at_s,
    )


def _is_open_to_strangers(pyramid_id: uuid.UUID) -> bool:
    """Return whether a pyramid's tiles may be kept by shared caches."""
    try:
        access_pyramid(AnonymousUser(), pyramid_id)
    except (NotFoundError, ImageClosedError):
        return False
    return True
