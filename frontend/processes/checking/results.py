"""What came out of a step, counted; a skipped test counts as failed unless it is allowed."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from xml.etree.ElementTree import Element

from defusedxml.ElementTree import ParseError, parse

__all__ = ["StepResult", "allowed_skips", "count_report", "summary"]

_PYTEST_NO_TESTS = 5


@dataclass(frozen=True)
class StepResult:
    """The outcome of one step."""

    name: str
    passed: int
    failed: int
    duration_s: float
    notes: tuple[str, ...] = ()

    @property
    def is_good(self) -> bool:
        """Tell whether nothing failed."""
        return self.failed == 0


def count_report(
    name: str, report: Path | None, *, return_code: int, duration_s: float, allowed: set[str]
) -> StepResult:
    """Return the outcome of a step from its exit code and its JUnit file."""
    if report is None:
        return StepResult(name, int(return_code == 0), int(return_code != 0), duration_s)
    try:
        cases = list(parse(report).getroot().iter("testcase"))
    except (OSError, ParseError):
        return StepResult(name, 0, 1, duration_s, (f"no report was written (exit code {return_code})",))
    if not cases and return_code in {0, _PYTEST_NO_TESTS}:
        return StepResult(name, 0, 1, duration_s, ("no test was found, which counts as a failure",))
    broken = [case for case in cases if case.find("failure") is not None or case.find("error") is not None]
    skipped = [case for case in cases if case.find("skipped") is not None]
    unwanted = [case for case in skipped if not _is_allowed(_name_of(case), allowed)]
    notes = [f"skipped, which counts as failed: {_name_of(case)} ({_reason_of(case)})" for case in unwanted]
    notes += [f"failed: {_name_of(case)}" for case in broken]
    failed = len(broken) + len(unwanted)
    if failed == 0 and return_code != 0:
        failed, notes = 1, [f"the program ended with exit code {return_code}"]
    return StepResult(name, len(cases) - len(broken) - len(skipped), failed, duration_s, tuple(notes))


def allowed_skips(path: Path) -> set[str]:
    """Return the tests that may be skipped, one `name  # reason` a line; none without the file."""
    if not path.exists():
        return set()
    lines = (line.split("#")[0].strip() for line in path.read_text(encoding="utf-8").splitlines())
    return {line for line in lines if line}


def summary(results: list[StepResult]) -> str:
    """Return the table of all steps and the closing line."""
    rows = [f"{'step':<14}{'passed':>8}{'failed':>8}{'seconds':>9}"]
    rows += [
        f"{result.name:<14}{result.passed:>8}{result.failed:>8}{result.duration_s:>9.1f}"
        + ("" if result.is_good else "   <- failed")
        for result in results
    ]
    passed, failed = sum(result.passed for result in results), sum(result.failed for result in results)
    return "\n".join([*rows, "", f"{passed} passed, {failed} failed"])


def _name_of(case: Element) -> str:
    return f"{case.get('classname', '')}::{case.get('name', '')}"


def _reason_of(case: Element) -> str:
    skipped = case.find("skipped")
    return (skipped.get("message") or "no reason given") if skipped is not None else ""


def _is_allowed(name: str, allowed: set[str]) -> bool:
    return any(name.startswith(prefix) for prefix in allowed)
