"""`manage.py serve`: the web server, with settings from the environment."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.utils.translation import gettext as _

from frontend.installation.refusal import EXIT_REFUSED, EXIT_USAGE
from frontend.processes.certificates import refuse_unfit_certificate
from frontend.processes.listening import Listening, add_listening_options
from frontend.processes.ports import refuse_used_port
from frontend.processes.web_server import default_process_count, run_web_server
from frontend.serving_safety import ServingSettings, unsafe_settings

__all__ = ["Command"]


class Command(BaseCommand):
    """Check everything that could make serving unsafe or useless, then serve."""

    help = _("Run the web server. Unsafe settings are refused, each with its remedy.")

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Name the options."""
        add_listening_options(parser)
        parser.add_argument("--processes", type=int, default=default_process_count())

    def handle(self, *args: Any, **options: Any) -> None:
        """Serve until told to stop."""
        listening = Listening(options["host"], options["port"], options["certificate"], options["key"])
        if listening.has_half_a_certificate:
            raise CommandError(_("--certificate and --key go together: give both."), returncode=EXIT_USAGE)
        if listening.certificate and listening.key:
            refuse_unfit_certificate(listening.certificate, listening.key)
        _refuse_unsafe_settings(listening)
        refuse_used_port(listening.host, listening.port)
        _refuse_missing_migrations()
        self.stderr.write(_("Serving at %(address)s") % {"address": settings.PUBLIC_ADDRESS})
        run_web_server(listening, process_count=options["processes"])


def _refuse_unsafe_settings(listening: Listening) -> None:
    """End with every unsafe setting named, if there is one."""
    found = unsafe_settings(
        ServingSettings(
            host=listening.host,
            has_certificate=listening.certificate is not None,
            is_behind_proxy=settings.SECURE_PROXY_SSL_HEADER is not None,
            public_address=settings.PUBLIC_ADDRESS,
            allowed_hosts=tuple(settings.ALLOWED_HOSTS),
            secret_key=settings.SECRET_KEY,
            is_secret_key_default=settings.SECRET_KEY == settings.INSECURE_SECRET_KEY,
            is_debug=settings.DEBUG,
        )
    )
    if found:
        raise CommandError("\n".join(found), returncode=EXIT_REFUSED)


def _refuse_missing_migrations() -> None:
    """End with the remedy when the tables are older than this program."""
    executor = MigrationExecutor(connection)
    if executor.migration_plan(executor.loader.graph.leaf_nodes()):
        raise CommandError(_("The database has no tables yet, or older ones: run python3 manage.py migrate first."))
    connection.close()
