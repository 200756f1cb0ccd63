"""A child that misbehaves is ended, and the message says why and what to do."""

import json
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from imaging import errors
from imaging.compute.masters.guard import GuardLimits, run_guarded

REPOSITORY = Path(__file__).resolve().parents[3]


def run(function, limits=None, **arguments):
    name = f"tests.imaging.masters.misbehaving:{function}"
    return run_guarded(name, arguments, limits=limits or GuardLimits(time_s=20.0))


def is_alive(pid):
    try:
        return "Z" not in Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0]
    except OSError:
        return False


def wait_until(condition, *, at_most_s=10.0):
    end = time.monotonic() + at_most_s
    while not condition():
        assert time.monotonic() < end, "waited too long"
        time.sleep(0.02)


def test_an_answer_comes_back_as_it_was():
    assert run("echo", words="naïve \n 10 µm") == {"words": "naïve \n 10 µm"}


def test_progress_is_passed_on_in_order():
    seen = []
    run_guarded(
        "tests.imaging.masters.misbehaving:count",
        {"steps": 50},
        progress=lambda done, total: seen.append((done, total)),
    )
    assert seen == [(step, 50) for step in range(1, 51)]


def test_too_slow_is_stopped_and_says_so():
    began = time.monotonic()
    with pytest.raises(errors.GuardTimeError, match=r"^Reading plate\.tif took longer"):
        run("sleep", GuardLimits(time_s=0.4), seconds=60, file_name="plate.tif")
    assert time.monotonic() - began < 5.0


def test_too_much_memory_is_stopped_and_says_so():
    with pytest.raises(errors.GuardMemoryError, match=r"Reading plate\.tif needed more"):
        run("fill_memory", GuardLimits(memory_bytes=2**31, time_s=20.0), file_name="plate.tif")


@pytest.mark.parametrize("name", ["SIGSEGV", "SIGABRT", "SIGKILL"])
def test_a_crash_is_named(name):
    with pytest.raises(errors.GuardDeathError, match=rf"crashed on plate\.tif \({name}\)"):
        run("die", name=name, file_name="plate.tif")


def test_an_exit_without_an_answer_keeps_the_last_words():
    with pytest.raises(errors.GuardDeathError, match=r"exit code 3\).* the last words"):
        run("leave", code=3, file_name="plate.tif")


def test_it_can_be_cancelled():
    with pytest.raises(errors.WorkCancelledError, match=r"plate\.tif was stopped on request"):
        run_guarded(
            "tests.imaging.masters.misbehaving:sleep",
            {"seconds": 60, "file_name": "plate.tif"},
            is_cancelled=lambda: True,
        )


def test_what_the_child_started_ends_with_it(tmp_path):
    pid_file = tmp_path / "pids"
    with pytest.raises(errors.GuardTimeError, match="took longer"):
        run("start_a_child_and_sleep", GuardLimits(time_s=2.0), pid_file=str(pid_file))
    pids = [int(each) for each in pid_file.read_text().split()]
    assert len(pids) == 2
    wait_until(lambda: not any(is_alive(pid) for pid in pids))


def test_the_child_ends_when_its_parent_is_killed(tmp_path):
    pid_file = tmp_path / "pids"
    code = (
        "from imaging.compute.masters.guard import run_guarded\n"
        "run_guarded('tests.imaging.masters.misbehaving:start_a_child_and_sleep', "
        f"{{'pid_file': {str(pid_file)!r}}})"
    )
    parent = subprocess.Popen([sys.executable, "-c", code], cwd=REPOSITORY)
    wait_until(lambda: pid_file.exists() and len(pid_file.read_text().split()) == 2)
    child, grandchild = (int(each) for each in pid_file.read_text().split())
    parent.kill()
    parent.wait()
    wait_until(lambda: not is_alive(child))
    os.kill(grandchild, 9)


def test_the_child_inherits_no_descriptor_and_no_secret(monkeypatch, tmp_path):
    monkeypatch.setenv("MAHLSTICK_SECRET_KEY", "not for the child")
    with (tmp_path / "open").open("wb") as held:
        os.set_inheritable(held.fileno(), True)
        seen = run("surroundings")
    # Standard input, output, errors, the pipe for answers, and the listing itself.
    assert len(seen["descriptors"]) == 5
    assert not [name for name in seen["environment"] if "MAHLSTICK" in name or "DATABASE" in name]


def test_the_child_cannot_write_files(tmp_path):
    path = tmp_path / "written"
    with pytest.raises(errors.GuardDeathError, match="File too large"):
        run("write_a_file", path=str(path), file_name="plate.tif")
    assert path.stat().st_size <= 65_536


def test_a_foreign_error_becomes_one_of_this_project():
    with pytest.raises(errors.GuardDeathError, match="KeyError"):
        run("raise_a_foreign_error", file_name="plate.tif")


def test_a_child_that_lies_about_its_error_makes_no_object():
    with pytest.raises(errors.GuardDeathError, match="Popen"):
        run("lie", file_name="plate.tif")


def test_a_flood_of_answers_is_cut_off():
    with pytest.raises(errors.GuardDeathError, match=r"crashed on plate\.tif"):
        run("flood", file_name="plate.tif")


def test_loaders_that_are_not_needed_are_blocked(tmp_path):
    drawing = tmp_path / "drawing.tif"
    drawing.write_text('<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"/>')
    code = (
        "import json, sys, pyvips\n"
        "before = pyvips.Image.new_from_file(sys.argv[1]).width\n"
        "from imaging.compute.masters.loaders import allow_only_needed_loaders\n"
        "allow_only_needed_loaders()\n"
        "try:\n"
        "    pyvips.Image.new_from_file(sys.argv[1])\n"
        "    after = 'opened'\n"
        "except pyvips.Error:\n"
        "    after = 'blocked'\n"
        "print(json.dumps([before, after]))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(drawing)],
        capture_output=True,
        check=True,
        cwd=REPOSITORY,
    )
    assert json.loads(done.stdout) == [9, "blocked"]
