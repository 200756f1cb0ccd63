"""Fixtures for files that are built."""

import pytest


@pytest.fixture
def folder(tmp_path):
    """Return an empty folder, so that a test can say all that is in it."""
    path = tmp_path / "folder"
    path.mkdir()
    return path
