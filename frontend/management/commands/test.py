"""`manage.py test`: everything a machine can check."""

from __future__ import annotations

import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand
from django.utils.translation import gettext as _

from frontend.installation.refusal import EXIT_FAILED
from frontend.processes.checking.whole_check import WholeCheck

__all__ = ["Command"]


class Command(BaseCommand):
    """Run formatting, lint, types, imports, spelling, tests of both languages and the browser."""

    requires_system_checks: list[str] = []
    help = _("Check everything: both languages, their types and tests, and the pages in a real browser.")

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Name the options."""
        parser.add_argument("--fast", action="store_true", help=_("leave out slow tests and the browser"))
        parser.add_argument("--only", action="append", default=[], metavar="STEP", help=_("run this step only"))

    def handle(self, *args: Any, **options: Any) -> None:
        """Run and end with exit code 1 when anything failed."""
        check = WholeCheck(
            Path(settings.BASE_DIR), is_fast=options["fast"], only=set(options["only"]), output=sys.stdout
        )
        if not check.run():
            sys.exit(EXIT_FAILED)
