"""Run several processes as one: started together, restarted when they fall, ended together."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from types import FrameType
from typing import IO

from frontend.installation.disk import MIB_BYTES
from frontend.processes.lifeline import Lifeline

__all__ = ["Child", "Supervisor"]

_LOOK_S = 0.2
_STEADY_S = 20.0
_LONGEST_PAUSE_S = 30.0
_GRACE_S = 12.0
_LONGEST_LOG_BYTES = 20 * MIB_BYTES


@dataclass
class Child:
    """One supervised process."""

    name: str
    command: list[str]
    log: Path
    process: subprocess.Popen[bytes] | None = None
    started_s: float = 0.0
    next_start_s: float = 0.0
    pause_s: float = 1.0
    falls: int = 0
    # A process that does its work and ends; only a failure starts it again.
    is_task: bool = False
    is_done: bool = False

    @property
    def is_running(self) -> bool:
        """Tell whether the process exists."""
        return self.process is not None and self.process.poll() is None


class Supervisor:
    """Starts children in process groups of their own and watches them until told to stop."""

    def __init__(self, log_folder: Path):
        self.children: list[Child] = []
        self.is_stopping = False
        self._log_folder = log_folder
        self._lifeline = Lifeline()
        log_folder.mkdir(parents=True, exist_ok=True)

    def take_signals(self) -> None:
        """Let Ctrl-C, TERM and a closed terminal stop everything in order."""
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            signal.signal(number, self._on_signal)

    def add(self, name: str, command: list[str], *, is_task: bool = False) -> Child:
        """Start one process; its output goes to a log file of its name. A task may end by itself."""
        child = Child(name, command, self._log_folder / f"{name}.log", is_task=is_task)
        self.children.append(child)
        self._start(child)
        return child

    def run_to_end(self, command: list[str]) -> tuple[int, str]:
        """Run a command beside the children and return its exit code and what it printed.

        It is ended when the supervisor is told to stop; its messages go to this process's own.
        """
        with tempfile.TemporaryFile() as printed:
            process = self._spawn(command, output=printed, errors=None)
            try:
                while process.poll() is None and not self.is_stopping:
                    self.watch_once()
                    time.sleep(_LOOK_S)
            finally:
                if process.poll() is None:
                    process.terminate()
                process.wait()
            printed.seek(0)
            return process.returncode, printed.read().decode()

    def watch_once(self) -> None:
        """Start again what has fallen, each time after a longer pause."""
        now_s = time.monotonic()
        for child in self.children:
            if child.is_running or child.is_done or self.is_stopping:
                continue
            if child.is_task and child.process is not None and child.process.returncode == 0:
                child.is_done = True
                continue
            if child.process is not None:
                self._note_fall(child, now_s)
            elif now_s >= child.next_start_s:
                self._start(child)

    def watch(self) -> None:
        """Watch until told to stop."""
        while not self.is_stopping:
            self.watch_once()
            time.sleep(_LOOK_S)

    def stop(self) -> None:
        """End every child in order; what does not end in time is killed with its group."""
        self.is_stopping = True
        running = [child for child in self.children if child.is_running]
        for child in running:
            _signal(child, signal.SIGTERM)
        deadline_s = time.monotonic() + _GRACE_S
        for child in running:
            assert child.process is not None
            try:
                child.process.wait(timeout=max(deadline_s - time.monotonic(), 0.1))
            except subprocess.TimeoutExpired:
                _signal_group(child, signal.SIGKILL)
                child.process.wait()
        for child in running:
            # Grandchildren that outlived their parent.
            _signal_group(child, signal.SIGKILL)

    def _start(self, child: Child) -> None:
        if child.log.exists() and child.log.stat().st_size > _LONGEST_LOG_BYTES:
            child.log.replace(child.log.with_suffix(".log.1"))
        with child.log.open("ab") as log:
            child.process = self._spawn(child.command, output=log, errors=log)
        child.started_s = time.monotonic()

    def _spawn(
        self, command: list[str], *, output: int | IO[bytes], errors: IO[bytes] | None
    ) -> subprocess.Popen[bytes]:
        return subprocess.Popen(
            command,
            env={**os.environ, **self._lifeline.environment()},
            stdin=subprocess.DEVNULL,
            stdout=output,
            stderr=errors,
            pass_fds=[self._lifeline.reading_end],
            process_group=0,
        )

    def _note_fall(self, child: Child, now_s: float) -> None:
        assert child.process is not None
        _signal_group(child, signal.SIGKILL)
        if now_s - child.started_s > _STEADY_S:
            child.pause_s = 1.0
        sys.stderr.write(
            f"{child.name} ended unexpectedly ({_ending(child.process.returncode)}) and is started again in "
            f"{child.pause_s:.0f} s; see {child.log}.\n"
        )
        child.process = None
        child.falls += 1
        child.next_start_s = now_s + child.pause_s
        child.pause_s = min(2 * child.pause_s, _LONGEST_PAUSE_S)

    def _on_signal(self, number: int, frame: FrameType | None) -> None:
        self.is_stopping = True


def _ending(return_code: int) -> str:
    if return_code < 0:
        return f"signal {signal.Signals(-return_code).name}"
    return f"exit code {return_code}"


def _signal(child: Child, number: signal.Signals) -> None:
    assert child.process is not None
    with contextlib.suppress(ProcessLookupError):
        child.process.send_signal(number)


def _signal_group(child: Child, number: signal.Signals) -> None:
    assert child.process is not None
    with contextlib.suppress(ProcessLookupError, PermissionError):
        os.killpg(child.process.pid, number)
