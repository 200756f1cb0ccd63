"""Fixtures that many tests share."""

from pathlib import Path
from typing import Any

import pytest
from rest_framework.test import APIClient

# pytest-django brings a fixture of the same name; here ours is the nearer one.
from frontend.processes.pytest_plugin import django_db_modify_db_settings, embedded_database

__all__ = ["api", "data_folder", "django_db_modify_db_settings", "embedded_database"]


@pytest.fixture(autouse=True)
def data_folder(tmp_path: Path, settings: Any) -> Path:
    """Keep every file of a test in a folder of its own."""
    settings.DATA_DIR = tmp_path / "var"
    settings.DATA_DIR.mkdir()
    return Path(settings.DATA_DIR)


@pytest.fixture
def api() -> APIClient:
    """Return a client for the API that nobody is signed in with."""
    return APIClient()
