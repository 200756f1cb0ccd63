"""Progress with time left on stderr: one rewritten line on a terminal, a few lines elsewhere."""

from __future__ import annotations

import sys
import time
from typing import TextIO

__all__ = ["Progress", "duration_text"]

_QUIET_S = 2.0
_TERMINAL_STEP_S = 0.2
_LOG_STEP_S = 10.0
_MINUTE_S = 60


def duration_text(duration_s: float) -> str:
    """Return a duration as people say it: `40 s`, `3 min 20 s`, `1 h 5 min`."""
    seconds = max(0, round(duration_s))
    if seconds < _MINUTE_S:
        return f"{seconds} s"
    minutes, seconds = divmod(seconds, _MINUTE_S)
    if minutes < _MINUTE_S:
        return f"{minutes} min {seconds} s" if seconds else f"{minutes} min"
    hours, minutes = divmod(minutes, _MINUTE_S)
    return f"{hours} h {minutes} min"


class Progress:
    """Says how far one piece of work has come; silent for the first two seconds."""

    def __init__(self, title: str, *, stream: TextIO | None = None, expected_s: float = 0.0):
        self.title = title
        self._stream = stream or sys.stderr
        self._expected_s = expected_s
        self._start_s = time.monotonic()
        self._last_shown_s = self._start_s - _LOG_STEP_S
        self._has_line = False
        self._is_terminal = self._stream.isatty()

    def __enter__(self) -> Progress:
        return self

    def __exit__(self, error_type: object, *_: object) -> None:
        self.finish("done" if error_type is None else "stopped")

    def update(self, fraction: float, detail: str = "") -> None:
        """Show the share done (0 to 1) and the time left, at most a few times a second."""
        now_s = time.monotonic()
        if now_s - self._start_s < _QUIET_S:
            return
        if now_s - self._last_shown_s < (_TERMINAL_STEP_S if self._is_terminal else _LOG_STEP_S):
            return
        self._last_shown_s = now_s
        left_s = self._time_left_s(fraction, now_s - self._start_s)
        parts = [f"{self.title}: {round(100 * min(max(fraction, 0.0), 1.0))} %"]
        if left_s is not None:
            parts.append(f"{duration_text(left_s)} left")
        if detail:
            parts.append(detail)
        self._show(", ".join(parts))

    def update_by_time(self, detail: str = "") -> None:
        """Show the share judged by experience, for work that itself tells nothing."""
        elapsed_s = time.monotonic() - self._start_s
        # Approaches the end without claiming it: half done after 0.7 of the expected time.
        self.update(elapsed_s / (elapsed_s + 0.7 * max(self._expected_s, 1.0)), detail)

    def finish(self, word: str = "done") -> None:
        """Close the line with the time it took, if anything took long enough to be shown."""
        elapsed_s = time.monotonic() - self._start_s
        if elapsed_s < _QUIET_S and not self._has_line:
            return
        self._show(f"{self.title}: {word}, {duration_text(elapsed_s)}")
        if self._is_terminal:
            self._stream.write("\n")
            self._stream.flush()

    def _time_left_s(self, fraction: float, elapsed_s: float) -> float | None:
        if fraction >= 1.0:
            return 0.0
        from_pace_s = elapsed_s * (1.0 - fraction) / fraction if fraction > 0.0 else None
        if not self._expected_s:
            return from_pace_s
        from_experience_s = max(self._expected_s - elapsed_s, 1.0)
        if from_pace_s is None:
            return from_experience_s
        # The pace of the first steps says little, that of the last nearly everything.
        return (1.0 - fraction) * from_experience_s + fraction * from_pace_s

    def _show(self, text: str) -> None:
        if self._is_terminal:
            self._stream.write(f"\r\x1b[2K{text}")
        else:
            self._stream.write(f"{text}\n")
        self._stream.flush()
        self._has_line = True
