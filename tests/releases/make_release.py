"""Make the small installation of the version at hand, once, when it is released."""

import os
import subprocess
import sys
import tempfile
from pathlib import Path

from frontend.processes.project_version import project_version

__all__ = ["main", "manage"]

ROOT = Path(__file__).resolve().parents[2]
RELEASES = Path(__file__).resolve().parent


def manage(data: Path, *arguments: str) -> str:
    """Run a command of manage.py on a data folder of its own and return what it prints."""
    environment = {**os.environ, "MAHLSTICK_DATA": str(data)}
    environment.pop("DATABASE_URL", None)
    command = [sys.executable, str(ROOT / "manage.py"), *arguments]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=600)
    if done.returncode:
        raise RuntimeError(f"{' '.join(arguments)} ended with {done.returncode}:\n{done.stderr[-3000:]}")
    return done.stdout


def main() -> None:
    """Write tests/releases/VERSION; an existing one is never overwritten."""
    folder = RELEASES / project_version()
    with tempfile.TemporaryDirectory(prefix="mahlstick-release-") as data:
        manage(Path(data), "migrate", "--verbosity", "0")
        manage(Path(data), "shell", "--verbosity", "0", "-c", "from tests.releases.content import fill; fill()")
        manage(Path(data), "verify")
        manage(Path(data), "backup", str(folder))
    sys.stdout.write(f"{folder}\n")


if __name__ == "__main__":
    main()
