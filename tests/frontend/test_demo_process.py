"""The demo as a process: it says where it is, survives being killed, and leaves nothing behind."""

import contextlib
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import psutil
import pytest

from frontend.installation.environment import Environment
from frontend.installation.viewer_build import ViewerBuild

ROOT = Path(__file__).resolve().parents[2]
LONGEST_START_S = 900.0
LONGEST_END_S = 60.0


class Demo:
    """One run of `manage.py demo --size small` with data of its own."""

    def __init__(self, data):
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        self.data = data
        self.process = None
        self.lines = []

    def start(self):
        environment = {name: value for name, value in os.environ.items() if not name.startswith("MAHLSTICK_")}
        environment.pop("DATABASE_URL", None)
        environment["MAHLSTICK_DATA"] = str(self.data)
        command = [sys.executable, str(ROOT / "manage.py"), "demo", "--size", "small", "--port", str(self.port)]
        self.process = subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, text=True)
        self.lines = []
        deadline_s = time.monotonic() + LONGEST_START_S
        while not any(line.startswith("sign-in ") for line in self.lines):
            assert time.monotonic() < deadline_s
            line = self.process.stdout.readline()
            assert line, "the demo ended before it said where it is"
            self.lines.append(line.rstrip("\n"))

    def processes(self):
        """Return every living process that has to do with the data folder or the demo itself."""
        mine = [psutil.Process(self.process.pid), *psutil.Process(self.process.pid).children(recursive=True)]
        named = [
            process
            for process in psutil.process_iter(["cmdline"])
            if str(self.data) in " ".join(process.info["cmdline"] or [])
        ]
        return {process.pid: process for process in [*mine, *named]}

    def page(self):
        with urllib.request.urlopen(f"http://127.0.0.1:{self.port}/", timeout=30) as answer:
            return answer.status, answer.read().decode()


@pytest.fixture
def demo(tmp_path):
    ViewerBuild(ROOT, site_packages=Environment(ROOT).site_packages()).build()
    found = Demo(tmp_path / "demo-data")
    yield found
    if found.process is not None and found.process.poll() is None:
        found.process.terminate()
        found.process.wait(timeout=LONGEST_END_S)
    if found.process is not None:
        found.process.stdout.close()


def wait_for_end(processes):
    gone, alive = psutil.wait_procs(processes, timeout=LONGEST_END_S)
    assert [process.info if hasattr(process, "info") else process.pid for process in alive] == []
    return gone


@pytest.mark.slow
def test_the_demo_starts_is_killed_starts_again_and_ends_without_a_trace(demo):
    demo.start()
    address = demo.lines.index(f"address http://127.0.0.1:{demo.port}")
    assert [line.split()[0] for line in demo.lines[:address]] == ["guest-link"] * address
    assert all(len(line.split()) == 3 for line in demo.lines[address + 1 :])
    assert demo.page()[0] == 200
    first_key = (demo.data / "secret_key").read_text()

    killed = demo.processes()
    assert len(killed) >= 6
    for process in killed.values():
        with contextlib.suppress(psutil.NoSuchProcess):
            process.kill()
    demo.process.communicate()
    wait_for_end(killed.values())

    demo.start()
    assert demo.page()[0] == 200
    assert (demo.data / "secret_key").read_text() == first_key

    living = demo.processes()
    demo.process.send_signal(signal.SIGINT)
    demo.process.communicate(timeout=LONGEST_END_S)
    assert demo.process.returncode == 0
    wait_for_end(living.values())
