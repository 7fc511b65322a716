"""The service as a whole: unknown paths and methods, health, headers, other origins, and faults of our own."""

from __future__ import annotations

import re
import threading

import pytest
from anyio.from_thread import start_blocking_portal

from api.app import build_app
from api.settings import Settings
from domain.records.engine import open_store
from tests import makers


def test_an_unknown_path_is_a_problem(client):
    answer = client.get("/v1/castles")

    assert answer.status_code == 404
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.json()["instance"] == "/v1/castles"


@pytest.mark.parametrize("path", ["/", "/v1", "/v1/", "/v1/sites/", "/v1/sites//end", "/v1/sites/x/y/z", "//", "/v2/sites", "/V1/sites"])
def test_no_path_but_the_described_ones_leads_anywhere(client, path):
    assert client.get(path).status_code == 404


@pytest.mark.parametrize(
    ("method", "path", "allowed"),
    [
        ("DELETE", "/v1/sites", "GET, HEAD, POST"),
        ("PUT", "/v1/sites/019ca945-0a00-7303-9a41-d18b21ab2c01", "GET, HEAD, PATCH"),
        ("GET", "/v1/sites/019ca945-0a00-7303-9a41-d18b21ab2c01/end", "POST"),
        ("POST", "/healthz", "GET, HEAD"),
    ],
)
def test_a_method_that_a_path_lacks_is_answered_with_those_it_has(client, method, path, allowed):
    answer = client.request(method, path)

    assert (answer.status_code, answer.headers["Allow"]) == (405, allowed)
    assert answer.json()["code"] == "method-not-allowed"


def test_head_is_get_without_the_body(client, site_id):
    full = client.get(f"/v1/sites/{site_id}")
    head = client.request("HEAD", f"/v1/sites/{site_id}")

    assert (head.status_code, head.content) == (200, b"")
    assert head.headers["Content-Length"] == full.headers["Content-Length"]
    assert head.headers["ETag"] == full.headers["ETag"]


def test_the_process_is_alive_and_ready_without_a_key(caller):
    assert caller(None).get("/healthz").json() == {"status": "alive"}
    assert caller(None).get("/readyz").json() == {"status": "ready"}


def test_a_database_of_another_version_is_not_ready(app, caller):
    visitor = caller(None)
    app.state.house.schema_head = "9999"

    answer = visitor.get("/readyz")

    assert (answer.status_code, answer.json()["code"], answer.headers["Retry-After"]) == (503, "not-ready", "1")
    assert visitor.get("/healthz").status_code == 200


def test_an_empty_database_is_not_ready(tmp_path, app, caller):
    visitor = caller(None)
    app.state.house.store = open_store(f"sqlite:///{tmp_path / 'empty.sqlite3'}")

    assert visitor.get("/readyz").status_code == 503

    app.state.house.store.close()


@pytest.mark.parametrize("path", ["/v1/sites", "/v1/castles", "/v1/sites?x=1"])
def test_every_answer_about_records_is_kept_from_caches_frames_and_guesses(client, path):
    headers = client.get(path).headers

    assert headers["Cache-Control"] == "no-store"
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert "frame-ancestors 'none'" in headers["Content-Security-Policy"]


@pytest.mark.parametrize(
    ("said", "kept"), [("abcdEF01-2345", True), ("short", False), ("x" * 65, False), ("with space", False), ("ż" * 9, False)]
)
def test_a_sane_request_id_is_kept(client, said, kept):
    answer = client.request("GET", "/v1/sites", headers={b"X-Request-Id": said.encode()})

    assert (answer.headers["X-Request-Id"] == said) == kept
    assert re.fullmatch("[A-Za-z0-9-]{8,64}", answer.headers["X-Request-Id"])


def test_a_fault_of_ours_is_a_problem_that_tells_nothing(app, client, site_id, caplog):
    app.state.house.clock = lambda: 1 / 0

    answer = client.request("POST", f"/v1/sites/{site_id}/end", json={"reason": "x"}, headers={"X-Request-Id": "request-0001"})
    app.state.house.clock = lambda: makers.NOON

    assert (answer.status_code, answer.json()["code"]) == (500, "defect")
    assert "ZeroDivision" not in answer.text
    assert answer.headers["Cache-Control"] == "no-store"
    assert "request-0001" in caplog.text
    assert "ZeroDivisionError" in caplog.text


def test_an_allowed_origin_may_call_and_read_the_headers(client):
    asked = {"Origin": "https://front.example", "Access-Control-Request-Method": "PATCH", "Access-Control-Request-Headers": "if-match"}
    preflight = client.request("OPTIONS", "/v1/sites", headers=asked)
    answer = client.get("/v1/sites", headers={"Origin": "https://front.example"})

    assert preflight.status_code == 200
    assert preflight.headers["Access-Control-Allow-Origin"] == "https://front.example"
    assert answer.headers["Access-Control-Allow-Origin"] == "https://front.example"
    for name in ("ETag", "Link", "Location", "Content-Disposition", "Retry-After", "X-Request-Id", "Idempotency-Replayed"):
        assert name in answer.headers["Access-Control-Expose-Headers"]


@pytest.mark.parametrize("origin", ["https://other.example", "http://front.example", "https://front.example.evil.example", "null"])
def test_no_other_origin_may(client, origin):
    assert "Access-Control-Allow-Origin" not in client.get("/v1/sites", headers={"Origin": origin}).headers


def test_without_allowed_origins_nobody_elsewhere_may(store):
    app = build_app(store, settings=Settings(), clock=lambda: makers.NOON)

    assert "Crossing" not in {layer.cls.__name__ for layer in app.user_middleware}


@pytest.mark.parametrize("path", ["/v1/sites/%00", "/v1/sites/%FF%FE", "/v1/sites/..%2f..", "/v1/sites/" + "9" * 3000, "/v1/%ED%A0%80"])
def test_no_path_however_odd_breaks_anything(client, path):
    assert client.get(path).status_code == 404


def test_unfinished_work_is_taken_up_at_the_start(app):
    resumed = threading.Event()
    app.state.resume.append(resumed.set)

    with start_blocking_portal() as portal, portal.wrap_async_context_manager(app.router.lifespan_context(app)):
        assert resumed.wait(5)


def test_a_caller_that_breaks_off_is_no_fault_of_ours(client, app, caplog):
    sent = []

    async def receive():
        return {"type": "http.disconnect"}

    async def send(message):
        sent.append(message)

    authorization = client._http.headers["Authorization"].encode()
    headers = [(b"authorization", authorization), (b"content-type", b"application/json")]
    scope = {"type": "http", "method": "POST", "path": "/v1/sites", "query_string": b"", "headers": headers}
    client._portal.call(app, scope, receive, send)

    assert sent == []
    assert "failed" not in caplog.text
