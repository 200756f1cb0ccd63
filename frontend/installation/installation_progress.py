"""Turn what pip says, and what it silently unpacks, into a share of the work."""

from __future__ import annotations

import threading
from pathlib import Path

from frontend.installation.progress import Progress

__all__ = ["InstallationProgress"]

_TICK_S = 0.5
# Measured with an empty cache: fetching takes about two thirds, unpacking one third.
_FETCHING_SHARE = 0.65


class InstallationProgress:
    """Follows one run of pip; pip itself tells nothing while it unpacks, the folder does."""

    def __init__(self, site_packages: Path, *, package_count: int, expected_s: float):
        self._site_packages = site_packages
        self._package_count = max(package_count, 1)
        self._progress = Progress("Installing packages", expected_s=expected_s)
        self.is_unpacking = False
        self._fetched = 0
        self._unpacked_before = self._unpacked()
        self._detail = ""
        self._is_over = threading.Event()
        self._ticker = threading.Thread(target=self._tick, daemon=True)

    def __enter__(self) -> InstallationProgress:
        self._ticker.start()
        return self

    def __exit__(self, error_type: object, *_: object) -> None:
        self._is_over.set()
        self._ticker.join()
        self._progress.finish("done" if error_type is None else "stopped")

    def on_line(self, line: str) -> None:
        """Note one line of pip's output."""
        if line.startswith("Collecting "):
            self._fetched += 1
            self._detail = line.split()[1].split("=")[0]
        elif line.startswith("Requirement already satisfied"):
            self._fetched += 1
        elif line.startswith("Installing collected packages"):
            self.is_unpacking = True
            self._fetched = self._package_count
            self._detail = "unpacking"

    def _tick(self) -> None:
        while not self._is_over.wait(_TICK_S):
            fetched = min(self._fetched / self._package_count, 1.0)
            unpacked = min((self._unpacked() - self._unpacked_before) / self._package_count, 1.0)
            fraction = _FETCHING_SHARE * fetched + (1.0 - _FETCHING_SHARE) * max(unpacked, 0.0)
            self._progress.update(min(fraction, 0.99), self._detail)

    def _unpacked(self) -> int:
        return sum(1 for _ in self._site_packages.glob("*.dist-info/METADATA"))
