"""Settings come from the environment."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from api.settings import Settings


def test_what_is_not_set_has_a_safe_value(monkeypatch):
    monkeypatch.delenv("REEDBED_DATABASE_URL", raising=False)

    settings = Settings()

    assert settings.database_url == "sqlite:///reedbed.sqlite3"
    assert settings.host == "127.0.0.1"
    assert settings.allowed_origins == ()


def test_the_environment_sets(monkeypatch):
    monkeypatch.setenv("REEDBED_ALLOWED_ORIGINS", '["https://front.example"]')
    monkeypatch.setenv("REEDBED_MAX_BODY_BYTES", "5000")

    assert Settings().allowed_origins == ("https://front.example",)
    assert Settings().max_body_bytes == 5000


def test_passwords_in_database_urls_are_not_shown():
    assert "secret" not in repr(Settings(database_url="postgresql://u:secret@h/d", owner_database_url="postgresql://o:secret@h/d"))


@pytest.mark.parametrize(("name", "value"), [("server_number", -1), ("server_number", 4096), ("port", 0), ("max_body_bytes", 0)])
def test_what_cannot_be_is_refused(name, value):
    with pytest.raises(ValidationError):
        Settings(**{name: value})
