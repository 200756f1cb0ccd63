"""The server's entry module can be the first thing that a fresh process imports."""

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def test_the_application_is_imported_by_a_process_that_has_set_up_nothing(tmp_path):
    environment = {**os.environ, "MAHLSTICK_DATA": str(tmp_path)}
    environment.pop("DJANGO_SETTINGS_MODULE", None)
    command = [
        sys.executable,
        "-W",
        "ignore",
        "-c",
        "from frontend.asgi import application; print(application.__name__)",
    ]
    done = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True)
    assert done.stdout.strip() == "application", done.stderr
