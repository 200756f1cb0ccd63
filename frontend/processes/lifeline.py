"""End with the process that started this one, however that one ended.

A supervisor holds the writing end of a pipe and gives its children the reading end. When the
supervisor is gone, even by `kill -9`, the operating system closes the pipe and the children see it.
"""

from __future__ import annotations

import os
import signal
import threading
import time

__all__ = ["LIFELINE_VARIABLE", "Lifeline", "follow_lifeline", "follow_parent"]

LIFELINE_VARIABLE = "MAHLSTICK_LIFELINE"
_LOOK_S = 0.5
_GRACE_S = 15.0


class Lifeline:
    """The supervisor's end."""

    def __init__(self) -> None:
        self.reading_end, self._writing_end = os.pipe()

    def environment(self) -> dict[str, str]:
        """Return the variable by which a child finds its end."""
        return {LIFELINE_VARIABLE: str(self.reading_end)}


def follow_lifeline() -> None:
    """End this process when its supervisor is gone; does nothing without a supervisor."""
    descriptor = os.environ.pop(LIFELINE_VARIABLE, None)
    if descriptor is None:
        return
    os.set_inheritable(int(descriptor), False)
    threading.Thread(target=_wait_for_end, args=(int(descriptor),), name="lifeline", daemon=True).start()


def follow_parent() -> None:
    """End this process when its parent is gone, for children that get no pipe."""
    parent = os.getppid()
    threading.Thread(target=_wait_for_other_parent, args=(parent,), name="parent", daemon=True).start()


def _wait_for_end(descriptor: int) -> None:
    # Nothing is ever written: reading returns when the last writing end is closed.
    os.read(descriptor, 1)
    _end()


def _wait_for_other_parent(parent: int) -> None:
    while os.getppid() == parent:
        time.sleep(_LOOK_S)
    _end()


def _end() -> None:
    """Ask this process to end in order, then make sure that it does."""
    os.kill(os.getpid(), signal.SIGTERM)
    time.sleep(_GRACE_S)
    os._exit(1)
