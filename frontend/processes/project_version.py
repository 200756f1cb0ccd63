"""The version of this software, from the one place where it is written."""

import functools
import tomllib
from pathlib import Path

__all__ = ["project_version"]

_PROJECT_FILE = Path(__file__).resolve().parents[2] / "pyproject.toml"


@functools.cache
def project_version() -> str:
    """Return the version as pyproject.toml states it."""
    with _PROJECT_FILE.open("rb") as project:
        return str(tomllib.load(project)["project"]["version"])
