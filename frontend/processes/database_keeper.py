"""Keep the embedded database running as long as any command uses it, then stop it.

Every command that uses the database holds a shared lock (the owners' lock). The operating system
takes the lock away from a command however it ends, so the keeper needs no list of processes.
"""

from __future__ import annotations

import argparse
import os
import signal
import sys
import time
from pathlib import Path

from frontend.installation.refusal import InstallationError
from frontend.processes.database_place import DatabasePlace
from frontend.processes.database_server import DatabaseServer
from frontend.processes.file_lock import FileLock

__all__ = ["main", "owners_lock", "problem_file", "start_lock"]

_LOOK_S = 0.25


def owners_lock(place: DatabasePlace) -> FileLock:
    """Return the lock that every command using the database shares."""
    return FileLock(place.run / "database_owners.lock")


def start_lock(place: DatabasePlace) -> FileLock:
    """Return the lock under which the database is started or stopped."""
    return FileLock(place.run / "database_start.lock")


def problem_file(place: DatabasePlace) -> Path:
    """Return the file in which the keeper says why it could not start the database."""
    return place.run / "database_problem.txt"


def main() -> int:
    """Start the database, wait until nobody uses it, stop it."""
    parser = argparse.ArgumentParser()
    parser.add_argument("data", type=Path)
    parser.add_argument("--disposable", action="store_true")
    options = parser.parse_args()
    _leave_parent()
    # A terminal's Ctrl-C and a request to end mean the commands; the keeper follows them.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_IGN)
    place = DatabasePlace(options.data)
    # A second keeper waits here for the end of the first, which does the work meanwhile.
    only_one = FileLock(place.run / "database_keeper.lock")
    only_one.acquire()
    if not _is_wanted(place):
        return 0
    try:
        server = DatabaseServer(place, is_disposable=options.disposable)
        server.start()
        _keep(place, server)
    except (InstallationError, OSError) as problem:
        problem_file(place).write_text(str(problem), encoding="utf-8")
        return 1
    return 0


def _leave_parent() -> None:
    """Go on as a process of nobody, after telling the starter its number.

    The command that happens to start the database must neither wait for its end nor be left with
    a child that has ended.
    """
    process_id = os.fork()
    if process_id:
        sys.stdout.write(f"{process_id}\n")
        sys.stdout.flush()
        os._exit(0)
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())


def _is_wanted(place: DatabasePlace) -> bool:
    """Tell whether a command uses the database or is about to."""
    start, owners = start_lock(place), owners_lock(place)
    is_wanted = not (start.try_acquire() and owners.try_acquire())
    owners.release()
    start.release()
    return is_wanted


def _keep(place: DatabasePlace, server: DatabaseServer) -> None:
    start, owners = start_lock(place), owners_lock(place)
    while True:
        time.sleep(_LOOK_S)
        if start.try_acquire():
            if owners.try_acquire():
                server.stop()
                return
            start.release()
        if not server.is_alive():
            server.start()


if __name__ == "__main__":
    raise SystemExit(main())
