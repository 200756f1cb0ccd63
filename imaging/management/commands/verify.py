"""`manage.py verify`: check every checksum and every reference again."""

import json
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from imaging.management.progress_line import ProgressLine
from imaging.services.verifying import Finding, repair, verify_everything

__all__ = ["Command"]


class Command(BaseCommand):
    """Exit 0 when everything holds, 1 otherwise."""

    requires_system_checks: list[str] = []
    help = "Check the SHA-256 of every file and every reference; exit 0 when all hold."

    def add_arguments(self, parser: CommandParser) -> None:
        """Take --json and --repair."""
        parser.add_argument("--json", action="store_true", help="print one JSON object for each thing checked")
        parser.add_argument(
            "--repair", action="store_true", help="start the jobs that make bad derived files again; never masters"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Check, print what does not hold, and count."""
        line, checked, problems = ProgressLine(), 0, 0
        for finding in verify_everything(progress=lambda done, total: line.count("verify", done=done, total=total)):
            checked += 1
            problems += bool(finding.problem)
            self.show(finding, is_json=options["json"])
            if options["repair"] and finding.problem and (done := repair(finding)):
                self.stderr.write(f"{finding.name}: {done}")
        line.end()
        if problems:
            raise CommandError(f"{problems} of {checked} things checked do not hold.", returncode=1)
        if not options["json"]:
            self.stdout.write(f"{checked} things checked, all hold.")

    def show(self, finding: Finding, *, is_json: bool) -> None:
        """Print one finding: as JSON each, in words the files and what does not hold."""
        if is_json:
            self.stdout.write(json.dumps(finding.to_json(), sort_keys=True))
        elif finding.problem:
            self.stdout.write(f"{finding.kind} {finding.name}: {finding.problem}")
        elif finding.sha256:
            self.stdout.write(f"{finding.sha256} {finding.kind} {finding.name}")
