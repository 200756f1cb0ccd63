"""What lies where, and what must not be written down anywhere."""

import json
import re

import pytest

from tests.architecture.sources import ROOT, app_sources, committed_files

TOP_LEVEL = {
    "README.md", "DEVELOPERS.md", "manage.py", "pyproject.toml",
    "annotations", "imaging", "frontend", "tests", "demo_fixtures",
}  # fmt: skip
SETTING = re.compile(r"\b(?:MAHLSTICK_[A-Z_]+[A-Z]|DATABASE_URL)\b")
# Passed from one process of an installation to another, never set by people.
INTERNAL_SETTINGS = {"MAHLSTICK_LIFELINE"}
INDEX_OPTION = re.compile(r"--(?:extra-)?index-url[= ]\S|--find-links[= ]\S|registry\s*[=:]\s*[\"']?https?:")
TEXT_SUFFIXES = {".py", ".md", ".toml", ".txt", ".json", ".cfg", ".ini", ".yml", ".yaml", ".sh", ".ts", ".js", ""}


def test_the_top_level_is_as_fixed():
    names = {path.relative_to(ROOT).parts[0] for path in committed_files()}
    assert {name for name in names if not name.startswith(".")} == TOP_LEVEL


def test_no_committed_file_names_a_package_index():
    found = [
        path.relative_to(ROOT).as_posix()
        for path in committed_files()
        if path.suffix in TEXT_SUFFIXES and INDEX_OPTION.search(path.read_text(encoding="utf-8"))
    ]
    assert found == []


@pytest.mark.parametrize("line", ["index-url https://x", "find-links=/y", "extra-index-url=z"])
def test_the_address_of_an_index_would_be_found(line):
    # Put together here, or this file would be found itself.
    assert INDEX_OPTION.search("--" + line)


def test_the_locks_hold_checksums_and_no_address():
    locks = sorted((ROOT / ".locks").glob("*.txt"))
    assert [lock.name for lock in locks] == ["requirements-dev.txt", "requirements.txt"]
    for lock in locks:
        text = lock.read_text(encoding="utf-8")
        assert "://" not in text
        requirements = [line for line in text.splitlines() if re.match(r"[a-z0-9]", line)]
        assert all("==" in line and line.endswith("\\") for line in requirements), lock


def test_the_lock_of_the_viewer_holds_checksums_and_no_address():
    lock = json.loads((ROOT / "frontend" / "viewer" / "package-lock.json").read_text(encoding="utf-8"))
    packages = {name: entry for name, entry in lock["packages"].items() if name}
    assert len(packages) > 10
    assert [name for name, entry in packages.items() if "resolved" in entry] == []
    assert [name for name, entry in packages.items() if not entry.get("integrity")] == []


def test_what_runs_is_locked_the_same_for_those_who_check():
    runs, checks = (
        set(re.findall(r"^[a-z0-9].*==\S+", (ROOT / ".locks" / name).read_text(encoding="utf-8"), re.MULTILINE))
        for name in ("requirements.txt", "requirements-dev.txt")
    )
    assert runs - checks == set()


def test_every_setting_is_explained_to_developers():
    settings = {name for source in app_sources() for name in SETTING.findall(source.text)} - INTERNAL_SETTINGS
    explained = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert "MAHLSTICK_SECRET_KEY" in settings
    assert sorted(name for name in settings if name not in explained) == []


def test_the_check_of_a_clean_checkout_is_the_one_command():
    lines = (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()
    commands = [line for line in lines if line and not line.startswith("#")]
    assert commands[-1] == "exec python3 manage.py test </dev/null"
    assert (ROOT / ".ci" / "run").stat().st_mode & 0o111
