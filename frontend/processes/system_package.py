"""Programs of the operating system that a command needs: found, or installed where that is allowed."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

from frontend.installation.progress import Progress
from frontend.installation.refusal import InstallationError

__all__ = ["chromium_path", "program_path"]

_CHROMIUM_NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
_EXPECTED_S = 60.0


def chromium_path() -> str:
    """Return the path of a Chromium, installed first if it must be and may be."""
    chosen = os.environ.get("MAHLSTICK_CHROMIUM")
    if chosen:
        if Path(chosen).is_file():
            return chosen
        raise InstallationError(f"MAHLSTICK_CHROMIUM is {chosen}, where no program is: correct or unset it.")
    return program_path(_CHROMIUM_NAMES, package="chromium", purpose="The browser tests")


def program_path(names: tuple[str, ...], *, package: str, purpose: str) -> str:
    """Return the first of some programs, installing its Debian package when this is root on Debian."""
    found = _find(names)
    if found:
        return found
    line = f"apt-get install --yes --no-install-recommends {package}"
    if os.geteuid() != 0 or not Path("/etc/debian_version").exists() or shutil.which("apt-get") is None:
        raise InstallationError(f"{purpose} need {names[0]}, which is not installed here: run  sudo {line}")
    environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    with Progress(f"Installing {package}", expected_s=_EXPECTED_S) as progress:
        for arguments in (["apt-get", "update"], line.split()):
            output = _run(arguments, environment, progress)
    found = _find(names)
    if not found:
        last = (output.strip().splitlines() or ["no answer"])[-1]
        raise InstallationError(f"{purpose} need {names[0]} and it could not be installed ({last}): run  {line}")
    return found


def _find(names: tuple[str, ...]) -> str | None:
    # System programs such as servers lie where only root's PATH looks.
    path = f"{os.environ.get('PATH', '')}{os.pathsep}/usr/sbin{os.pathsep}/sbin"
    return next((place for name in names if (place := shutil.which(name, path=path))), None)


def _run(arguments: list[str], environment: dict[str, str], progress: Progress) -> str:
    with subprocess.Popen(
        arguments,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        env=environment,
    ) as process:
        assert process.stdout is not None
        lines = []
        for line in process.stdout:
            lines.append(line)
            progress.update_by_time()
    return "".join(lines)
