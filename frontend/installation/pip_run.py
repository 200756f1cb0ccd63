"""Run pip on a lock: progress while it works, one sentence when it fails."""

from __future__ import annotations

import os
import re
import subprocess
from collections import deque
from collections.abc import Callable
from pathlib import Path

from frontend.installation.refusal import InstallationError

__all__ = ["run_pip"]

# Nothing is resolved (the lock is complete) and nothing is compiled here but pyvips, which is
# published as source: pure Python on top of the ready-made library in pyvips-binary.
_OPTIONS = (
    "--disable-pip-version-check",
    "--no-input",
    "--require-hashes",
    "--no-deps",
    "--only-binary=:all:",
    "--no-binary=pyvips",
    "--no-build-isolation",
    "--no-compile",
    "--progress-bar=off",
)
_NETWORK_SIGNS = (
    "NewConnectionError",
    "ConnectTimeout",
    "ReadTimeout",
    "Read timed out",
    "Temporary failure in name resolution",
    "Name or service not known",
    "Network is unreachable",
    "Connection refused",
    "Connection reset",
    "Connection broken",
    "ProxyError",
    "Max retries exceeded",
)
_KEPT_LINES = 400


def run_pip(python: Path, lock: Path, *, log: Path, on_line: Callable[[str], None] = lambda line: None) -> None:
    """Install what a lock names into the environment of a Python, or raise with the reason."""
    command = [str(python), "-m", "pip", "install", *_OPTIONS, "-r", str(lock)]
    # A pkg-config that finds no libvips: pyvips then builds nothing against a system library.
    environment = {**os.environ, "PKG_CONFIG": "false", "PYTHONNOUSERSITE": "1"}
    log.parent.mkdir(parents=True, exist_ok=True)
    last_lines: deque[str] = deque(maxlen=_KEPT_LINES)
    with (
        log.open("a", encoding="utf-8") as log_file,
        subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, env=environment) as pip,
    ):
        assert pip.stdout is not None
        for line in pip.stdout:
            log_file.write(line)
            last_lines.append(line)
            on_line(line)
    if pip.returncode != 0:
        raise InstallationError(_sentence("".join(last_lines), log=log))


def _sentence(output: str, *, log: Path) -> str:
    """Return what went wrong and what to do, from the words pip uses."""
    if "No space left on device" in output or "Disk quota exceeded" in output:
        return (
            "The disk became full while the packages were installed: make at least 3 GiB room "
            "(also in the folder for temporary files) and run this command again."
        )
    if "DO NOT MATCH THE HASHES" in output or ("HASHES" in output and "mismatch" in output.lower()):
        return (
            "A downloaded package differs from the locked one (its SHA-256 is wrong) and was not "
            f"installed: empty the cache with pip cache purge and try again; details are in {log}."
        )
    if any(sign in output for sign in _NETWORK_SIGNS):
        return (
            "The package index could not be reached, and packages are missing here: connect this "
            "machine to the network (or set HTTPS_PROXY, or pip's own configuration for an index "
            "inside your house) and run this command again; what is already installed is kept."
        )
    missing = re.search(r"No matching distribution found for (\S+)", output)
    if missing:
        return (
            f"There is no ready-made file of {missing.group(1)} for this Python and system: use "
            "Python 3.11 to 3.13 on Linux (glibc 2.28 or newer) or macOS, remove the folder .venv "
            f"and run this command again; details are in {log}."
        )
    lines = [line.strip() for line in output.splitlines() if line.strip()]
    return f"The packages could not be installed ({lines[-1] if lines else 'no answer'}): see {log}."
