"""`manage.py benchmark [NAME] --csv`: the figures of the design, measured."""

from __future__ import annotations

import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from frontend.processes.benchmark_rows import collect_benchmarks, run_benchmarks, write_csv, write_json

__all__ = ["Command"]


class Command(BaseCommand):
    """Run benchmarks and print their rows as they come."""

    help = _("Measure and print name, measured, unit, reference, ratio, target and whether it is met.")

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Name the options."""
        parser.add_argument("name", nargs="?", help=_("run only what begins with this name"))
        parser.add_argument("--csv", action="store_true", help=_("print CSV (which is also what is printed without)"))
        parser.add_argument("--json", action="store_true", help=_("print one line of JSON per row"))

    def handle(self, *args: Any, **options: Any) -> None:
        """Run; a missed target is told on stderr and is no failure of this command."""
        rows = run_benchmarks(collect_benchmarks(Path(settings.BASE_DIR), name=options["name"]))
        write = write_json if options["json"] else write_csv
        missed = write(rows, sys.stdout)
        if missed:
            text = ngettext("%(missed)d target was missed.", "%(missed)d targets were missed.", missed)
            self.stderr.write(text % {"missed": missed})
