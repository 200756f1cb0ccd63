"""`manage.py backup FOLDER`: database and files, with checksums."""

from __future__ import annotations

import json
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand
from django.utils.translation import gettext as _

from frontend.processes.project_version import project_version
from frontend.processes.saving.backup import write_backup
from frontend.processes.saving.database_dump import DatabaseDump

__all__ = ["Command"]


class Command(BaseCommand):
    """Save everything that cannot be made again."""

    help = _("Save the database and all files into a new folder; people may go on working meanwhile.")

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Name the options."""
        parser.add_argument("folder", type=Path)
        parser.add_argument("--json", action="store_true", help=_("print the result as one line of JSON"))

    def handle(self, *args: Any, **options: Any) -> None:
        """Write the backup."""
        folder = options["folder"].resolve()
        manifest = write_backup(
            folder,
            data=Path(settings.DATA_DIR),
            database=DatabaseDump(settings.DATABASES["default"]),
            software_version=project_version(),
        )
        result = {"folder": str(folder), "files": len(manifest.files), "size_bytes": manifest.size_bytes}
        if options["json"]:
            self.stdout.write(json.dumps(result))
        else:
            text = _("Saved to %(folder)s: the database and %(files)d files, %(size_bytes)d bytes.")
            self.stdout.write(text % result)
