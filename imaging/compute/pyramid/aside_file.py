"""A file that appears under its name only when it is complete and on the disk."""

from __future__ import annotations

import contextlib
import fcntl
import os
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from imaging.errors import BuildInProgressError

__all__ = ["written_aside"]


@contextlib.contextmanager
def written_aside(path: Path) -> Iterator[BinaryIO]:
    """Open a file beside `path` for writing and give it that name when all went well.

    Parameters
    ----------
    path : Path
        The final name; its folder must exist. What has that name stays until it is replaced.

    Yields
    ------
    file : binary file
        Empty. If the block raises, it is removed; if the process is killed, the next call
        starts it anew.

    Raises
    ------
    BuildInProgressError
        If another process is writing the same file.
    """
    part = path.with_name(f".{path.name}.part")
    with part.open("ab") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise BuildInProgressError(file_name=path.name) from None
        try:
            with part.open("r+b") as target:
                target.truncate(0)
                yield target
                target.flush()
                os.fsync(target.fileno())
            part.replace(path)
        except BaseException:
            part.unlink(missing_ok=True)
            raise
    _sync_folder(path.parent)


def _sync_folder(folder: Path) -> None:
    # The new name is in the folder, which has its own journey to the disk.
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
