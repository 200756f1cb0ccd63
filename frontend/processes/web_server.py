"""Run the web server (granian) until it is told to stop."""

from __future__ import annotations

import os

from granian import Granian
from granian.constants import HTTPModes, Interfaces, SSLProtocols

from frontend.processes.listening import Listening

__all__ = ["default_process_count", "run_web_server"]

_STOP_S = 8
_MOST_PROCESSES = 4


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
