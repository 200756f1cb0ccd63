"""The table of who may do what, written by hand, against what a running server answers."""

import csv
import json
import subprocess
import sys
from pathlib import Path

import pytest
from django.conf import settings
from django.urls import URLPattern, URLResolver, get_resolver

from frontend.access_check.cast import ROLES
from frontend.access_check.routes import ROUTES

TABLE = Path(__file__).with_name("access_table.csv")
#: Pages of the account library: they show a person only what is their own.
ACCOUNT_PREFIX = "account/"


def expected_answers():
    """Return the table as {(route, role, state): status}."""
    with TABLE.open(newline="") as file:
        return {(row["route"], role, row["state"]): row[role] for row in csv.DictReader(file) for role in ROLES}


def pattern_names(resolver, prefix=""):
    """Yield the name of every URL pattern but those of the account library."""
    for entry in resolver.url_patterns:
        route = prefix + str(entry.pattern)
        if isinstance(entry, URLResolver):
            yield from pattern_names(entry, route)
        elif isinstance(entry, URLPattern) and not route.startswith(ACCOUNT_PREFIX):
            yield entry.name or route


def test_every_route_of_the_server_is_in_the_table():
    asked = {route.name.split(" ")[0] for route in ROUTES}
    assert set(pattern_names(get_resolver())) - asked == set()


def test_the_table_has_a_row_for_everything_that_is_asked():
    rows = {route for route, _, _ in expected_answers()}
    assert rows == {route.label for route in ROUTES}


@pytest.mark.slow
def test_the_running_server_answers_as_the_table_says():
    command = [sys.executable, str(settings.BASE_DIR / "manage.py"), "access_table", "--json"]
    asked = subprocess.run(command, capture_output=True, text=True, timeout=900, check=True)
    rows = [json.loads(line) for line in asked.stdout.splitlines() if line.startswith("{")]
    answers = {(row["route"], row["role"], row["state"]): row["status"] for row in rows}
    differing = {
        key: (expected, answers.get(key))
        for key, expected in expected_answers().items()
        if answers.get(key) != expected
    }
    assert differing == {}
    assert len(answers) == len(expected_answers())
