"""Run all steps, two lanes at a time, and sum them up."""

from __future__ import annotations

import os
import shutil
import subprocess
import threading
import time
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import IO

from frontend.installation.environment import Environment
from frontend.installation.progress import duration_text
from frontend.installation.refusal import InstallationError
from frontend.installation.viewer_build import ViewerBuild
from frontend.processes.checking import steps
from frontend.processes.checking.results import StepResult, allowed_skips, count_report, summary
from frontend.processes.system_package import chromium_path

__all__ = ["WholeCheck"]

_SHOWN_LINES = 150


class WholeCheck:
    """One run of everything that can be checked by a machine."""

    def __init__(self, root: Path, *, is_fast: bool, only: set[str], output: IO[str]):
        self._root = root
        self._is_fast = is_fast
        self._only = only
        self._output = output
        self._printing = threading.Lock()
        self._folders = steps.CheckFolders(root, root / "var" / "log" / "test")
        self._allowed = allowed_skips(root / "tests" / "allowed_skips.txt")

    def run(self) -> bool:
        """Run every step; return whether all is good."""
        shutil.rmtree(self._folders.output, ignore_errors=True)
        self._folders.output.mkdir(parents=True)
        viewer = ViewerBuild(self._root, site_packages=Environment(self._root).site_packages())
        # Pages are rendered with the built viewer, in tests as well.
        results = self._attempt("viewer-build", lambda: self._build(viewer))
        # Two lanes keep two cores busy; the browser comes last and alone, since it judges by time too.
        with ThreadPoolExecutor(2) as lanes:
            sources = lanes.submit(self._run_sources, viewer)
            tests = lanes.submit(self._run_all, steps.pytest_steps(self._folders, is_fast=self._is_fast))
            results += [*sources.result(), *tests.result()]
        if not self._is_fast:
            results += self._attempt("browser", self._run_browser)
        self._say(summary(results))
        return bool(results) and all(result.is_good for result in results)

    def _run_sources(self, viewer: ViewerBuild) -> list[StepResult]:
        return [
            *self._run_all(steps.lint_steps(self._folders)),
            *self._attempt("viewer", lambda: self._run_viewer(viewer)),
        ]

    def _build(self, viewer: ViewerBuild) -> list[StepResult]:
        if not self._only or self._only & {"tests", "browser"}:
            viewer.build()
        return []

    def _run_viewer(self, viewer: ViewerBuild) -> list[StepResult]:
        names = {"viewer-lint", "viewer-types", "viewer-tests"}
        if self._only and not names & self._only:
            return []
        return self._run_all(steps.viewer_steps(self._folders, viewer.install_packages()))

    def _run_browser(self) -> list[StepResult]:
        if self._only and "browser" not in self._only:
            return []
        return self._run_all([steps.browser_step(self._folders, chromium=chromium_path())])

    def _attempt(self, name: str, work: Callable[[], list[StepResult]]) -> list[StepResult]:
        """Turn what a machine lacks into a failed step, so that the other steps still count."""
        started_s = time.monotonic()
        try:
            return work()
        except InstallationError as refusal:
            self._say(f"--- {name}: {refusal}")
            return [StepResult(name, 0, 1, time.monotonic() - started_s, (str(refusal),))]

    def _run_all(self, wanted: Iterable[steps.Step]) -> list[StepResult]:
        return [self._run_step(step) for step in wanted if not self._only or step.name in self._only]

    def _run_step(self, step: steps.Step) -> StepResult:
        log_path = self._folders.output / f"{step.name}.log"
        started_s = time.monotonic()
        with log_path.open("wb") as log:
            done = subprocess.run(
                step.command,
                cwd=step.folder,
                env={**os.environ, **step.environment},
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
            )
        result = count_report(
            step.name,
            step.report,
            return_code=done.returncode,
            duration_s=time.monotonic() - started_s,
            allowed=self._allowed,
        )
        self._tell(result, log_path)
        return result

    def _tell(self, result: StepResult, log_path: Path) -> None:
        word = "good" if result.is_good else "FAILED"
        lines = [f"{result.name}: {word}, {duration_text(result.duration_s)}"]
        if not result.is_good:
            said = log_path.read_text(encoding="utf-8", errors="replace").splitlines()
            lines += [f"    {line}" for line in said[-_SHOWN_LINES:]]
            lines += [*result.notes, f"all of it: {log_path}"]
        self._say("\n".join(lines))

    def _say(self, text: str) -> None:
        with self._printing:
            self._output.write(f"{text}\n")
            self._output.flush()
