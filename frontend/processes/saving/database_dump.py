"""Dump and restore the database with PostgreSQL's own programs."""

from __future__ import annotations

import os
import subprocess
import time
from pathlib import Path
from typing import Any

from frontend.installation.progress import Progress
from frontend.installation.refusal import InstallationError
from frontend.processes.postgres_programs import PostgresPrograms

__all__ = ["DatabaseDump"]

_LOOK_S = 0.1
_EXPECTED_S = 20.0
# What the settings call a thing, and what PostgreSQL's programs call it. The environment and not
# the command line carries them, since any user of a machine can read command lines.
_VARIABLES = {"HOST": "PGHOST", "PORT": "PGPORT", "USER": "PGUSER", "PASSWORD": "PGPASSWORD", "NAME": "PGDATABASE"}


class DatabaseDump:
    """One database, as Django's settings describe it."""

    def __init__(self, settings: dict[str, Any]):
        self._name = str(settings["NAME"])
        self._programs = PostgresPrograms.installed()
        chosen = {variable: str(settings.get(name) or "") for name, variable in _VARIABLES.items()}
        self._environment = {**os.environ, **{name: value for name, value in chosen.items() if value}}
        ssl_mode = settings.get("OPTIONS", {}).get("sslmode")
        if ssl_mode:
            self._environment["PGSSLMODE"] = str(ssl_mode)

    def write(self, path: Path) -> None:
        """Write everything in the database to one file."""
        options = ["--format=custom", "--no-owner", "--no-privileges", f"--file={path}"]
        self._run("Saving the database", [self._programs.path("pg_dump"), *options])

    def read(self, path: Path) -> None:
        """Bring a dump into the empty database: all of it or, when anything fails, nothing."""
        options = ["--no-owner", "--no-privileges", "--exit-on-error", "--single-transaction"]
        program = [self._programs.path("pg_restore"), *options, f"--dbname={self._name}", str(path)]
        self._run("Restoring the database", program)

    def _run(self, title: str, program: list[str]) -> None:
        with (
            Progress(title, expected_s=_EXPECTED_S) as progress,
            subprocess.Popen(
                program, env=self._environment, stdin=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True
            ) as process,
        ):
            while process.poll() is None:
                progress.update_by_time()
                time.sleep(_LOOK_S)
            assert process.stderr is not None
            lines = [line for line in process.stderr.read().splitlines() if line.strip()]
        if process.returncode != 0:
            raise InstallationError(
                f"{title} failed ({lines[0] if lines else 'no answer'}): correct that and start again."
            )
