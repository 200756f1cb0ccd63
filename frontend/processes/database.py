"""The embedded database as commands see it: attach before use, release after."""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

import psycopg

from frontend.installation.refusal import InstallationError
from frontend.processes.database_account import database_account
from frontend.processes.database_keeper import owners_lock, problem_file, start_lock
from frontend.processes.database_place import DATABASE_NAME, DATABASE_USER, DatabasePlace
from frontend.processes.process_numbers import is_process

__all__ = ["EmbeddedDatabase"]

_ROOT = Path(__file__).resolve().parents[2]
_START_S = 60.0
_END_S = 70.0
_PAUSE_S = 0.05


class EmbeddedDatabase:
    """The embedded PostgreSQL of one data folder.

    The first command that attaches starts it, the last one that releases it (or ends in any
    other way) lets it stop.
    """

    def __init__(self, data: Path, *, is_disposable: bool = False):
        self.place = DatabasePlace(data.resolve())
        self._is_disposable = is_disposable
        self._owners = owners_lock(self.place)

    @property
    def address(self) -> str:
        """Return the DATABASE_URL."""
        return self.place.address()

    def attach(self) -> str:
        """Make sure that the database answers and stays; return its DATABASE_URL."""
        with start_lock(self.place):
            self._owners.acquire(is_shared=True)
            if not self._is_answering():
                self._start()
            self._make_database()
        return self.address

    def release(self, *, is_awaited: bool = False) -> None:
        """Stop using the database; with `is_awaited`, return after it ended if nobody else uses it."""
        self._owners.release()
        if not is_awaited:
            return
        deadline_s = time.monotonic() + _END_S
        # Whoever still uses it shares the owners' lock; when nobody does, the keeper holds it.
        while time.monotonic() < deadline_s and self._is_answering():
            if self._is_used_by_others():
                return
            time.sleep(_PAUSE_S)

    def is_answering(self) -> bool:
        """Tell whether the database takes connections."""
        return self._is_answering()

    def _start(self) -> None:
        problem_file(self.place).unlink(missing_ok=True)
        # Asked for here and not only by the keeper, so that a new system account is told on the terminal.
        database_account(self.place.cluster)
        log_path = self.place.data / "log" / "database_keeper.log"
        log_path.parent.mkdir(parents=True, exist_ok=True)
        command = [sys.executable, "-m", "frontend.processes.database_keeper", str(self.place.data)]
        if self._is_disposable:
            command.append("--disposable")
        with log_path.open("ab") as log:
            started = subprocess.run(
                command,
                cwd=_ROOT,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=log,
                start_new_session=True,
                text=True,
            )
        keeper = int(started.stdout) if started.returncode == 0 else None
        deadline_s = time.monotonic() + _START_S
        while not self._is_answering():
            if keeper is None or not is_process(keeper) or time.monotonic() > deadline_s:
                self._owners.release()
                raise InstallationError(self._problem())
            time.sleep(_PAUSE_S)

    def _problem(self) -> str:
        try:
            return problem_file(self.place).read_text(encoding="utf-8")
        except OSError:
            pass
        try:
            lines = self.place.log.read_text(encoding="utf-8", errors="replace").splitlines()
        except OSError:
            lines = []
        if any("No space left on device" in line for line in lines[-20:]):
            return (
                f"The database does not start because the disk of {self.place.data} is full: make 1 GiB room and "
                "run this command again; nothing is lost."
            )
        reasons = [line for line in lines[-20:] if "FATAL" in line or "PANIC" in line or "error" in line.lower()]
        reason = reasons[-1] if reasons else "it did not answer in time"
        return f"The database does not start ({reason}): see {self.place.log} and run this command again."

    def _is_answering(self) -> bool:
        if not any(self.place.sockets.glob(".s.PGSQL.*")):
            return False
        try:
            self._connection("postgres").close()
        except psycopg.OperationalError:
            return False
        return True

    def _make_database(self) -> None:
        with self._connection("postgres") as connection:
            found = connection.execute("SELECT 1 FROM pg_database WHERE datname = %s", [DATABASE_NAME]).fetchone()
            if found is None:
                connection.execute(f"CREATE DATABASE {DATABASE_NAME}")

    def _is_used_by_others(self) -> bool:
        """Tell whether another command shares the owners' lock (and not the keeper, which ends it)."""
        start = start_lock(self.place)
        if not start.try_acquire():
            return False
        try:
            probe = owners_lock(self.place)
            if not probe.try_acquire():
                return True
            probe.release()
            return False
        finally:
            start.release()

    def _connection(self, database: str) -> psycopg.Connection[tuple[object, ...]]:
        return psycopg.connect(
            host=str(self.place.sockets), user=DATABASE_USER, dbname=database, connect_timeout=5, autocommit=True
        )
