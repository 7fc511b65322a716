"""The service over a real database, called through its whole stack; the clock stands at ``makers.NOON``."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from functools import partial
from typing import Any

import httpx
import pytest
from anyio.from_thread import BlockingPortal, start_blocking_portal
from fastapi import FastAPI

from api.app import build_app
from api.bodies.problem import Problem
from api.settings import Settings
from api.signin import key_text, new_key_parts
from domain.actions.organisations import create_key
from domain.errors import StorageBusy
from domain.records.engine import Store
from domain.records.journal import Origin
from domain.records.organisations import Access, ApiKeyStated
from domain.records.unit import Unit
from tests import makers

ON_EVERY_ANSWER = {
    "X-Request-Id": "",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
    "Vary": "Authorization, Origin",
    "Content-Security-Policy": "default-src 'none'",
}


class Client:
    """A caller with a key."""

    def __init__(self, app: FastAPI, portal: BlockingPortal, *, key: str | None) -> None:
        self.app = app
        headers = {} if key is None else {"Authorization": f"Bearer {key}"}
        transport = httpx.ASGITransport(app=app, raise_app_exceptions=False)
        self._http = httpx.AsyncClient(transport=transport, base_url="http://reedbed.test", headers=headers)
        self._portal = portal

    def request(self, method: str, path: str, **rest: Any) -> httpx.Response:
        answer = self._portal.call(partial(self._http.request, method, path, **rest))
        refuse_unconforming(answer)
        return answer

    def get(self, path: str, **rest: Any) -> httpx.Response:
        return self.request("GET", path, **rest)

    def post(self, path: str, stated: Any, **headers: str) -> httpx.Response:
        return self.request("POST", path, json=stated, headers=_named(headers))

    def post_raw(self, path: str, raw: bytes, **headers: str) -> httpx.Response:
        return self.request("POST", path, content=raw, headers={"Content-Type": "application/json", **_named(headers)})

    def patch(self, path: str, stated: Any, **headers: str) -> httpx.Response:
        return self.request("PATCH", path, json=stated, headers=_named(headers))


def refuse_unconforming(answer: httpx.Response) -> None:
    """Fail where an answer lacks what every answer bears, or refuses in another form than a problem (RFC 9457)."""
    missing = [name for name, value in ON_EVERY_ANSWER.items() if name not in answer.headers or value not in answer.headers[name]]
    assert missing == [], f"{answer.request.method} {answer.request.url.path} answers without {missing}"
    if answer.status_code < 400:
        return
    if answer.request.url.path.startswith("/v/") and "text/html" in answer.request.headers.get("Accept", ""):
        assert answer.headers["Content-Type"] == "text/html; charset=utf-8"
        return
    assert answer.headers["Content-Type"] == "application/problem+json"
    assert answer.status_code not in {429, 503} or int(answer.headers["Retry-After"]) >= 1
    if answer.request.method != "HEAD":
        stated = Problem.model_validate_json(answer.content)
        assert (stated.status, stated.type) == (answer.status_code, f"urn:reedbed:problem:{stated.code}")


class BusyStore:
    """A store that a number of ``times`` is too busy for a transaction, after some for which it is free."""

    def __init__(self, store: Store, *, times: int, free_before: int = 0) -> None:
        self._store = store
        self._times = times
        self._free_before = free_before

    def transaction(self, origin: Origin) -> AbstractContextManager[Unit]:
        if self._free_before:
            self._free_before -= 1
        elif self._times:
            self._times -= 1
            raise StorageBusy("The database is busy.")
        return self._store.transaction(origin)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._store, name)


def _named(headers: dict[str, str]) -> dict[str, str]:
    return {name.replace("_", "-"): value for name, value in headers.items()}


def make_key(store: Store, *, organisation_id: int, access: Access = Access.WRITE, expires_on: Any = None) -> str:
    public_id, secret = new_key_parts()
    with store.transaction(makers.origin(organisation_id=organisation_id)) as unit:
        stated = ApiKeyStated(name="front end", access=access, expires_on=expires_on)
        create_key(unit, stated, public_id=public_id, secret=secret)
    return key_text(public_id, secret)


@pytest.fixture
def settings() -> Settings:
    return Settings(allowed_origins=("https://front.example",))


@pytest.fixture
def app(store: Store, settings: Settings) -> FastAPI:
    return build_app(store, settings=settings, clock=lambda: makers.NOON)


@pytest.fixture
def caller(app: FastAPI) -> Iterator[Callable[[str | None], Client]]:
    """Yield a function that makes a caller of the running service from a key."""
    with start_blocking_portal() as portal, portal.wrap_async_context_manager(app.router.lifespan_context(app)):
        yield lambda key: Client(app, portal, key=key)


@pytest.fixture
def client(store: Store, organisation: int, caller: Callable[[str | None], Client]) -> Client:
    """Return a caller who may write."""
    return caller(make_key(store, organisation_id=organisation))


@pytest.fixture
def stranger(store: Store, caller: Callable[[str | None], Client]) -> Client:
    """Return a caller of another organisation, who may write there."""
    makers.organisation(store, organisation_id=makers.OTHER_ORGANISATION, name="Saltings Aquarium")
    return caller(make_key(store, organisation_id=makers.OTHER_ORGANISATION))


@pytest.fixture
def site_id(store: Store, organisation: int) -> str:
    """Return the id of a site."""
    with store.transaction(makers.origin(organisation_id=organisation)) as unit:
        return str(makers.site(unit).id)
