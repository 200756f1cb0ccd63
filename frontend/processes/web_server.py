"""Run the web server (granian) until it is told to stop."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from granian import Granian
from granian.constants import HTTPModes, Interfaces, SSLProtocols

__all__ = ["Listening", "default_process_count", "run_web_server"]

_STOP_S = 8
_MOST_PROCESSES = 4


@dataclass(frozen=True)
class Listening:
    """Where a server listens, and with which certificate."""

    host: str
    port: int
    certificate: Path | None = None
    key: Path | None = None

    @property
    def scheme(self) -> str:
        """Return `https` with a certificate, else `http`."""
        return "https" if self.certificate else "http"

    def address(self, host: str | None = None) -> str:
        """Return the address people open, without a slash at the end."""
        shown = host or self.host
        shown = f"[{shown}]" if ":" in shown and not shown.startswith("[") else shown
        usual_port = 443 if self.certificate else 80
        return f"{self.scheme}://{shown}" + ("" if self.port == usual_port else f":{self.port}")


def default_process_count() -> int:
    """Return how many processes serve unless it is said otherwise."""
    return max(1, min(_MOST_PROCESSES, os.cpu_count() or 1))


def run_web_server(listening: Listening, *, process_count: int) -> None:
    """Serve until TERM or Ctrl-C; a process that falls is started again."""
    Granian(
        "frontend.processes.web_application:application",
        address=listening.host.strip("[]"),
        port=listening.port,
        interface=Interfaces.ASGI,
        workers=process_count,
        http=HTTPModes.auto,
        websockets=False,
        ssl_cert=listening.certificate,
        ssl_key=listening.key,
        ssl_protocol_min=SSLProtocols.tls12,
        respawn_failed_workers=True,
        workers_kill_timeout=_STOP_S,
    ).serve()
