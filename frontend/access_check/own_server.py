"""A server of this code on a database and a data folder of its own, for checks that must not touch real data."""

import contextlib
import os
import socket
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
import uuid
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TypeVar

from django.conf import settings
from django.core.management.base import CommandError
from django.db import connection, connections

__all__ = ["free_port", "own_server"]

_ANSWER_S = 60.0
_Filled = TypeVar("_Filled")


@contextlib.contextmanager
def own_server(fill: Callable[[Path], _Filled]) -> Iterator[tuple[str, _Filled]]:
    """Yield the address of a running server and what `fill` put into its database; drop everything at the end."""
    kept_folder = settings.DATA_DIR
    with tempfile.TemporaryDirectory(prefix="mahlstick-own-") as name:
        folder = Path(name)
        settings.DATA_DIR = folder
        kept_database = str(connection.settings_dict["NAME"])
        connection.settings_dict["TEST"]["NAME"] = f"own_{uuid.uuid4().hex}"
        database = connection.creation.create_test_db(verbosity=0, autoclobber=True, serialize=False)
        try:
            filled = fill(folder)
            connections.close_all()
            address = f"http://127.0.0.1:{free_port()}"
            with _running_server(folder, database=database, address=address):
                yield address, filled
        finally:
            connections.close_all()
            connection.creation.destroy_test_db(kept_database, verbosity=0)
            settings.DATA_DIR = kept_folder


@contextlib.contextmanager
def _running_server(folder: Path, *, database: str, address: str) -> Iterator[None]:
    """Run the server until the block ends."""
    server = _start_server(folder, database=database, address=address)
    try:
        _wait_for(address, server)
        yield
    finally:
        server.terminate()
        server.wait(timeout=30)


def free_port() -> int:
    """Return a port of the loopback address that nobody listens on now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _start_server(folder: Path, *, database: str, address: str) -> subprocess.Popen[bytes]:
    """Start the real server on the database of the check."""
    environment = {
        **os.environ,
        "MAHLSTICK_DATA": str(folder),
        "MAHLSTICK_ADDRESS": address,
        "MAHLSTICK_SECRET_KEY": settings.SECRET_KEY,
        "DATABASE_URL": _url_of_database(database),
    }
    command = [sys.executable, str(settings.BASE_DIR / "manage.py"), "serve", "--port", address.rsplit(":", 1)[1]]
    log = (folder / "server.log").open("wb")
    return subprocess.Popen(command, env=environment, stdin=subprocess.DEVNULL, stdout=log, stderr=log)


def _url_of_database(name: str) -> str:
    """Return the address of another database on the same server."""
    server = settings.DATABASES["default"]
    return f"postgresql://{server['USER']}:{server['PASSWORD']}@/{name}?host={server['HOST']}" + (
        f"&port={server['PORT']}" if server["PORT"] else ""
    )


def _wait_for(address: str, server: subprocess.Popen[bytes]) -> None:
    """Wait until the server answers."""
    deadline_s = time.monotonic() + _ANSWER_S
    while time.monotonic() < deadline_s and server.poll() is None:
        try:
            urllib.request.urlopen(f"{address}/ns/physical-mm/1", timeout=5).close()  # noqa: S310 - our own server
        except (OSError, urllib.error.URLError):
            time.sleep(0.1)
        else:
            return
    raise CommandError("The server of the check does not answer; its log stands in the folder of the check.")
