"""The sum of all checks hides nothing: neither a skip nor a missing report."""

import pytest

from frontend.installation.refusal import InstallationError
from frontend.processes.checking.results import StepResult, allowed_skips, count_report, summary
from frontend.processes.system_package import chromium_path, program_path

CASES = {
    "good": '<testcase classname="a" name="good"/>',
    "failed": '<testcase classname="a" name="failed"><failure message="no"/></testcase>',
    "broken": '<testcase classname="a" name="broken"><error message="no"/></testcase>',
    "skipped": '<testcase classname="a" name="skipped"><skipped message="no browser"/></testcase>',
}


@pytest.fixture
def report(tmp_path):
    def write(*names):
        path = tmp_path / "report.xml"
        path.write_text(f"<testsuites><testsuite>{''.join(CASES[name] for name in names)}</testsuite></testsuites>")
        return path

    return write


def count(report, *, return_code=0, allowed=()):
    return count_report("tests", report, return_code=return_code, duration_s=1.0, allowed=set(allowed))


@pytest.mark.parametrize(
    ("names", "passed", "failed"),
    [
        (["good", "good"], 2, 0),
        (["good", "failed"], 1, 1),
        (["good", "broken", "failed"], 1, 2),
        (["good", "skipped"], 1, 1),
        ([], 0, 1),
    ],
)
def test_a_report_is_counted(report, names, passed, failed):
    result = count(report(*names))
    assert (result.passed, result.failed) == (passed, failed)


def test_an_allowed_skip_is_neither_passed_nor_failed(report):
    result = count(report("good", "skipped"), allowed=["a::skipped"])
    assert (result.passed, result.failed) == (1, 0)


def test_a_program_that_fails_after_good_tests_has_failed(report):
    result = count(report("good"), return_code=1)
    assert (result.failed, result.notes) == (1, ("the program ended with exit code 1",))


def test_a_missing_report_is_a_failure(tmp_path):
    assert count(tmp_path / "none.xml").failed == 1


def test_a_step_without_a_report_counts_once():
    assert count(None).passed == 1
    assert count(None, return_code=2).failed == 1


def test_the_last_line_sums_up_all_steps():
    text = summary([StepResult("lint", 1, 0, 1.0), StepResult("tests", 40, 2, 3.0)])
    assert text.splitlines()[-1] == "41 passed, 2 failed"
    assert "<- failed" in text.splitlines()[2]


def test_the_list_of_allowed_skips_may_have_reasons(tmp_path):
    (tmp_path / "allowed.txt").write_text("# none but\na::b  # needs a camera\n\n")
    assert allowed_skips(tmp_path / "allowed.txt") == {"a::b"}
    assert allowed_skips(tmp_path / "none.txt") == set()


def test_a_missing_program_gets_the_line_that_installs_it(monkeypatch):
    monkeypatch.setattr("os.geteuid", lambda: 1000)
    with pytest.raises(InstallationError, match="sudo apt-get install --yes --no-install-recommends no-such-thing"):
        program_path(("no-such-thing",), package="no-such-thing", purpose="These tests")


def test_a_wrong_place_of_chromium_is_told(monkeypatch, tmp_path):
    monkeypatch.setenv("MAHLSTICK_CHROMIUM", str(tmp_path / "chromium"))
    with pytest.raises(InstallationError, match="where no program is"):
        chromium_path()
