"""The service over a SQLite database: nothing here depends on which database it is."""

from __future__ import annotations

import shutil

import pytest

from tests.api.conftest import app, caller, client, settings, site_id

__all__ = ["app", "caller", "client", "settings", "site_id"]


@pytest.fixture
def database_url(migrated_file, tmp_path):
    return f"sqlite:///{shutil.copy(migrated_file, tmp_path / 'reedbed.sqlite3')}"
