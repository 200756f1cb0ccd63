"""The virtual environment .venv: made, filled from the locks, and redone when half made."""

from __future__ import annotations

import fcntl
import json
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from frontend.installation import lock_file
from frontend.installation.disk import GIB_BYTES, refuse_full_disk
from frontend.installation.installation_progress import InstallationProgress
from frontend.installation.interpreter import refuse_missing_modules
from frontend.installation.pip_run import run_pip
from frontend.installation.refusal import InstallationError

__all__ = ["Environment", "enter_environment"]

_LOCKS = {"run": "requirements.txt", "dev": "requirements-dev.txt"}
# Measured: 1.0 GB to run and 1.5 GB with what checks it, plus what pip unpacks beside it.
_NEEDED_BYTES = {"run": 2 * GIB_BYTES, "dev": 3 * GIB_BYTES}
_EXPECTED_S = {"run": 60.0, "dev": 90.0}
_BUILDERS = {"cffi", "pkgconfig", "pycparser", "setuptools"}
# These check or photograph the project and need its development packages too.
_DEVELOPMENT_COMMANDS = {"benchmark", "screenshots", "test"}


def enter_environment(script: str, arguments: list[str]) -> None:
    """Complete the environment for a command; return only inside it."""
    path = Path(script).resolve()
    environment = Environment(path.parent)
    is_development = bool(arguments) and arguments[0] in _DEVELOPMENT_COMMANDS
    environment.complete("dev" if is_development else "run")
    if not environment.is_current():
        python = str(environment.python)
        os.execv(python, [python, str(path), *arguments])


class Environment:
    """The folder .venv of one checkout."""

    def __init__(self, root: Path):
        self.root = root
        self.folder = root / ".venv"
        self.python = self.folder / "bin" / "python"
        self.log = root / "var" / "log" / "installation.log"
        self._stamp = self.folder / "installed.json"
        # Present while pip works: what was interrupted may look installed and be half unpacked.
        self._unfinished = self.folder / "unfinished"

    def is_current(self) -> bool:
        """Tell whether this process already runs inside the environment."""
        return Path(sys.prefix).resolve() == self.folder.resolve()

    def is_complete(self, purpose: str) -> bool:
        """Tell whether everything locked for a purpose (`run` or `dev`) is installed."""
        if not self.python.exists() or self._unfinished.exists():
            return False
        return self._installed().get(purpose) == self._fingerprint(purpose)

    def complete(self, purpose: str) -> None:
        """Install what is missing for a purpose; nothing is asked of the network otherwise."""
        if self.is_complete(purpose):
            return
        with _one_at_a_time(self.root):
            if self.is_complete(purpose):
                return
            refuse_full_disk(self.root, needed_bytes=_NEEDED_BYTES[purpose], purpose="Installing the packages")
            if self._unfinished.exists() or not self._can_run_pip():
                self._make()
            self._install(purpose)

    def site_packages(self) -> Path:
        """Return the folder that holds the installed packages."""
        found = sorted(self.folder.glob("lib/python3.*/site-packages"))
        if not found:
            raise InstallationError(f"{self.folder} holds no packages: remove it and run this command again.")
        return found[-1]

    def _make(self) -> None:
        if self.is_current():
            raise InstallationError(
                f"{self.folder} is half made and in use by this very command: run it again with the "
                "system's Python (python3 manage.py …)."
            )
        refuse_missing_modules()
        shutil.rmtree(self.folder, ignore_errors=True)
        made = subprocess.run([sys.executable, "-m", "venv", str(self.folder)], capture_output=True, text=True)
        if made.returncode != 0:
            last = ((made.stderr or made.stdout).strip().splitlines() or ["no answer"])[-1]
            raise InstallationError(
                f"{self.folder} could not be made ({last}): allow writing there, check the room on the disk, "
                "and run this command again."
            )

    def _install(self, purpose: str) -> None:
        lock = self.root / ".locks" / _LOCKS[purpose]
        follower = InstallationProgress(
            self.site_packages(), package_count=lock_file.package_count(lock), expected_s=_EXPECTED_S[purpose]
        )
        self._unfinished.touch()
        try:
            with follower, tempfile.NamedTemporaryFile("w", suffix=".txt") as builders:
                builders.write(lock_file.only_packages(lock, _BUILDERS))
                builders.flush()
                run_pip(self.python, Path(builders.name), log=self.log)
                run_pip(self.python, lock, log=self.log, on_line=follower.on_line)
        except InstallationError:
            if not follower.is_unpacking:
                self._unfinished.unlink()
            raise
        # What checks the project contains what runs it, in the same versions.
        installed = {**self._installed(), "run": self._fingerprint("run"), purpose: self._fingerprint(purpose)}
        self._stamp.write_text(json.dumps(installed, indent=1), encoding="utf-8")
        self._unfinished.unlink()

    def _can_run_pip(self) -> bool:
        if not self.python.exists():
            return False
        probe = subprocess.run([str(self.python), "-m", "pip", "--version"], capture_output=True)
        return probe.returncode == 0

    def _installed(self) -> dict[str, str]:
        try:
            content = json.loads(self._stamp.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return {}
        return content if isinstance(content, dict) else {}

    def _fingerprint(self, purpose: str) -> str:
        return lock_file.fingerprint(self.root / ".locks" / _LOCKS[purpose])


@contextmanager
def _one_at_a_time(root: Path) -> Iterator[None]:
    """Let one process install; the lock goes with the process, however it ends."""
    descriptor = os.open(root, os.O_RDONLY)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX)
        yield
    finally:
        os.close(descriptor)
