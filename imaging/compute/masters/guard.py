"""Work on untrusted files in a child process with bounded memory, time and descriptors."""

import contextlib
import json
import os
import selectors
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

import imaging.errors as imaging_errors
from imaging.errors import (
    GuardDeathError,
    GuardMemoryError,
    GuardTimeError,
    ImagingError,
    WorkCancelledError,
)

__all__ = ["GuardLimits", "Progress", "run_guarded"]

Progress = Callable[[int, int], None]

_REPOSITORY = Path(__file__).resolve().parents[3]
_POLL_S = 0.2
_GRACE_S = 5.0
# Answers are figures, never pixels.
_LONGEST_ANSWER_BYTES = 16 * 2**20
_LONGEST_LAST_WORDS = 500
# Nothing of the server's environment reaches the child: no key, no database address.
_KEPT_VARIABLES = ("PATH", "LANG", "LC_ALL", "TZ", "SYSTEMROOT", "VIRTUAL_ENV")


@dataclass(frozen=True)
class GuardLimits:
    """What the child may use.

    Parameters
    ----------
    memory_bytes : int
        Address space. libvips, numpy and Python alone take 0.25 GB of it.
    time_s : float
        By the clock, from start to answer.
    written_bytes : int
        Largest file it may write; 0 forbids writing.
    open_files : int
        Descriptors at once.
    """

    memory_bytes: int = 3 * 2**30
    time_s: float = 3600.0
    written_bytes: int = 0
    open_files: int = 256


_DEFAULT_GUARD_LIMITS = GuardLimits()


def run_guarded(
    function: str,
    arguments: dict[str, Any],
    *,
    limits: GuardLimits = _DEFAULT_GUARD_LIMITS,
    progress: Progress | None = None,
    is_cancelled: Callable[[], bool] | None = None,
) -> Any:
    """Return what a function of this project answers when it runs in a child process.

    Parameters
    ----------
    function : str
        ``"imaging.compute.masters.pixels:read_every_pixel_json"``: a module of the project and
        a function in it that takes the arguments and ``progress`` by name and returns JSON
        values.
    arguments : dict
        JSON values. ``file_name``, if given, is named in messages.
    limits : GuardLimits, optional
        Memory, time, files.
    progress : callable, optional
        Called in this process with (done, total).
    is_cancelled : callable, optional
        Asked five times a second; when it says yes the child is killed.

    Returns
    -------
    answer : JSON values
        What the function returned.

    Raises
    ------
    ImagingError
        The error of the function itself, of the same class and with the same values.
    GuardMemoryError, GuardTimeError, GuardDeathError
        If the child was stopped or died; the message says why and what to do.
    WorkCancelledError
        If `is_cancelled` said yes.

    Notes
    -----
    The child inherits three pipes and nothing else, leads a process group of its own, and ends
    when this process ends. It is trusted no more than the file it reads: its answer is JSON of
    bounded size, and only errors of `imaging.errors` are made from it. Limits by setrlimit
    (POSIX); address space is not limited by every system, but by Linux.
    """
    file_name = str(arguments.get("file_name") or arguments.get("path") or function)
    request = json.dumps({"function": function, "arguments": arguments, "limits": vars(limits)}).encode()
    with tempfile.TemporaryFile() as last_words:
        child = _Child(request, last_words=last_words)
        try:
            watch = _Watch(
                deadline_s=time.monotonic() + limits.time_s,
                progress=progress,
                is_cancelled=is_cancelled,
                file_name=file_name,
            )
            reply = _last_reply(child, watch, limits=limits)
        finally:
            exit_code = child.end()
        if reply is None:
            raise _death(exit_code, _tail(last_words), file_name=file_name, limits=limits)
    if "error" in reply:
        raise _rebuilt(reply["error"], file_name=file_name, limits=limits)
    return reply["result"]


@dataclass(frozen=True)
class _Watch:
    """What is looked after while the child works."""

    deadline_s: float
    progress: Progress | None
    is_cancelled: Callable[[], bool] | None
    file_name: str


class _Child:
    """The child process and its two pipes."""

    def __init__(self, request: bytes, *, last_words: BinaryIO) -> None:
        read_end, write_end = os.pipe()
        try:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "imaging.compute.masters.guard_child", str(write_end)],
                stdin=subprocess.PIPE,
                stdout=last_words,
                stderr=last_words,
                pass_fds=(write_end,),
                start_new_session=True,
                cwd=_REPOSITORY,
                env=_environment(),
            )
        except OSError:
            os.close(read_end)
            raise
        finally:
            os.close(write_end)
        self.has_hung_up = False
        self.replies = os.fdopen(read_end, "rb", buffering=0)
        assert self.process.stdin is not None
        # The pipe stays open: its end tells the child that this process is gone. A child that
        # died at once breaks it; `end` then finds out how.
        with contextlib.suppress(BrokenPipeError):
            self.process.stdin.write(request + b"\n")
            self.process.stdin.flush()

    def end(self) -> int:
        """Kill what still runs, close the pipes and return the exit code."""
        if self.has_hung_up:
            # It is ending by itself: how it ends is worth knowing.
            with contextlib.suppress(subprocess.TimeoutExpired):
                self.process.wait(timeout=_GRACE_S)
        if self.process.poll() is None:
            # It may end between the two calls.
            with contextlib.suppress(ProcessLookupError):
                os.killpg(self.process.pid, signal.SIGKILL)
        exit_code = self.process.wait()
        self.replies.close()
        assert self.process.stdin is not None
        with contextlib.suppress(BrokenPipeError):
            self.process.stdin.close()
        return exit_code


def _environment() -> dict[str, str]:
    kept = {name: os.environ[name] for name in _KEPT_VARIABLES if name in os.environ}
    # One arena: glibc otherwise reserves 64 MB of address space per thread. No byte code: under the
    # limit on written bytes Python would leave cut-off .pyc files behind, for every process to trip over.
    child = {"MALLOC_ARENA_MAX": "1", "PYTHONDONTWRITEBYTECODE": "1", "VIPS_CONCURRENCY": "2"}
    return kept | child | {"PYTHONPATH": str(_REPOSITORY)}


def _last_reply(child: _Child, watch: _Watch, *, limits: GuardLimits) -> dict[str, Any] | None:
    """Follow the replies to the last one; None if the pipe ends without one."""
    waiting = bytearray()
    with selectors.DefaultSelector() as selector:
        selector.register(child.replies, selectors.EVENT_READ)
        while True:
            left_s = watch.deadline_s - time.monotonic()
            if left_s <= 0:
                raise GuardTimeError(file_name=watch.file_name, limit_s=limits.time_s)
            if watch.is_cancelled is not None and watch.is_cancelled():
                raise WorkCancelledError(file_name=watch.file_name)
            if not selector.select(min(_POLL_S, left_s)):
                continue
            piece = child.replies.read(2**16)
            if not piece:
                child.has_hung_up = True
                return None
            waiting += piece
            if len(waiting) > _LONGEST_ANSWER_BYTES:
                return None
            if b"\n" not in piece:
                continue
            *lines, waiting = waiting.split(b"\n")
            for line in lines:
                reply = _parsed(line)
                if "progress" in reply:
                    _report(reply["progress"], watch.progress)
                elif reply:
                    return reply


def _parsed(line: bytes | bytearray) -> dict[str, Any]:
    try:
        reply = json.loads(line)
    except (ValueError, RecursionError):
        return {}
    return reply if isinstance(reply, dict) else {}


def _report(numbers: Any, progress: Progress | None) -> None:
    if progress is not None and isinstance(numbers, list) and len(numbers) == 2:
        done, total = numbers
        if isinstance(done, int) and isinstance(total, int):
            progress(done, total)


def _tail(last_words: BinaryIO) -> str:
    size = last_words.seek(0, os.SEEK_END)
    last_words.seek(max(0, size - _LONGEST_LAST_WORDS))
    lines = last_words.read().decode("utf-8", "replace").split("\n")
    return next((line.strip() for line in reversed(lines) if line.strip()), "")


def _death(exit_code: int, last_words: str, *, file_name: str, limits: GuardLimits) -> ImagingError:
    if "MemoryError" in last_words or "cannot allocate" in last_words.lower():
        return GuardMemoryError(file_name=file_name, limit_bytes=limits.memory_bytes)
    if exit_code < 0:
        how = signal.Signals(-exit_code).name if -exit_code in set(signal.Signals) else "signal"
    else:
        how = f"exit code {exit_code}"
    return GuardDeathError(file_name=file_name, how=how, last_words=last_words)


def _rebuilt(error: Any, *, file_name: str, limits: GuardLimits) -> ImagingError:
    """Return the error of the child as one of this project; never any other class."""
    fields = error if isinstance(error, dict) else {}
    name, message = str(fields.get("class", "")), str(fields.get("message", ""))
    if name == "MemoryError":
        return GuardMemoryError(file_name=file_name, limit_bytes=limits.memory_bytes)
    found = getattr(imaging_errors, name, None)
    if isinstance(found, type) and issubclass(found, ImagingError):
        rebuilt = found.__new__(found)
        rebuilt.args = (message,)
        attributes = fields.get("attributes")
        vars(rebuilt).update(attributes if isinstance(attributes, dict) else {})
        return rebuilt
    return GuardDeathError(file_name=file_name, how=name or "no answer", last_words=message[:_LONGEST_LAST_WORDS])
