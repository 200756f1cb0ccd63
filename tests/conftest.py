"""Fixtures that many tests share."""

from pathlib import Path
from typing import Any

import pytest
from rest_framework.test import APIClient


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
