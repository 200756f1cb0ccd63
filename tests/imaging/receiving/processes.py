"""Commands in processes of their own, on the database and the data folder of a test."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
from pathlib import Path

from django.db import connection

ROOT = Path(__file__).resolve().parents[3]


def environment_of(data_folder):
    """Return the environment of a process that shares a test's database and files."""
    values = connection.settings_dict
    return {
        **os.environ,
        "DATABASE_URL": f"postgresql://{values['USER']}@/{values['NAME']}?host={values['HOST']}",
        "MAHLSTICK_DATA": str(data_folder),
        "DJANGO_SETTINGS_MODULE": "frontend.settings",
        "MAHLSTICK_LOG_LEVEL": "ERROR",
    }


def command_line(*arguments):
    """Return the words that run a Django command."""
    return [sys.executable, "-m", "django", *map(str, arguments)]


@contextlib.contextmanager
def command(data_folder, *arguments):
    """Run a command in a process of its own; it is killed at the end at the latest."""
    process = subprocess.Popen(
        command_line(*arguments), cwd=ROOT, env=environment_of(data_folder), start_new_session=True
    )
    try:
        yield process
    finally:
        with contextlib.suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
        process.wait()


def run(data_folder, *arguments):
    """Run a command to its end and return exit code and output."""
    return subprocess.run(
        command_line(*arguments), cwd=ROOT, env=environment_of(data_folder), capture_output=True, text=True
    )
