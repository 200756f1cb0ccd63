"""`manage.py worker`: take jobs from the queue and do them."""

from __future__ import annotations

import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.utils.translation import gettext as _

from frontend.processes.supervisor import Supervisor
from frontend.processes.worker_process import run_worker
from imaging.services.jobs import requeue_stalled_jobs

__all__ = ["Command"]


class Command(BaseCommand):
    """Run one worker, or several under a supervisor."""

    requires_system_checks: list[str] = []
    help = _("Do the jobs of the queue. Any number of workers may run, on any number of machines.")

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Name the options."""
        parser.add_argument("--concurrency", type=int, default=1, help=_("jobs done at the same time (processes)"))
        parser.add_argument("--until-idle", action="store_true", help=_("end when no job waits"))

    def handle(self, *args: Any, **options: Any) -> None:
        """Work until told to stop."""
        concurrency, until_idle = options["concurrency"], options["until_idle"]
        if concurrency < 1:
            raise CommandError(_("--concurrency must be 1 or more."), returncode=2)
        if concurrency == 1:
            run_worker(requeue_stalled=requeue_stalled_jobs, is_ending_when_idle=until_idle)
            return
        if until_idle:
            raise CommandError(_("--until-idle works with --concurrency 1 only."), returncode=2)
        supervisor = Supervisor(settings.DATA_DIR / "log")
        supervisor.take_signals()
        manage = Path(settings.BASE_DIR) / "manage.py"
        for number in range(1, concurrency + 1):
            supervisor.add(f"worker-{number}", [sys.executable, str(manage), "worker"])
        supervisor.watch()
        supervisor.stop()
