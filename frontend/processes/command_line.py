"""Run one Django command with the database it needs."""

import os

from django.core.management import execute_from_command_line

__all__ = ["run_command"]


def run_command(arguments: list[str]) -> int:
    """Run `manage.py COMMAND`; the exit code is the command's own."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "frontend.settings")
    execute_from_command_line(arguments)
    return 0
