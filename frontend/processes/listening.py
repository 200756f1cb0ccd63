"""Where a server listens: the options of the command line and the address that follows."""

from __future__ import annotations

import argparse
import os
from dataclasses import dataclass
from pathlib import Path

from frontend.processes.ports import address_for_others, is_loopback

__all__ = ["Listening", "add_listening_options", "set_likely_address"]

_USUAL_PORTS = {"http": 80, "https": 443}


@dataclass(frozen=True)
class Listening:
    """Where a server listens, and with which certificate."""

    host: str
    port: int
    certificate: Path | None = None
    key: Path | None = None

    @property
    def has_half_a_certificate(self) -> bool:
        """Tell whether a certificate came without its key, or a key without its certificate."""
        return (self.certificate is None) != (self.key is None)

    def address(self, host: str | None = None) -> str:
        """Return the address people open, without a slash at the end."""
        scheme = "https" if self.certificate else "http"
        shown = host or self.host
        shown = f"[{shown}]" if ":" in shown and not shown.startswith("[") else shown
        return f"{scheme}://{shown}" + ("" if self.port == _USUAL_PORTS[scheme] else f":{self.port}")


def add_listening_options(parser: argparse.ArgumentParser) -> None:
    """Name the options that decide where a server listens."""
    parser.add_argument("--host", default="127.0.0.1")
    parser.add_argument("--port", type=int, default=8000)
    parser.add_argument("--certificate", type=Path)
    parser.add_argument("--key", type=Path)


def set_likely_address(arguments: list[str]) -> None:
    """Set MAHLSTICK_ADDRESS, where it is unset, to what the options of `serve` lead to.

    The settings are read once, before a command reads its own options, and take the public
    address from the environment only.
    """
    if os.environ.get("MAHLSTICK_ADDRESS"):
        return
    parser = argparse.ArgumentParser(add_help=False, exit_on_error=False)
    add_listening_options(parser)
    try:
        options, _ = parser.parse_known_args(arguments)
    except argparse.ArgumentError:
        # The command itself reads the options again and says what is wrong with them.
        return
    listening = Listening(options.host, options.port, options.certificate, options.key)
    names = [name.strip() for name in os.environ.get("MAHLSTICK_HOSTS", "").split(",")]
    public_names = [name for name in names if name and name != "*" and not is_loopback(name)]
    if is_loopback(options.host) or not public_names:
        os.environ["MAHLSTICK_ADDRESS"] = listening.address(address_for_others(options.host))
    else:
        os.environ["MAHLSTICK_ADDRESS"] = listening.address(public_names[0])
