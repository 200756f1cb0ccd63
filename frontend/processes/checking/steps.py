"""The steps of the whole check, each a program that succeeds or fails."""

from __future__ import annotations

import sys
from dataclasses import dataclass, field
from pathlib import Path

from frontend.installation.node import NodeTools

__all__ = ["CheckFolders", "Step", "browser_step", "lint_steps", "pytest_steps", "viewer_steps"]


@dataclass(frozen=True)
class CheckFolders:
    """Where the check reads and writes."""

    root: Path
    output: Path

    @property
    def viewer(self) -> Path:
        """Return the folder of the viewer's sources."""
        return self.root / "frontend" / "viewer"


@dataclass(frozen=True)
class Step:
    """One program to run; `report` is the JUnit file it writes when it counts its tests."""

    name: str
    command: list[str]
    folder: Path
    environment: dict[str, str] = field(default_factory=dict)
    report: Path | None = None


def lint_steps(folders: CheckFolders) -> list[Step]:
    """Return the steps that read the Python sources."""
    linter = str(Path(sys.executable).with_name("lint-imports"))
    commands = {
        "format": _python("ruff", "format", "--check", "."),
        "lint": _python("ruff", "check", "."),
        "imports": [linter, "--no-cache"],
        "spelling": _python("codespell_lib"),
        "types": _python("mypy"),
    }
    return [Step(name, command, folders.root) for name, command in commands.items()]


def pytest_steps(folders: CheckFolders, *, is_fast: bool) -> list[Step]:
    """Return the tests that need no browser, and the examples in the documentation of functions."""
    marks = "not browser and not slow" if is_fast else "not browser"
    pure = [f"{app}/{layer}" for app in ("imaging", "annotations") for layer in ("compute", "interop")]
    return [
        _pytest(folders, "examples", ["--doctest-modules", *pure]),
        _pytest(folders, "tests", ["-m", marks, "tests"]),
    ]


def browser_step(folders: CheckFolders, *, chromium: str) -> Step:
    """Return the tests in a real browser."""
    step = _pytest(folders, "browser", ["-m", "browser", "tests"])
    step.environment["MAHLSTICK_CHROMIUM"] = chromium
    return step


def viewer_steps(folders: CheckFolders, tools: NodeTools) -> list[Step]:
    """Return the checks of the viewer's TypeScript."""
    modules = folders.viewer / "node_modules"
    report = folders.output / "viewer-tests.xml"
    node, environment = str(tools.node), tools.environment()
    vitest = [node, str(modules / "vitest" / "vitest.mjs"), "run"]
    reporters = ["--reporter=default", "--reporter=junit", f"--outputFile.junit={report}"]
    return [
        Step("viewer-lint", [node, str(modules / "eslint" / "bin" / "eslint.js"), "."], folders.viewer, environment),
        Step(
            "viewer-types", [node, str(modules / "typescript" / "bin" / "tsc"), "--noEmit"], folders.viewer, environment
        ),
        Step("viewer-tests", [*vitest, *reporters], folders.viewer, environment, report=report),
    ]


def _pytest(folders: CheckFolders, name: str, arguments: list[str]) -> Step:
    report = folders.output / f"{name}.xml"
    options = ["-q", "--durations=10", "--durations-min=1", f"--junit-xml={report}", "-o", "junit_family=xunit2"]
    return Step(name, _python("pytest", *options, *arguments), folders.root, {}, report=report)


def _python(module: str, *arguments: str) -> list[str]:
    return [sys.executable, "-m", module, *arguments]
