"""Where the embedded database lives: its folders, its socket and its address."""

from __future__ import annotations

import hashlib
import tempfile
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

__all__ = ["DATABASE_NAME", "DATABASE_USER", "DatabasePlace"]

DATABASE_NAME = "mahlstick"
DATABASE_USER = "mahlstick"
# sockaddr_un holds 104 bytes on macOS and 108 on Linux; the file itself is named .s.PGSQL.5432
_LONGEST_SOCKET_FOLDER_BYTES = 85


@dataclass(frozen=True)
class DatabasePlace:
    """The embedded database of one data folder."""

    data: Path

    @property
    def cluster(self) -> Path:
        """Return the folder with everything the database keeps."""
        return self.data / "postgres"

    @property
    def run(self) -> Path:
        """Return the folder with the locks of the running processes."""
        return self.data / "run"

    @property
    def log(self) -> Path:
        """Return the file PostgreSQL writes its messages to."""
        return self.data / "log" / "postgres.log"

    @property
    def sockets(self) -> Path:
        """Return the private folder of the socket, short enough for the operating system."""
        folder = self.run.resolve() / "socket"
        if len(str(folder).encode()) <= _LONGEST_SOCKET_FOLDER_BYTES:
            return folder
        digest = hashlib.sha256(str(folder).encode()).hexdigest()[:16]
        return Path(tempfile.gettempdir()) / f"mahlstick-{digest}"

    def address(self, database: str = DATABASE_NAME) -> str:
        """Return the DATABASE_URL of one database."""
        return f"postgresql://{DATABASE_USER}@/{database}?host={quote(str(self.sockets))}"
