"""SHA-256 of files of any size, alone or while copying them aside."""

import errno
import hashlib
import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import BinaryIO

from imaging.errors import (
    ChecksumMismatchError,
    NoDiskSpaceError,
    TruncatedFileError,
    WorkCancelledError,
)

from .guard import Progress

__all__ = ["copy_with_checksum", "sha256_of_file", "verify_checksum"]

_PIECE_BYTES = 4 * 2**20


def sha256_of_file(
    path: Path,
    *,
    progress: Progress | None = None,
    is_cancelled: Callable[[], bool] | None = None,
) -> str:
    """Return the SHA-256 of a file in hexadecimal.

    Parameters
    ----------
    path : Path
        The file.
    progress : callable, optional
        Called with (bytes done, bytes in all) after every 4 MiB.
    is_cancelled : callable, optional
        Asked after every 4 MiB.

    Returns
    -------
    checksum : str
        64 hexadecimal digits, lower case.

    Raises
    ------
    WorkCancelledError
        If `is_cancelled` said yes.

    Notes
    -----
    FIPS 180-4. Streams; holds 4 MiB.
    """
    digest = hashlib.sha256()
    with path.open("rb") as stream:
        for piece in _pieces(stream, path, progress=progress, is_cancelled=is_cancelled):
            digest.update(piece)
    return digest.hexdigest()


def verify_checksum(
    path: Path,
    expected: str,
    *,
    progress: Progress | None = None,
    is_cancelled: Callable[[], bool] | None = None,
) -> None:
    """Compare a file with the SHA-256 recorded of it.

    Parameters
    ----------
    path : Path
        The file.
    expected : str
        64 hexadecimal digits.
    progress, is_cancelled : callable, optional
        As in `sha256_of_file`.

    Raises
    ------
    ChecksumMismatchError
        If they differ.
    WorkCancelledError
        If `is_cancelled` said yes.
    """
    got = sha256_of_file(path, progress=progress, is_cancelled=is_cancelled)
    if got != expected.strip().lower():
        raise ChecksumMismatchError(file_name=path.name, expected=expected, got=got)


def copy_with_checksum(
    source: Path,
    target: Path,
    *,
    progress: Progress | None = None,
    is_cancelled: Callable[[], bool] | None = None,
) -> str:
    """Copy a file aside and return the SHA-256 of what was written, in one pass.

    Parameters
    ----------
    source : Path
        Only read.
    target : Path
        Appears whole or not at all; its folder must exist. An older file there is replaced.
    progress, is_cancelled : callable, optional
        As in `sha256_of_file`.

    Returns
    -------
    checksum : str
        64 hexadecimal digits.

    Raises
    ------
    NoDiskSpaceError
        Before the first byte if the disk is too full, or when it fills up meanwhile.
    TruncatedFileError
        If the source shrank while it was read.
    WorkCancelledError
        If `is_cancelled` said yes.

    Notes
    -----
    Written under a name of its own beside the target, synced, renamed, and the folder synced:
    a power cut leaves the old state or the new one. After any failure the part is deleted.
    Holds 4 MiB.
    """
    _refuse_full_disk(source, target)
    part = target.with_name(f".{target.name}.{os.getpid()}.part")
    digest = hashlib.sha256()
    expected_bytes = source.stat().st_size
    copied_bytes = 0
    try:
        with source.open("rb") as stream, part.open("xb") as out:
            for piece in _pieces(stream, source, progress=progress, is_cancelled=is_cancelled):
                digest.update(piece)
                out.write(piece)
                copied_bytes += len(piece)
            out.flush()
            os.fsync(out.fileno())
        if copied_bytes < expected_bytes:
            raise TruncatedFileError(
                file_name=source.name,
                what="the file as it was when the copy began",
                needed_bytes=expected_bytes,
                got_bytes=copied_bytes,
            )
        part.replace(target)
    except OSError as err:
        if err.errno in (errno.ENOSPC, errno.EDQUOT):
            raise _no_space(source, target) from err
        raise
    finally:
        part.unlink(missing_ok=True)
    _sync_folder(target.parent)
    return digest.hexdigest()


def _pieces(
    stream: BinaryIO,
    path: Path,
    *,
    progress: Progress | None,
    is_cancelled: Callable[[], bool] | None,
) -> Iterator[bytes]:
    total = path.stat().st_size
    done = 0
    while piece := stream.read(_PIECE_BYTES):
        if is_cancelled is not None and is_cancelled():
            raise WorkCancelledError(file_name=path.name)
        yield piece
        done += len(piece)
        if progress is not None:
            progress(done, max(total, done))


def _refuse_full_disk(source: Path, target: Path) -> None:
    if _free_bytes(target.parent) < source.stat().st_size:
        raise _no_space(source, target)


def _no_space(source: Path, target: Path) -> NoDiskSpaceError:
    return NoDiskSpaceError(
        file_name=source.name,
        needed_bytes=source.stat().st_size,
        free_bytes=_free_bytes(target.parent),
        folder=str(target.parent),
    )


def _free_bytes(folder: Path) -> int:
    place = os.statvfs(folder)
    return place.f_bavail * place.f_frsize


def _sync_folder(folder: Path) -> None:
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
