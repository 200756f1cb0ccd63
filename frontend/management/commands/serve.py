"""`manage.py serve`: the web server, with settings from the environment."""

from __future__ import annotations

import os
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.utils.translation import gettext as _

from frontend.installation.refusal import EXIT_REFUSED, EXIT_USAGE
from frontend.processes.certificates import refuse_unfit_certificate
from frontend.processes.ports import is_loopback, refuse_used_port
from frontend.processes.web_server import Listening, default_process_count, run_web_server
from frontend.serving_safety import ServingSettings, unsafe_settings

__all__ = ["Command"]


class Command(BaseCommand):
    """Check everything that could make serving unsafe or useless, then serve."""

    help = _("Run the web server. Unsafe settings are refused, each with its remedy.")

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Name the options."""
        parser.add_argument("--host", default="127.0.0.1", help=_("address to listen on; 0.0.0.0 for the network"))
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--certificate", type=Path, help=_("PEM file with the certificate and its chain"))
        parser.add_argument("--key", type=Path, help=_("PEM file with the key of the certificate"))
        parser.add_argument("--processes", type=int, default=default_process_count())

    def handle(self, *args: Any, **options: Any) -> None:
        """Serve until told to stop."""
        certificate, key = options["certificate"], options["key"]
        if (certificate is None) != (key is None):
            raise CommandError(_("--certificate and --key go together: give both."), returncode=EXIT_USAGE)
        if certificate is not None:
            refuse_unfit_certificate(certificate, key)
        listening = Listening(options["host"], options["port"], certificate, key)
        address = os.environ.get("MAHLSTICK_ADDRESS") or likely_address(listening)
        refuse_unsafe_settings(listening, address)
        refuse_used_port(listening.host, listening.port)
        refuse_missing_migrations()
        # The server's processes read the settings anew.
        os.environ["MAHLSTICK_ADDRESS"] = address
        self.stderr.write(_("Serving at %(address)s") % {"address": address})
        run_web_server(listening, process_count=options["processes"])


def likely_address(listening: Listening) -> str:
    """Return the address people open when none is set: the first host name that others can use."""
    if is_loopback(listening.host):
        return listening.address()
    names = [host for host in settings.ALLOWED_HOSTS if not is_loopback(host) and host != "*"]
    return listening.address(names[0] if names else None)


def refuse_unsafe_settings(listening: Listening, address: str) -> None:
    """End with every unsafe setting named, if there is one."""
    found = unsafe_settings(
        ServingSettings(
            host=listening.host,
            has_certificate=listening.certificate is not None,
            is_behind_proxy=settings.SECURE_PROXY_SSL_HEADER is not None,
            public_address=address,
            allowed_hosts=tuple(settings.ALLOWED_HOSTS),
            secret_key=settings.SECRET_KEY,
            is_secret_key_default=settings.SECRET_KEY == settings.INSECURE_SECRET_KEY,
            is_debug=settings.DEBUG,
        )
    )
    if found:
        raise CommandError("\n".join(found), returncode=EXIT_REFUSED)


def refuse_missing_migrations() -> None:
    """End with the remedy when the tables are older than this program."""
    executor = MigrationExecutor(connection)
    if executor.migration_plan(executor.loader.graph.leaf_nodes()):
        raise CommandError(_("The database has no tables yet, or older ones: run python3 manage.py migrate first."))
    connection.close()
