"""The whole service in the test's own process, over a store that something is done to."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from anyio.from_thread import start_blocking_portal

from api.app import build_app
from api.settings import Settings
from domain.records.engine import Store
from tests import makers
from tests.api.conftest import Client, make_key
from tests.faults.serving import UNLIMITED

SITE = {"name": "Reedmere House", "zone": "Europe/Lisbon"}


@contextmanager
def running(store: Store, *, key: str | None = None, pool_size: int = 8, wrap: Any = None) -> Iterator[Client]:
    """Yield a caller who may write, of a service that runs; ``wrap`` is put around it."""
    app = build_app(store, settings=Settings(pool_size=pool_size, **UNLIMITED), clock=lambda: makers.NOON)
    key = key or make_key(store, organisation_id=makers.ORGANISATION)
    with start_blocking_portal() as portal, portal.wrap_async_context_manager(app.router.lifespan_context(app)):
        yield Client(wrap(app) if wrap else app, portal, key=key)
