"""Under which account the embedded database runs: PostgreSQL refuses to run as root."""

from __future__ import annotations

import os
import pwd
import shutil
import stat
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

__all__ = ["DatabaseAccount", "database_account"]

_NAME = "mahlstick"


@dataclass(frozen=True)
class DatabaseAccount:
    """A system account without rights of its own."""

    user_id: int
    group_id: int

    def can_enter(self, path: Path) -> bool:
        """Tell whether the account can read a path and pass through every folder above it."""
        if not self._is_allowed(path, readable=True):
            return False
        return all(self._is_allowed(folder, readable=False) for folder in path.parents)

    def own(self, path: Path) -> None:
        """Give a path and what is below it to the account, where it is not already so."""
        for parent, folders, names in os.walk(path):
            for name in (".", *folders, *names):
                entry = Path(parent) / name
                if entry.lstat().st_uid != self.user_id:
                    os.chown(entry, self.user_id, self.group_id, follow_symlinks=False)

    def _is_allowed(self, path: Path, *, readable: bool) -> bool:
        status = path.stat()
        execute, read = stat.S_IXOTH, stat.S_IROTH
        if status.st_uid == self.user_id:
            execute, read = stat.S_IXUSR, stat.S_IRUSR
        elif status.st_gid == self.group_id:
            execute, read = stat.S_IXGRP, stat.S_IRGRP
        needed = execute | (read if readable else 0)
        return status.st_mode & needed == needed


def database_account(database_folder: Path) -> DatabaseAccount | None:
    """Return the account to change to, or None when this process is not root."""
    if os.geteuid() != 0:
        return None
    if database_folder.exists() and database_folder.stat().st_uid != 0:
        status = database_folder.stat()
        return DatabaseAccount(status.st_uid, status.st_gid)
    return _existing(_NAME) or _new_account() or _existing("nobody")


def _existing(name: str) -> DatabaseAccount | None:
    try:
        entry = pwd.getpwnam(name)
    except KeyError:
        return None
    return DatabaseAccount(entry.pw_uid, entry.pw_gid) if entry.pw_uid != 0 else None


def _new_account() -> DatabaseAccount | None:
    useradd = shutil.which("useradd") or shutil.which("useradd", path="/usr/sbin:/sbin")
    if useradd is None:
        return None
    options = ["--system", "--user-group", "--no-create-home", "--home-dir", "/nonexistent"]
    made = subprocess.run([useradd, *options, "--shell", "/usr/sbin/nologin", _NAME], capture_output=True)
    if made.returncode != 0:
        return None
    sys.stderr.write(f"PostgreSQL does not run as root: the system account {_NAME} was made for it.\n")
    return _existing(_NAME)
