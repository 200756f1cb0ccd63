"""`manage.py access_table`: ask a server of this code every route as every role in every state."""

import csv
import json
import os
import socket
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import connection, connections

from frontend.access_check.cast import make_cast
from frontend.access_check.probe import ask_everything

__all__ = ["Command"]

ANSWER_S = 60.0


class Command(BaseCommand):
    """Make a database of its own with people of every role, serve it, ask it, drop it."""

    help = "Request every route as every role in every state and print route,role,state,status."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Name the options."""
        parser.add_argument("--csv", action="store_true", help="print as CSV (the default)")
        parser.add_argument("--json", action="store_true", help="print as JSON lines")

    def handle(self, *args: Any, **options: Any) -> None:
        """Print the table; nothing of the installation's own data is read or changed."""
        with tempfile.TemporaryDirectory(prefix="mahlstick-access-") as folder:
            settings.DATA_DIR = Path(folder)
            name = connection.creation.create_test_db(verbosity=0, autoclobber=True, serialize=False)
            try:
                self.ask(Path(folder), database=name, is_json=options["json"])
            finally:
                connections.close_all()
                connection.creation.destroy_test_db(name.removeprefix("test_"), verbosity=0)

    def ask(self, folder: Path, *, database: str, is_json: bool) -> None:
        """Fill the database, serve it on a free port and print what it answers."""
        cast = make_cast(folder)
        connections.close_all()
        port = free_port()
        address = f"http://127.0.0.1:{port}"
        server = start_server(folder, database=database, address=address)
        try:
            wait_for(address, server)
            writer = csv.writer(self.stdout._out)
            if not is_json:
                writer.writerow(["route", "role", "state", "status"])
            for answer in ask_everything(cast, address=address):
                if is_json:
                    self.stdout.write(json.dumps(answer._asdict()))
                else:
                    writer.writerow(answer)
        finally:
            server.terminate()
            server.wait(timeout=30)


def free_port() -> int:
    """Return a port of the loopback address that nobody listens on now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def start_server(folder: Path, *, database: str, address: str) -> subprocess.Popen[bytes]:
    """Start the real server on the database of the check."""
    environment = {
        **os.environ,
        "MAHLSTICK_DATA": str(folder),
        "MAHLSTICK_ADDRESS": address,
        "MAHLSTICK_SECRET_KEY": settings.SECRET_KEY,
        "DATABASE_URL": url_of_database(database),
    }
    command = [sys.executable, str(settings.BASE_DIR / "manage.py"), "serve", "--port", address.rsplit(":", 1)[1]]
    log = (folder / "server.log").open("wb")
    return subprocess.Popen(command, env=environment, stdin=subprocess.DEVNULL, stdout=log, stderr=log)


def url_of_database(name: str) -> str:
    """Return the address of another database on the same server."""
    server = settings.DATABASES["default"]
    return f"postgresql://{server['USER']}:{server['PASSWORD']}@/{name}?host={server['HOST']}" + (
        f"&port={server['PORT']}" if server["PORT"] else ""
    )


def wait_for(address: str, server: subprocess.Popen[bytes]) -> None:
    """Wait until the server answers."""
    deadline_s = time.monotonic() + ANSWER_S
    while time.monotonic() < deadline_s and server.poll() is None:
        try:
            urllib.request.urlopen(f"{address}/ns/physical-mm/1", timeout=5).close()  # noqa: S310 - our own server
        except (OSError, urllib.error.URLError):
            time.sleep(0.1)
        else:
            return
    raise CommandError("The server of the check does not answer; its log stands in the folder of the check.")
