"""`manage.py restore FOLDER`: a backup into an empty installation."""

from __future__ import annotations

import json
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand
from django.db import connection
from django.utils.translation import gettext as _

from frontend.processes.saving.database_dump import DatabaseDump
from frontend.processes.saving.restore import restore_backup

__all__ = ["Command"]


class Command(BaseCommand):
    """Bring everything back from a backup."""

    requires_system_checks: list[str] = []
    help = _("Restore a backup into an empty installation; every file is checked by its SHA-256.")

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Name the options."""
        parser.add_argument("folder", type=Path)
        parser.add_argument("--json", action="store_true", help=_("print the result as one line of JSON"))

    def handle(self, *args: Any, **options: Any) -> None:
        """Restore, then bring the tables of an older release up to date."""
        is_empty = not connection.introspection.table_names()
        connection.close()
        manifest = restore_backup(
            options["folder"].resolve(),
            data=Path(settings.DATA_DIR),
            database=DatabaseDump(settings.DATABASES["default"]),
            is_database_empty=is_empty,
        )
        result = {"made_at": manifest.made_at, "files": len(manifest.files), "size_bytes": manifest.size_bytes}
        if options["json"]:
            self.stdout.write(json.dumps(result))
            return
        text = _("Restored the backup of %(made_at)s: the database and %(files)d files, %(size_bytes)d bytes.")
        self.stdout.write(text % result)
        self.stdout.write(_("Now run python3 manage.py migrate, then python3 manage.py verify."))
