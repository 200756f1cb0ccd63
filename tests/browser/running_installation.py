"""A demo of its own for the browser tests: started as people start it, with data in a folder of its own."""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from frontend.installation.refusal import InstallationError
from frontend.processes.running_demo import RunningDemo

__all__ = ["ROOT", "SCENARIO", "Installation", "start_installation", "wait_until_published"]

ROOT = Path(__file__).resolve().parents[2]
SCENARIO: dict[str, Any] = json.loads((ROOT / "demo_fixtures" / "scenario.json").read_text(encoding="utf-8"))
START_LIMIT_S = 900.0
PUBLISH_LIMIT_S = 1500.0
STOP_LIMIT_S = 60.0
LOOK_S = 1.0


@dataclass(frozen=True)
class Installation:
    """A demo that answers, and the folder with its data."""

    address: str
    data: Path
    secrets: dict[str, str]

    def email(self, key: str) -> str:
        """Return the address that a person of the scenario signs in with."""
        return str(next(row["email"] for row in SCENARIO["people"] if row["key"] == key))

    def secret(self, key: str) -> str:
        """Return a person's password; for the guest the path of the link."""
        return self.secrets[self.email(key)]

    def manage(self, *arguments: str) -> str:
        """Run a command of this installation; return what it prints."""
        command = [sys.executable, str(ROOT / "manage.py"), *arguments]
        done = subprocess.run(command, env=environment(self.data), capture_output=True, text=True, timeout=300)
        assert done.returncode == 0, f"{' '.join(arguments)} ended with {done.returncode}: {done.stderr[-2000:]}"
        return done.stdout


def environment(data: Path) -> dict[str, str]:
    """Return an environment without the settings of the tests' own database."""
    kept = {
        name: value
        for name, value in os.environ.items()
        if name not in {"DATABASE_URL", "DJANGO_SETTINGS_MODULE"} and not name.startswith(("MAHLSTICK_", "PYTEST_"))
    }
    return {**kept, "MAHLSTICK_DATA": str(data)}


@contextmanager
def start_installation(data: Path) -> Iterator[Installation]:
    """Run `manage.py demo --size small` while the block lasts."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = [sys.executable, str(ROOT / "manage.py"), "demo", "--size", "small", "--port", str(port)]
    said = data.parent / "demo.log"
    with said.open("wb") as log:
        process = subprocess.Popen(command, env=environment(data), stdout=log, stderr=log)
    try:
        yield wait_for_start(process, data, said)
    finally:
        process.send_signal(signal.SIGTERM)
        process.wait(STOP_LIMIT_S)


def wait_for_start(process: subprocess.Popen[bytes], data: Path, said: Path) -> Installation:
    """Return the demo once it says that it answers."""
    deadline_s = time.monotonic() + START_LIMIT_S
    while True:
        try:
            return found_installation(data)
        except InstallationError:
            words = said.read_text(encoding="utf-8", errors="replace")[-2000:]
            assert process.poll() is None, f"the demo ended with {process.returncode}: {words}"
            assert time.monotonic() < deadline_s, f"the demo did not answer within {START_LIMIT_S:.0f} s: {words}"
        time.sleep(LOOK_S)


def found_installation(data: Path) -> Installation:
    """Return the demo that runs on a data folder."""
    running = RunningDemo.find(data)
    return Installation(running.address, data, dict(running.sign_ins))


def wait_until_published(installation: Installation) -> None:
    """Return when every picture of the scenario is published."""
    lead = installation.email("marchwood")
    token = installation.manage("token", lead, "--days", "1").split()[-1]
    deadline_s = time.monotonic() + PUBLISH_LIMIT_S
    wanted = len(SCENARIO["images"])
    while True:
        published = count_published(installation.address, token)
        if published >= wanted:
            break
        assert time.monotonic() < deadline_s, f"{published} of {wanted} pictures were published in time"
        time.sleep(LOOK_S)
    installation.manage("jobs", "--wait")


def count_published(address: str, token: str) -> int:
    """Ask the API how many pictures are published."""
    request = urllib.request.Request(f"{address}/api/v1/images/", headers={"Authorization": f"Bearer {token}"})
    with urllib.request.urlopen(request, timeout=30) as answer:
        results = json.load(answer)["results"]
    return sum(image["status"] == "published" for image in results)
