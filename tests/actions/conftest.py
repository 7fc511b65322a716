"""Ways around the service, for tests that have to see that nothing goes unseen."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from domain.records.engine import Store, open_store
from tests.behind import Behind, postgres_behind, sqlite_behind
from tests.postgres_server import url_for


@pytest.fixture
def tampering(store: Store, request: pytest.FixtureRequest) -> Iterator[Behind]:
    """Yield a way to change the database behind the service's back."""
    if store.dialect == "sqlite":
        with sqlite_behind(store) as run:
            yield run
        return
    with postgres_behind(store, request.getfixturevalue("postgres_url")) as run:
        yield run


@pytest.fixture
def owners_store(store: Store, request: pytest.FixtureRequest) -> Iterator[Store]:
    """Yield the store as the role that owns the tables signs in to it; on SQLite there are no roles."""
    if store.dialect == "sqlite":
        yield store
        return
    url = url_for(request.getfixturevalue("postgres_url"), database=store.url.database, role="reedbed_owner")
    opened = open_store(url, pool_size=2)
    yield opened
    opened.close()
