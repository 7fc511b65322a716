"""What every answer bears, on every route and whatever goes wrong; and the line that each request leaves."""

from __future__ import annotations

import errno
import io
import json
import shutil

import httpx
import pytest
from anyio.from_thread import start_blocking_portal

import migrations
from api.app import build_app
from api.errors import TooMany
from api.limits import Kind, Limits
from api.logs import FACTS, request_log
from api.settings import Settings
from domain.records.statements import ForeignRow
from tests import makers
from tests.api.conftest import ON_EVERY_ANSWER, refuse_unconforming

UNKNOWN_ID = "019ca945-0a00-7303-9a41-d18b21ab2c01"
TRACE_ID = "0af7651916cd43dd8448eb211c80319c"


@pytest.fixture(scope="module")
def migrated(tmp_path_factory):
    path = tmp_path_factory.mktemp("envelope") / "migrated.sqlite3"
    migrations.upgrade(f"sqlite:///{path}")
    return path


@pytest.fixture
def database_url(migrated, tmp_path):
    """Return the URL of an empty SQLite database: nothing here depends on which database it is."""
    return f"sqlite:///{shutil.copy(migrated, tmp_path)}"


@pytest.fixture
def lines():
    return io.StringIO()


@pytest.fixture
def app(store, settings, lines):
    return build_app(store, settings=settings, clock=lambda: makers.NOON, log=request_log(lines))


def logged(lines):
    return [json.loads(line) for line in lines.getvalue().splitlines()]


def every_route(app):
    """Return a method and a path that leads somewhere for every route."""
    described = app.openapi()["paths"]
    filled = {path: "/".join(UNKNOWN_ID if part.startswith("{") else part for part in path.split("/")) for path in described}
    return [(method.upper(), filled[path], path) for path, methods in described.items() for method in methods]


def test_every_route_answers_with_the_headers_whoever_asks_for_whatever(app, client, caller):
    """The client of these tests refuses an answer without them; here it is sent everywhere, with and without a key, well and badly."""
    routes = every_route(app)
    statuses = set()
    for who in (client, caller(None), caller("rbk_none_none")):
        for method, path, _ in routes:
            statuses.add(who.request(method, path).status_code)
            statuses.add(who.request(method, path, content=b"{", headers={"Content-Type": "application/json"}).status_code)
            statuses.add(who.request("DELETE", path).status_code)
            statuses.add(who.request("HEAD", path).status_code)

    assert len(routes) > 60
    assert {200, 401, 404, 405, 415, 428} <= statuses


def test_what_is_not_a_route_answers_with_them_too(app, client):
    for path in ("/", "/docs", "/docs/start.js", "/openapi.json", "/nothing", "/v1/nothing"):
        client.get(path)
    preflight = {"Origin": "https://front.example", "Access-Control-Request-Method": "PATCH"}
    assert client.request("OPTIONS", "/v1/sites", headers=preflight).status_code == 200
    assert client.request("OPTIONS", "/v1/sites", headers={**preflight, "Origin": "https://other.example"}).status_code == 400


def test_an_answer_without_them_would_be_noticed(client, monkeypatch):
    answer = client.get("/healthz")
    for name in ON_EVERY_ANSWER:
        kept = answer.headers.pop(name)
        with pytest.raises(AssertionError, match=name):
            refuse_unconforming(answer)
        answer.headers[name] = kept
    answer.status_code = 404
    with pytest.raises(AssertionError):
        refuse_unconforming(answer)


def test_too_often_too_large_too_much_and_a_defect_bear_them(app, client):
    house = app.state.house
    assert client.post_raw("/v1/sites", b" " * 2_000_000).status_code == 413
    house.limits = Limits({Kind.CREDENTIAL: (1, 60)})
    client.get("/v1/sites")
    assert client.get("/v1/sites").status_code == 429
    house.limits = Limits({})
    house.draining.begun = True
    assert client.get("/readyz").status_code == 503
    house.draining.begun = False
    house.limits = None
    assert client.get("/v1/sites").status_code == 500


def test_pages_keep_their_own_policy_and_records_get_the_strictest(client):
    assert "script-src 'self'" in client.get("/docs").headers["Content-Security-Policy"]
    for path in ("/v1/sites", "/healthz", "/openapi.json"):
        assert client.get(path).headers["Content-Security-Policy"].endswith("; sandbox")


@pytest.mark.parametrize("behind_tls", [False, True])
def test_tls_is_demanded_where_it_ends_before_the_service(store, settings, behind_tls, caller, app):
    demanding = build_app(store, settings=Settings(behind_tls=behind_tls), clock=lambda: makers.NOON)
    visitor = caller(None)
    visitor._http._transport.app = demanding

    said = visitor.get("/healthz").headers.get("Strict-Transport-Security")

    assert said == ("max-age=63072000; includeSubDomains" if behind_tls else None)


@pytest.mark.parametrize("path", ["/docs", "/openapi.json", "/docs/start.js"])
def test_the_description_can_be_left_out(store, caller, path):
    visitor = caller(None)
    visitor._http._transport.app = build_app(store, settings=Settings(show_docs=False), clock=lambda: makers.NOON)

    assert visitor.get(path).status_code == 404


def test_only_the_names_of_the_service_are_answered_where_they_are_set(store, caller):
    visitor = caller(None)
    known = Settings(trusted_hosts=("reedbed.example", "[::1]"))
    visitor._http._transport.app = build_app(store, settings=known, clock=lambda: makers.NOON)

    def status(host, path="/nothing"):
        return visitor.get(path, headers={"Host": host}).status_code

    assert {status(host) for host in ("reedbed.example", "REEDBED.example:8000", "[::1]:8000", "[::1]")} == {404}
    assert {status(host) for host in ("evil.example", "reedbed.example.evil.example", "reedbed.example@evil", "")} == {400}
    assert status("10.0.0.3", "/healthz") == 200


def test_a_request_leaves_one_line_that_says_who_asked_for_what_and_how_it_went(client, site_id, lines):
    traced = {"traceparent": f"00-{TRACE_ID}-b7ad6b7169203331-01", "X-Request-Id": "request-0001"}
    answer = client.get(f"/v1/sites/{site_id}?note=private", headers=traced)

    [line] = logged(lines)
    assert line.pop("ts").endswith("Z")
    assert line.pop("duration_ms") > 0
    assert line.pop("actor").startswith("key:")
    assert line == {
        "level": "info",
        "event": "request",
        "request_id": "request-0001",
        "trace_id": TRACE_ID,
        "organisation_id": makers.ORGANISATION,
        "route": "/v1/sites/{site_id}",
        "method": "GET",
        "status": answer.status_code,
        "bytes": len(answer.content),
        **({"code": answer.json()["code"]} if answer.status_code >= 400 else {}),
    }


def test_the_line_names_the_route_and_never_what_stands_in_the_path(client, lines):
    asked = [
        ("GET", "/healthz", "/healthz"),
        ("GET", "/nothing-private?x=private", "unknown"),
        ("GET", "/v1/sites/private", "/v1/sites/{site_id}"),
        ("GET", "/v1/imports/templates/private", "/v1/imports/templates/{kind}"),
        ("DELETE", "/v1/sites/private", "/v1/sites/{site_id}"),
    ]
    for method, path, _ in asked:
        client.request(method, path)

    assert [(line["method"], line["route"]) for line in logged(lines)] == [(method, route) for method, _, route in asked]
    assert "private" not in lines.getvalue()


@pytest.mark.parametrize(("wrong", "status", "level"), [("defect", 500, "error"), ("draining", 503, "warning")])
def test_what_goes_wrong_here_is_logged_louder(app, client, lines, wrong, status, level):
    if wrong == "defect":
        app.state.house.limits = None
        client.get("/v1/sites")
    else:
        app.state.house.draining.begun = True
        client.get("/readyz")

    [line] = logged(lines)
    assert (line["status"], line["level"]) == (status, level)


class FullDisk(io.StringIO):
    """Where nothing can be written."""

    def write(self, _text):
        raise OSError(errno.ENOSPC, "No space left on device")


def test_a_log_that_cannot_be_written_spoils_no_answer(store, settings):
    app = build_app(store, settings=settings, clock=lambda: makers.NOON, log=request_log(FullDisk()))
    with start_blocking_portal() as portal, portal.wrap_async_context_manager(app.router.lifespan_context(app)):
        http = httpx.AsyncClient(transport=httpx.ASGITransport(app=app), base_url="http://reedbed.test")

        assert portal.call(http.get, "/healthz").status_code == 200
    assert next(iter(app.state.house.metrics.families())).samples


FORGERIES = (
    b'00-"}\r\n{"ts":"2026","event":"forged"}',
    b"abcdefgh\r\nX-Forged: 1",
    b'request-1"}\n{"forged":1',
    b"\xe2\x80\xa8forged\xe2\x80\xa8",
    b"00-" + b"0" * 32 + b"-b7ad6b7169203331-01",
    b"ff-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01",
    b"00-0AF7651916CD43DD8448EB211C80319C-b7ad6b7169203331-01",
)


def test_no_header_makes_a_second_line_or_a_fact(app, caller, lines):
    """Straight into the application: a server would refuse most of these before."""
    visitor = caller(None)

    async def receive():
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message):
        pass

    for said in FORGERIES:
        headers = [(name, said) for name in (b"x-request-id", b"traceparent", b"host", b"user-agent", b"authorization", b"origin")]
        scope = {"type": "http", "method": "GET", "path": "/v1/sites", "query_string": said, "headers": headers}
        visitor._portal.call(app, scope, receive, send)

    assert len(logged(lines)) == len(FORGERIES)
    assert "forged" not in lines.getvalue()
    assert all(set(line) <= set(FACTS) - {"trace_id"} for line in logged(lines))


def test_requests_are_counted_by_route_method_and_class(app, client, site_id):
    metrics = app.state.house.metrics
    for path in (f"/v1/sites/{site_id}", f"/v1/sites/{UNKNOWN_ID}", "/nothing", "/other-nothing"):
        client.get(path)
    client.request("GET", "/v1/sites", headers={"Authorization": "Bearer no"})

    found = {
        (sample.labels["route"], sample.labels["status"]): sample.value
        for family in metrics.families()
        for sample in family.samples
        if sample.name == "reedbed_http_requests_total"
    }
    assert found == {
        ("/v1/sites/{site_id}", "2xx"): 1,
        ("/v1/sites/{site_id}", "4xx"): 1,
        ("unknown", "4xx"): 2,
        ("/v1/sites", "4xx"): 1,
    }
    assert metrics.in_flight == 0
    assert sum(times for (name, *_), times in metrics._counts.items() if name == "authn_failures") == 1


def test_replays_and_entries_are_counted(app, client):
    metrics = app.state.house.metrics
    site = {"name": "Second House", "zone": "Europe/Lisbon"}
    for _ in range(3):
        assert client.post("/v1/sites", site, Idempotency_Key="one").status_code == 201

    assert metrics.counted("idempotency_replays") == 2
    assert metrics.counted("journal_entries") == 1


def test_a_statement_on_foreign_rows_is_counted_as_such(app, client, monkeypatch):
    async def foreign(*_, **__):
        raise ForeignRow("a row of organisation 2 in a unit of 1")

    app.state.house.store.read = app.state.house.store.enter = foreign

    assert client.get("/v1/sites").status_code == 500
    assert app.state.house.metrics.counted("tenant_guard_violations") == 1


def test_whoever_asks_too_often_is_told_when_to_come_again_and_keeps_the_key(app, client):
    house = app.state.house
    house.limits = Limits({Kind.CREDENTIAL: (1, 60)})
    client.get("/v1/sites")
    site = {"name": "Second House", "zone": "Europe/Lisbon"}
    refused = client.post("/v1/sites", site, Idempotency_Key="one")
    house.limits = Limits({})
    taken = client.post("/v1/sites", {**site, "name": "Third House"}, Idempotency_Key="one")

    assert (refused.status_code, refused.json()["code"], refused.headers["Retry-After"]) == (429, "too-many-requests", "60")
    assert (taken.status_code, "Idempotency-Replayed" in taken.headers) == (201, False)
    assert house.metrics.counted("rate_limited") == 1


def test_an_organisation_has_its_own_limit_and_others_are_not_touched(app, client, stranger):
    app.state.house.limits = Limits({Kind.ORGANISATION: (2, 60)})

    assert [client.get("/v1/sites").status_code for _ in range(3)] == [200, 200, 429]
    assert stranger.get("/v1/sites").status_code == 200


def test_imports_have_a_limit_of_their_own(app, client):
    app.state.house.limits = Limits({Kind.IMPORT: (1, 3600)})
    form = {"files": {"file": ("a.csv", b"name,zone\nPond,Europe/Lisbon\n", "text/csv")}}

    first = client.request("POST", "/v1/imports?kind=sites", **form)
    second = client.request("POST", "/v1/imports?kind=sites", **form)

    assert (first.status_code, second.status_code) == (202, 429)
    assert client.get("/v1/imports").status_code == 200


def test_a_caller_without_a_proof_is_not_charged(app, caller):
    app.state.house.limits = Limits({Kind.CREDENTIAL: (1, 60), Kind.ORGANISATION: (1, 60)})

    assert {caller("rbk_none_none").get("/v1/sites").status_code for _ in range(3)} == {401}


def test_an_answer_while_the_service_stops_gives_the_connection_up(app, client):
    app.state.house.draining.begun = True

    assert client.get("/v1/sites").headers["Connection"] == "close"
    assert (client.get("/v1/sites").status_code, client.get("/readyz").json()["code"]) == (200, "draining")


def test_a_refusal_says_how_long_to_wait():
    assert TooMany("No.", retry_after_s=7).retry_after_s == 7
