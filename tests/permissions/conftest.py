"""The service over a real database with two sites and another organisation on record."""

from __future__ import annotations

import pytest

from api.settings import Settings
from tests.api.conftest import app, caller
from tests.permissions.world import populated

__all__ = ["app", "caller"]


@pytest.fixture
def settings(tmp_path):
    return Settings(requests_per_minute=0, organisation_requests_per_minute=0, imports_per_hour=0, document_folder=tmp_path / "documents")


@pytest.fixture
def world(store, organisation, caller):
    return populated(store, caller)
