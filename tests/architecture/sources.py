"""The project's Python sources, read and parsed once for all architecture tests."""

from __future__ import annotations

import ast
import functools
import subprocess
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
APPS = ("annotations", "demo_fixtures", "frontend", "imaging")


@dataclass(frozen=True)
class Source:
    """One Python module."""

    path: Path
    text: str
    tree: ast.Module

    @property
    def name(self) -> str:
        return self.path.relative_to(ROOT).as_posix()

    @property
    def app(self) -> str:
        return self.path.relative_to(ROOT).parts[0]

    @property
    def is_test(self) -> bool:
        return self.app == "tests"

    def functions(self) -> list[ast.FunctionDef | ast.AsyncFunctionDef]:
        return [node for node in ast.walk(self.tree) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)]


@functools.cache
def committed_files() -> tuple[Path, ...]:
    """Return the files git knows or would add, or every file outside ignored folders without git."""
    command = ["git", "ls-files", "--cached", "--others", "--exclude-standard"]
    listed = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True).stdout.splitlines()
    return tuple(path for name in listed if (path := ROOT / name).is_file())


@functools.cache
def python_sources() -> tuple[Source, ...]:
    paths = [path for path in committed_files() if path.suffix == ".py" and "migrations" not in path.parts]
    texts = [(path, path.read_text(encoding="utf-8")) for path in paths]
    return tuple(Source(path, text, ast.parse(text)) for path, text in texts)


def app_sources() -> list[Source]:
    """Return the modules of the apps, without the tests."""
    return [source for source in python_sources() if source.app in APPS]
