"""What makes a set of settings unsafe to serve, each as one sentence with the remedy."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import urlsplit

from frontend.processes.ports import is_loopback

__all__ = ["ServingSettings", "unsafe_settings"]

_SHORTEST_SECRET_KEY = 40


@dataclass(frozen=True)
class ServingSettings:
    """Everything that decides who can reach the server, and how."""

    host: str
    has_certificate: bool
    is_behind_proxy: bool
    public_address: str
    allowed_hosts: tuple[str, ...]
    secret_key: str
    is_secret_key_default: bool
    is_debug: bool

    @property
    def is_public(self) -> bool:
        """Tell whether anybody but this machine's own people can reach the server."""
        public_host = urlsplit(self.public_address).hostname or ""
        return not is_loopback(self.host) or self.is_behind_proxy or not is_loopback(public_host)


def unsafe_settings(settings: ServingSettings) -> list[str]:
    """Return one sentence for each unsafe setting; an empty list means that it may start."""
    if not settings.is_public:
        return []
    return [
        *_about_secret(settings),
        *_about_hosts(settings),
        *_about_transport(settings),
    ]


def _about_secret(settings: ServingSettings) -> list[str]:
    found = []
    if settings.is_secret_key_default or len(settings.secret_key) < _SHORTEST_SECRET_KEY:
        found.append(
            f"MAHLSTICK_SECRET_KEY is unset or shorter than {_SHORTEST_SECRET_KEY} characters, so sign-ins could be "
            "forged: set it to the output of python3 -c 'import secrets; print(secrets.token_urlsafe(50))' and keep "
            "it secret."
        )
    if settings.is_debug:
        found.append("MAHLSTICK_DEBUG is on, which shows settings and source to visitors: unset it.")
    return found


def _about_hosts(settings: ServingSettings) -> list[str]:
    if "*" in settings.allowed_hosts:
        return ["MAHLSTICK_HOSTS allows every host name: list the names under which people reach this server."]
    if all(is_loopback(host) for host in settings.allowed_hosts):
        return [
            "MAHLSTICK_HOSTS lists no name under which others reach this server: set it, for example "
            "MAHLSTICK_HOSTS=images.example.org."
        ]
    return []


def _about_transport(settings: ServingSettings) -> list[str]:
    found = []
    if not settings.has_certificate and not settings.is_behind_proxy:
        found.append(
            f"Passwords would travel unencrypted from {settings.host}: give --certificate and --key, or set "
            "MAHLSTICK_BEHIND_PROXY=1 when a proxy in front of this server speaks TLS."
        )
    if not settings.public_address.startswith("https://"):
        found.append(
            f"MAHLSTICK_ADDRESS is {settings.public_address}, so cookies would also travel unencrypted: set it to the "
            "https:// address that people open."
        )
    return found
