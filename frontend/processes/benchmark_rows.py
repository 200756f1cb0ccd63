"""Collect and run the benchmarks: each module of tests/benchmarks names its rows in `ROWS`."""

from __future__ import annotations

import csv
import importlib
import json
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import IO, Any, Protocol

from frontend.installation.refusal import InstallationError

__all__ = ["BenchmarkRow", "collect_benchmarks", "run_benchmarks", "write_csv", "write_json"]

_PACKAGE = "tests.benchmarks"
_FIELDS = ("name", "measured", "unit", "reference", "ratio", "target", "met")


class BenchmarkRow(Protocol):
    """One measured figure; `ratio` and `met` follow from the others."""

    @property
    def name(self) -> str:
        """Say what was measured."""

    @property
    def measured(self) -> float:
        """Return the figure."""

    @property
    def unit(self) -> str:
        """Return its unit."""

    @property
    def reference(self) -> float | None:
        """Return what the same run measured for comparison, where there is such a thing."""

    @property
    def ratio(self) -> float | None:
        """Return measured over reference."""

    @property
    def target(self) -> float:
        """Return the bound for the ratio, or for the figure where there is no reference."""

    @property
    def met(self) -> bool:
        """Tell whether the bound holds."""


@dataclass(frozen=True)
class _Benchmark:
    """One thing to run that gives one row or several."""

    name: str
    run: Callable[[], Any]


def collect_benchmarks(root: Path, *, name: str | None) -> list[_Benchmark]:
    """Return the benchmarks whose own or whose module's name begins with `name`; all without one."""
    found = []
    for path in sorted((root / "tests" / "benchmarks").glob("*.py")):
        if path.stem == "__init__":
            continue
        rows = getattr(importlib.import_module(f"{_PACKAGE}.{path.stem}"), "ROWS", None)
        if rows is not None:
            found += [_Benchmark(f"{path.stem}.{key}", run) for key, run in _named(rows)]
    wanted = [
        benchmark
        for benchmark in found
        if name is None or benchmark.name.startswith(name) or benchmark.name.split(".", 1)[1].startswith(name)
    ]
    if not wanted:
        names = ", ".join(benchmark.name for benchmark in found) or "none"
        raise InstallationError(f"There is no benchmark named {name}: choose among {names}.")
    return wanted


def run_benchmarks(benchmarks: Iterable[_Benchmark]) -> Iterator[BenchmarkRow]:
    """Yield the rows as they are measured, one benchmark after the other."""
    wanted = list(benchmarks)
    for number, benchmark in enumerate(wanted, start=1):
        sys.stderr.write(f"{number} of {len(wanted)}: {benchmark.name}\n")
        result = benchmark.run()
        yield from (result if isinstance(result, Iterable) else [result])


def write_csv(rows: Iterable[BenchmarkRow], output: IO[str]) -> int:
    """Write the table as CSV, line by line; return how many targets were missed."""
    writer = csv.writer(output, lineterminator="\n")
    writer.writerow(_FIELDS)
    missed = 0
    for row in rows:
        writer.writerow([_text(getattr(row, field)) for field in _FIELDS])
        output.flush()
        missed += not row.met
    return missed


def write_json(rows: Iterable[BenchmarkRow], output: IO[str]) -> int:
    """Write one line of JSON per row; return how many targets were missed."""
    missed = 0
    for row in rows:
        output.write(json.dumps({field: getattr(row, field) for field in _FIELDS}) + "\n")
        output.flush()
        missed += not row.met
    return missed


def _named(rows: Any) -> Iterator[tuple[str, Callable[[], Any]]]:
    """Yield name and function, for a mapping of names to functions or a sequence of functions."""
    if isinstance(rows, Mapping):
        yield from rows.items()
        return
    for row in rows:
        if callable(row):
            yield getattr(row, "__name__", type(row).__name__), row
        else:
            yield row.name, partial(list, [row])


def _text(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:.4g}" if isinstance(value, float) else str(value)
