"""Give the tests a database and a data folder of their own, never the user's.

The embedded server of `var/test` is started by the first test that wants a database. Each run
makes a database of its own, so that several runs do not meet.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest
from django.db import connections

from frontend.processes.database import EmbeddedDatabase
from frontend.processes.process_numbers import is_process

__all__ = ["django_db_modify_db_settings", "embedded_database"]

_ROOT = Path(__file__).resolve().parents[2]
_DATA = Path(os.environ.get("MAHLSTICK_TEST_DATA") or _ROOT / "var" / "test").resolve()
_PREFIX = "mahlstick_test_"
_DATABASE = EmbeddedDatabase(_DATA, is_disposable=True)

# Before anything reads the settings. Whatever a developer's own shell says is for the real thing.
os.environ["MAHLSTICK_DATA"] = str(_DATA)
os.environ["DATABASE_URL"] = _DATABASE.address
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
# Static files come from the sources; the folder for collected ones only has to exist.
(_DATA / "static").mkdir(parents=True, exist_ok=True)
for _name in [name for name in os.environ if name.startswith("MAHLSTICK_")]:
    if _name not in {"MAHLSTICK_DATA", "MAHLSTICK_TEST_DATA", "MAHLSTICK_BROWSER_DATA", "MAHLSTICK_CHROMIUM"}:
        del os.environ[_name]


@pytest.fixture(scope="session")
def embedded_database() -> Iterator[EmbeddedDatabase]:
    """Return the running embedded database of the tests."""
    _DATABASE.attach()
    _drop_left_over_databases()
    yield _DATABASE
    _DATABASE.release(is_awaited=True)


@pytest.fixture(scope="session")
def django_db_modify_db_settings(embedded_database: EmbeddedDatabase) -> None:
    """Name the database of this run; asked for by pytest-django before it makes one."""
    for name in connections:
        connections[name].settings_dict["TEST"]["NAME"] = f"{_PREFIX}{os.getpid()}"


def _drop_left_over_databases() -> None:
    """Remove the databases of runs that were killed."""
    with psycopg.connect(_DATABASE.address, autocommit=True) as connection:
        rows = connection.execute("SELECT datname FROM pg_database WHERE starts_with(datname, %s)", [_PREFIX])
        for (name,) in rows.fetchall():
            if not is_process(int(name.removeprefix(_PREFIX))):
                connection.execute(f'DROP DATABASE IF EXISTS "{name}" WITH (FORCE)')
