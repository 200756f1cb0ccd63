"""What other commands need to know of a running demo: its address and who can sign in."""

from __future__ import annotations

import json
import os
from dataclasses import dataclass
from pathlib import Path

from frontend.installation.refusal import InstallationError

__all__ = ["RunningDemo"]


@dataclass(frozen=True)
class RunningDemo:
    """A demo that answers."""

    address: str
    sign_ins: tuple[tuple[str, str], ...]

    def note(self, data: Path) -> Path:
        """Write this down where only the same user can read it; return the file."""
        path = _path(data)
        path.unlink(missing_ok=True)
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(descriptor, "w", encoding="utf-8") as note:
            json.dump({"address": self.address, "sign_ins": self.sign_ins}, note)
        return path

    @classmethod
    def find(cls, data: Path) -> RunningDemo:
        """Return the running demo of a data folder, or say how to start it."""
        try:
            content = json.loads(_path(data).read_text(encoding="utf-8"))
        except (OSError, ValueError):
            raise InstallationError(
                f"No demo is running with the data folder {data}: start one with python3 manage.py demo and run this "
                "command again beside it."
            ) from None
        return cls(content["address"], tuple((email, password) for email, password in content["sign_ins"]))


def _path(data: Path) -> Path:
    return data / "run" / "demo.json"
