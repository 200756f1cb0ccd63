"""One line of progress on the error stream, rewritten in a terminal and repeated seldom elsewhere."""

import sys
import time

__all__ = ["ProgressLine", "duration_text"]

_TERMINAL_S, _LOG_S = 0.2, 10.0
#: Work shorter than this shows nothing.
_QUIET_S = 2.0


def duration_text(seconds: float) -> str:
    """Return a duration in words short enough for one line."""
    seconds = max(0, round(seconds))
    if seconds < 90:
        return f"{seconds} s"
    if seconds < 5400:
        return f"{seconds // 60} min {seconds % 60:02} s"
    return f"{seconds // 3600} h {seconds % 3600 // 60:02} min"


class ProgressLine:
    """Shows the newest text, not too often; `end` clears the line."""

    def __init__(self) -> None:
        self.stream = sys.stderr
        self.begun_s = time.monotonic()
        self.shown_s = 0.0
        self.is_shown = False

    def show(self, text: str) -> None:
        """Show a text if the last one is old enough."""
        now_s = time.monotonic()
        pause_s = _TERMINAL_S if self.stream.isatty() else _LOG_S
        if now_s - self.begun_s < _QUIET_S or now_s - self.shown_s < pause_s:
            return
        self.shown_s, self.is_shown = now_s, True
        self.stream.write(f"\r\x1b[2K{text}" if self.stream.isatty() else f"{text}\n")
        self.stream.flush()

    def count(self, what: str, *, done: int, total: int) -> None:
        """Show how much of something is done and how long the rest will take."""
        spent_s = time.monotonic() - self.begun_s
        left = f", {duration_text(spent_s / done * (total - done))} left" if 0 < done < total else ""
        self.show(f"{what}: {100 * done // max(total, 1)} %{left}")

    def end(self) -> None:
        """Clear the line of a terminal."""
        if self.is_shown and self.stream.isatty():
            self.stream.write("\r\x1b[2K")
            self.stream.flush()
