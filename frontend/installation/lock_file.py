"""Read the locked requirements: which packages, and a fingerprint of the whole file."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

__all__ = ["fingerprint", "only_packages", "package_count"]

# One requirement with its checksums: the line that names it and the continued lines after it.
_BLOCK = re.compile(r"^[A-Za-z0-9](?:.*\\\n)*.*(?:\n|\Z)", re.MULTILINE)
_NAME = re.compile(r"[A-Za-z0-9._-]+")


def fingerprint(lock: Path) -> str:
    """Return the SHA-256 of a lock file as hexadecimal digits."""
    return hashlib.sha256(lock.read_bytes()).hexdigest()


def package_count(lock: Path) -> int:
    """Return how many packages a lock names (those for other systems included)."""
    return len(_BLOCK.findall(lock.read_text(encoding="utf-8")))


def only_packages(lock: Path, names: set[str]) -> str:
    """Return the part of a lock that names the given packages, with their checksums."""
    blocks: list[str] = _BLOCK.findall(lock.read_text(encoding="utf-8"))
    return "".join(block for block in blocks if _name_of(block) in names)


def _name_of(block: str) -> str:
    match = _NAME.match(block)
    assert match is not None
    return match.group().lower()
