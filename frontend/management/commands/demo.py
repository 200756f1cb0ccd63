"""`manage.py demo`: everything at once, on invented paintings."""

from __future__ import annotations

import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.utils.translation import gettext as _

from frontend.installation.refusal import EXIT_USAGE
from frontend.processes.demo_run import DemoPlan, DemoRun
from frontend.processes.listening import Listening, add_listening_options

__all__ = ["Command"]


class Command(BaseCommand):
    """Start the demo and stay until it is ended."""

    requires_system_checks: list[str] = []
    help = _("Start everything with invented paintings and people; Ctrl-C ends it, a later start goes on.")

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Name the options."""
        parser.add_argument("--size", choices=["small", "default", "full"], default="default")
        add_listening_options(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        """Run the demo until told to stop."""
        listening = Listening(options["host"], options["port"], options["certificate"], options["key"])
        if listening.has_half_a_certificate:
            raise CommandError(_("--certificate and --key go together: give both."), returncode=EXIT_USAGE)
        plan = DemoPlan(
            size=options["size"],
            listening=listening,
            root=Path(settings.BASE_DIR),
            data=Path(settings.DATA_DIR),
        )
        executor = MigrationExecutor(connection)
        has_old_tables = bool(executor.migration_plan(executor.loader.graph.leaf_nodes()))
        connection.close()
        code = DemoRun(plan, output=sys.stdout).run(has_old_tables=has_old_tables)
        if code:
            sys.exit(code)
