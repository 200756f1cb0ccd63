"""Locks on files that go with the process that holds them, however it ends."""

from __future__ import annotations

import fcntl
import os
from pathlib import Path
from types import TracebackType

__all__ = ["FileLock"]


class FileLock:
    """One lock file; held exclusively by one process or shared by several."""

    def __init__(self, path: Path):
        self.path = path
        self._descriptor: int | None = None

    def __enter__(self) -> FileLock:
        self.acquire()
        return self

    def __exit__(
        self, error_type: type[BaseException] | None, error: BaseException | None, traceback: TracebackType | None
    ) -> None:
        self.release()

    @property
    def is_held(self) -> bool:
        """Tell whether this object holds the lock."""
        return self._descriptor is not None

    def acquire(self, *, is_shared: bool = False) -> None:
        """Wait for the lock and hold it."""
        self._lock(fcntl.LOCK_SH if is_shared else fcntl.LOCK_EX)

    def try_acquire(self) -> bool:
        """Hold the lock exclusively if nobody else holds it; tell whether it is held now."""
        try:
            self._lock(fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True

    def release(self) -> None:
        """Let the lock go."""
        if self._descriptor is not None:
            os.close(self._descriptor)
            self._descriptor = None

    def inheritable_descriptor(self) -> int:
        """Return the descriptor for a child that shall hold the lock as long as it lives."""
        assert self._descriptor is not None, "only a held lock can be passed on"
        return self._descriptor

    def _lock(self, operation: int) -> None:
        if self._descriptor is not None:
            return
        self.path.parent.mkdir(parents=True, exist_ok=True)
        descriptor = os.open(self.path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
        try:
            fcntl.flock(descriptor, operation)
        except BaseException:
            os.close(descriptor)
            raise
        self._descriptor = descriptor
