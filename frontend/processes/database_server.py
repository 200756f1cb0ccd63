"""Start and stop the embedded PostgreSQL of one data folder; for the keeper only."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import time
from pathlib import Path

from frontend.installation.disk import MIB_BYTES, refuse_full_disk
from frontend.installation.refusal import InstallationError
from frontend.processes.database_account import database_account
from frontend.processes.database_place import DATABASE_USER, DatabasePlace
from frontend.processes.file_lock import FileLock
from frontend.processes.postgres_programs import PostgresPrograms
from frontend.processes.process_numbers import is_process

__all__ = ["DatabaseServer"]

_NEEDED_BYTES = 300 * MIB_BYTES
_LONGEST_LOG_BYTES = 10 * MIB_BYTES
_ORPHANS_LEAVE_S = 20.0
_STOP_S = 60.0
_PAUSE_S = 0.05
_STATUS_LINE = 7
_SETTINGS = {
    "listen_addresses": "",
    "unix_socket_permissions": "0700",
    "max_connections": "200",
    "shared_buffers": "128MB",
    "jit": "off",
    "timezone": "UTC",
    "log_timezone": "UTC",
}
# For data that is made anew by every run of the tests.
_DISPOSABLE_SETTINGS = {"fsync": "off", "synchronous_commit": "off", "full_page_writes": "off"}


class DatabaseServer:
    """One PostgreSQL server; whether it lives is told by a lock that it holds itself."""

    def __init__(self, place: DatabasePlace, *, is_disposable: bool = False):
        self.place = place
        self._is_disposable = is_disposable
        self._account = database_account(place.cluster)
        self._life = FileLock(place.run / "database_server.lock")
        self._programs = PostgresPrograms.installed()

    def is_alive(self) -> bool:
        """Tell whether a server process of this data folder exists."""
        if not self._life.try_acquire():
            return True
        self._life.release()
        return False

    def start(self) -> None:
        """Start the server unless one runs; a stale trace of a killed one is cleared away."""
        if self._is_answering_owner_alive():
            return
        try:
            self._make_folders()
            self._make_cluster()
            self._clear_stale_traces()
            self._spawn()
        finally:
            self._life.release()

    def stop(self) -> None:
        """End the server: connections are closed and everything is written first."""
        for stop_signal in (signal.SIGINT, signal.SIGQUIT):
            process_id = self._process_id()
            if process_id is None or not self.is_alive():
                return
            try:
                os.kill(process_id, stop_signal)
            except ProcessLookupError:
                return
            if self._wait_for_end(_STOP_S):
                return

    def _is_answering_owner_alive(self) -> bool:
        """Hold the life lock, or tell that a server runs which can be used as it is."""
        deadline_s = time.monotonic() + _ORPHANS_LEAVE_S
        while not self._life.try_acquire():
            process_id = self._process_id()
            if process_id is not None and is_process(process_id) and not self._is_stopping():
                return True
            # It is ending, or it was killed and the processes it served with are about to notice.
            if time.monotonic() > deadline_s:
                raise InstallationError(
                    f"Remains of a killed database still hold {self.place.cluster}: end the processes named postgres "
                    "that belong to it and run this command again."
                )
            time.sleep(_PAUSE_S)
        return False

    def _make_folders(self) -> None:
        refuse_full_disk(self.place.data, needed_bytes=_NEEDED_BYTES, purpose="The database")
        for folder in (self.place.run, self.place.log.parent):
            folder.mkdir(parents=True, exist_ok=True)
        sockets = self.place.sockets
        sockets.mkdir(mode=0o700, exist_ok=True)
        owner = self._account.user_id if self._account else os.geteuid()
        if sockets.is_symlink() or sockets.stat().st_uid not in {owner, os.geteuid()}:
            raise InstallationError(f"{sockets} belongs to somebody else: remove it and run this command again.")
        sockets.chmod(0o700)
        self._give(sockets)

    def _make_cluster(self) -> None:
        cluster = self.place.cluster
        if (cluster / "PG_VERSION").exists():
            self._refuse_other_version()
            self._give(cluster)
            return
        if cluster.exists() and any(cluster.iterdir()):
            raise InstallationError(
                f"{cluster} is not empty and holds no database: move its content away and run this command again."
            )
        unfinished = cluster.with_name("postgres.unfinished")
        shutil.rmtree(unfinished, ignore_errors=True)
        unfinished.mkdir(mode=0o700)
        self._give(unfinished)
        options = ["--auth-local=trust", "--auth-host=reject", "--encoding=UTF8", f"--username={DATABASE_USER}"]
        locale = ["--locale=C", "--locale-provider=builtin", "--builtin-locale=C.UTF-8", "--no-instructions"]
        sync = ["--no-sync"] if self._is_disposable else []
        self._run([self._programs.path("initdb"), *options, *locale, *sync, "-D", str(unfinished)])
        if cluster.exists():
            cluster.rmdir()
        unfinished.rename(cluster)

    def _refuse_other_version(self) -> None:
        made_by = int((self.place.cluster / "PG_VERSION").read_text(encoding="ascii").strip())
        installed = self._programs.major_version()
        if made_by != installed:
            raise InstallationError(
                f"{self.place.cluster} was made by PostgreSQL {made_by}, this installation brings {installed}: make a "
                "backup with the earlier release (manage.py backup) and restore it into an empty data folder here."
            )

    def _clear_stale_traces(self) -> None:
        # The life lock is held: whatever process has the number noted there now, it is not ours.
        (self.place.cluster / "postmaster.pid").unlink(missing_ok=True)
        for trace in self.place.sockets.glob(".s.PGSQL.*"):
            trace.unlink(missing_ok=True)

    def _spawn(self) -> None:
        settings = {**_SETTINGS, "unix_socket_directories": str(self.place.sockets)}
        if self._is_disposable:
            settings |= _DISPOSABLE_SETTINGS
        program = [self._programs.path("postgres"), "-D", str(self.place.cluster)]
        for name, value in settings.items():
            program += ["-c", f"{name}={value}"]
        log_path = self.place.log
        if log_path.exists() and log_path.stat().st_size > _LONGEST_LOG_BYTES:
            log_path.replace(log_path.with_suffix(".log.1"))
        with log_path.open("ab") as log:
            self._server = subprocess.Popen(
                self._command(program),
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                cwd="/",
                pass_fds=[self._life.inheritable_descriptor()],
            )

    def _run(self, program: list[str]) -> None:
        made = subprocess.run(self._command(program), capture_output=True, text=True, cwd="/")
        if made.returncode != 0:
            lines = [line for line in made.stderr.splitlines() if line.strip()]
            raise InstallationError(
                f"The database could not be made in {self.place.cluster} ({' '.join(lines[:2])}): allow writing there "
                "or set MAHLSTICK_DATA to another folder, and run this command again."
            )

    def _command(self, program: list[str]) -> list[str]:
        return self._programs.command(
            program, account=self._account, data_folder=self.place.data, ends_with_parent=True
        )

    def _give(self, path: Path) -> None:
        if self._account is not None:
            self._account.own(path)

    def _process_id(self) -> int | None:
        try:
            return int((self.place.cluster / "postmaster.pid").read_text(encoding="utf-8").split()[0])
        except (OSError, ValueError, IndexError):
            return None

    def _is_stopping(self) -> bool:
        """Tell whether the server itself says that it is ending (miscadmin.h: line 8 of its file)."""
        try:
            lines = (self.place.cluster / "postmaster.pid").read_text(encoding="utf-8").splitlines()
        except OSError:
            return False
        return len(lines) > _STATUS_LINE and lines[_STATUS_LINE].strip() == "stopping"

    def _wait_for_end(self, limit_s: float) -> bool:
        deadline_s = time.monotonic() + limit_s
        while time.monotonic() < deadline_s:
            _reap()
            if not self.is_alive():
                return True
            time.sleep(_PAUSE_S)
        return False


def _reap() -> None:
    """Take note of ended children, so that none stays behind as a zombie."""
    try:
        while os.waitpid(-1, os.WNOHANG)[0]:
            pass
    except ChildProcessError:
        pass
