"""Children are restarted when they fall and never outlive their supervisor."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from frontend.processes.supervisor import Supervisor

ROOT = Path(__file__).resolve().parents[2]
FOLLOWER = (
    "import time; from frontend.processes.lifeline import follow_lifeline; follow_lifeline(); "
    "print('here', flush=True); time.sleep(60)"
)
SUPERVISOR = (
    "import sys; from pathlib import Path; from frontend.processes.supervisor import Supervisor; "
    "supervisor = Supervisor(Path(sys.argv[1])); "
    "print(supervisor.add('child', [sys.executable, '-c', sys.argv[2]]).process.pid, flush=True); supervisor.watch()"
)


@pytest.fixture
def supervisor(tmp_path):
    found = Supervisor(tmp_path / "log")
    yield found
    found.stop()


def is_alive(process_id):
    try:
        os.kill(process_id, 0)
    except ProcessLookupError:
        return False
    # A zombie has ended; it only waits for a parent that asks (proc(5)).
    return " Z " not in Path(f"/proc/{process_id}/stat").read_text()


def wait_until(condition, limit_s=15.0):
    deadline_s = time.monotonic() + limit_s
    while not condition():
        assert time.monotonic() < deadline_s
        time.sleep(0.05)


def test_what_falls_is_started_again(supervisor, capsys):
    child = supervisor.add("child", [sys.executable, "-c", "import time; time.sleep(60)"])
    first = child.process.pid
    child.process.kill()
    child.process.wait()
    wait_until(lambda: supervisor.watch_once() or (child.is_running and child.process.pid != first))
    assert child.falls == 1
    assert "child ended unexpectedly (signal SIGKILL) and is started again in 1 s" in capsys.readouterr().err


def test_what_keeps_falling_is_started_less_and_less_often(supervisor):
    child = supervisor.add("child", [sys.executable, "-c", "raise SystemExit(3)"])
    pauses = []
    for _ in range(3):
        child.process.wait()
        supervisor.watch_once()
        pauses.append(child.pause_s)
        child.next_start_s = 0.0
        supervisor.watch_once()
    assert pauses == [2.0, 4.0, 8.0]


def test_what_does_not_end_by_itself_is_killed_with_all_it_started(supervisor, monkeypatch):
    monkeypatch.setattr("frontend.processes.supervisor._GRACE_S", 0.5)
    stubborn = (
        "import signal, subprocess, sys, time; signal.signal(signal.SIGTERM, signal.SIG_IGN); "
        "print(subprocess.Popen([sys.executable, '-c', 'import time; time.sleep(60)']).pid, flush=True); time.sleep(60)"
    )
    child = supervisor.add("child", [sys.executable, "-c", stubborn])
    wait_until(lambda: child.log.read_text().strip())
    grandchild = int(child.log.read_text())
    supervisor.stop()
    assert not child.is_running
    wait_until(lambda: not is_alive(grandchild))


def test_work_that_ends_well_is_not_started_again(supervisor):
    child = supervisor.add("work", [sys.executable, "-c", "pass"], is_task=True)
    first = child.process
    first.wait()
    supervisor.watch_once()
    assert child.process is first
    assert child.falls == 0


def test_work_that_fails_is_tried_again(supervisor):
    child = supervisor.add("work", [sys.executable, "-c", "raise SystemExit(1)"], is_task=True)
    child.process.wait()
    supervisor.watch_once()
    assert child.falls == 1


def test_a_command_beside_the_children_gives_its_code_and_all_that_it_printed(supervisor):
    return_code, printed = supervisor.run_to_end([sys.executable, "-c", "print('x' * 200_000); raise SystemExit(4)"])
    assert return_code == 4
    assert len(printed) == 200_001


@pytest.mark.skipif(sys.platform != "linux", reason="reads /proc")
def test_children_end_when_their_supervisor_is_killed(tmp_path):
    supervisor = subprocess.Popen(
        [sys.executable, "-c", SUPERVISOR, str(tmp_path), FOLLOWER], cwd=ROOT, stdout=subprocess.PIPE, text=True
    )
    child = int(supervisor.stdout.readline())
    wait_until(lambda: (tmp_path / "child.log").read_text() == "here\n")
    supervisor.send_signal(signal.SIGKILL)
    supervisor.communicate()
    wait_until(lambda: not is_alive(child))
