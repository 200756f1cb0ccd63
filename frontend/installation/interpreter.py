"""Which Python runs the project. This file must stay readable for Python 3.8."""

import os
import shutil
import subprocess
import sys
from typing import List, Optional, Tuple

from frontend.installation.refusal import InstallationError

__all__ = ["NEEDED", "fitting_interpreter", "refuse_missing_modules", "use_fitting_interpreter"]

NEEDED = (3, 11)
# The newest releases come last: not every locked package has a ready-made file for them at once.
_NAMES = ("python3.13", "python3.12", "python3.11", "python3.14", "python3.15", "python3")


def fitting_interpreter() -> Optional[str]:
    """Return the path of a Python new enough found on PATH, or None."""
    for name in _NAMES:
        path = shutil.which(name)
        if path and _version_of(path) >= NEEDED:
            return path
    return None


def use_fitting_interpreter(script: str, arguments: List[str]) -> None:
    """Carry on when this Python is new enough, else start over with one that is."""
    if sys.platform == "win32":
        raise InstallationError("Mahlstick runs on Linux and macOS; on Windows use it inside WSL (wsl --install).")
    if sys.version_info[:2] >= NEEDED:
        return
    better = fitting_interpreter()
    if better is None:
        raise InstallationError(
            "Python 3.11 or newer is needed, this one is {}.{} ({}): install one, for example "
            "with apt-get install python3.11 python3.11-venv, and run this command "
            "again.".format(sys.version_info[0], sys.version_info[1], sys.executable)
        )
    os.execv(better, [better, script, *arguments])


def refuse_missing_modules() -> None:
    """Refuse a Python whose venv or ensurepip was split off by the distributor."""
    probe = subprocess.run([sys.executable, "-c", "import ensurepip, venv, ssl"], capture_output=True, text=True)
    if probe.returncode == 0:
        return
    last_line = (probe.stderr.strip().splitlines() or ["no answer"])[-1]
    version = "{}.{}".format(sys.version_info[0], sys.version_info[1])
    raise InstallationError(
        "This Python ({}) cannot make a virtual environment ({}): install its venv module, on "
        "Debian and Ubuntu with apt-get install python{}-venv, and run this command "
        "again.".format(sys.executable, last_line, version)
    )


def _version_of(path: str) -> Tuple[int, int]:
    """Return (major, minor) of an interpreter; (0, 0) when it does not run."""
    code = "import sys; print(*sys.version_info[:2])"
    try:
        answer = subprocess.run([path, "-c", code], capture_output=True, text=True, timeout=20)
        major, minor = answer.stdout.split()
    except (OSError, ValueError, subprocess.TimeoutExpired):
        return (0, 0)
    return (int(major), int(minor))
