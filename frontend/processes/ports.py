"""Addresses and ports of this machine, and what stands in the way of listening there."""

from __future__ import annotations

import errno
import ipaddress
import socket

from frontend.installation.refusal import InstallationError

__all__ = ["address_for_others", "is_loopback", "refuse_used_port"]

_ANY = {"0.0.0.0", "::", ""}  # noqa: S104 - compared with, never bound to by default
# Documentation address (RFC 5737): the route to it is looked up, nothing is sent.
_FAR_AWAY = ("192.0.2.1", 9)


def is_loopback(host: str) -> bool:
    """Tell whether only this machine can reach a host name or address."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False


def address_for_others(host: str) -> str:
    """Return the host under which others reach a server that listens on `host`."""
    if host not in _ANY:
        return host
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(_FAR_AWAY)
        except OSError:
            return "127.0.0.1"
        return str(probe.getsockname()[0])


def refuse_used_port(host: str, port: int) -> None:
    """Raise an error with the remedy when a server could not listen there."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host.strip("[]"), port))
            probe.listen(1)
        except (OSError, OverflowError) as problem:
            raise InstallationError(_sentence(host, port, problem)) from problem


def _sentence(host: str, port: int, problem: OSError | OverflowError) -> str:
    number = problem.errno if isinstance(problem, OSError) else None
    if number == errno.EADDRINUSE:
        return (
            f"Port {port} on {host} is in use by another program (perhaps a Mahlstick started earlier): end that one, "
            f"or choose another port with --port {port + 1}."
        )
    if number == errno.EACCES:
        return f"Port {port} may only be opened by root: choose one above 1023, for example --port 8000."
    if number == errno.EADDRNOTAVAIL or isinstance(problem, socket.gaierror):
        return (
            f"{host} is not an address of this machine: use --host 127.0.0.1 for this machine only or "
            "--host 0.0.0.0 for its network."
        )
    return f"Nothing can listen on {host}, port {port} ({problem}): choose another with --host and --port."
