"""What every route answers, and what none takes: told by the description, so that a new route is asked as well."""

from __future__ import annotations

import pytest

from api.docs import CONTENT_POLICY
from api.envelope import NO_FRAMES
from domain.rules.permissions import Role
from tests import makers
from tests.api.conftest import make_key
from tests.people import person, signed_in

UNKNOWN_ID = "019ca945-0a00-7303-9a41-d18b21ab2c01"
MEDIA = {
    "application/json",
    "application/problem+json",
    "application/pdf",
    "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "text/calendar; charset=utf-8",
    "text/css; charset=utf-8",
    "text/csv; charset=utf-8",
    "text/html; charset=utf-8",
    "text/javascript; charset=utf-8",
}


def every_route(app):
    """Return a method and a path for every route, the ones for people's eyes included."""
    described = app.openapi()["paths"]
    filled = {path: "/".join(UNKNOWN_ID if part.startswith("{") else part for part in path.split("/")) for path in described}
    pages = ["/docs", "/docs/start.js", "/docs/swagger-ui.css", "/docs/swagger-ui-bundle.js", "/openapi.json", "/nothing"]
    return [(method.upper(), filled[path]) for path, methods in described.items() for method in methods] + [("GET", page) for page in pages]


def test_every_answer_says_what_it_is_and_sends_nobody_elsewhere_and_sets_no_cookie(app, client):
    """Asked in plain text over HTTP, and with an ending slash as well."""
    told = {"set-cookie", "server", "x-powered-by", "refresh", "access-control-allow-origin", "access-control-allow-credentials"}
    routes = every_route(app)
    answers = {(method, path): client.request(method, path) for method, asked in routes for path in (asked, f"{asked}/")}
    media = {one: answer.headers["content-type"] for one, answer in answers.items() if answer.content}

    assert len(media) > 120
    assert {one: said for one, said in media.items() if said not in MEDIA} == {}
    assert {one: answer.status_code for one, answer in answers.items() if 300 <= answer.status_code < 400} == {}
    assert {one: found for one, answer in answers.items() if (found := told & set(answer.headers))} == {}


@pytest.mark.parametrize("policy", [NO_FRAMES, CONTENT_POLICY])
def test_a_policy_lets_nobody_frame_an_answer(policy):
    directives = policy[1].decode().split("; ")

    assert {"default-src 'none'", "object-src 'none'", "base-uri 'none'", "frame-ancestors 'none'"} <= set(directives)


def test_every_parameter_that_is_said_twice_is_refused(app, store, organisation, caller):
    client = signed_in(caller, person(store, role=Role.ADMINISTRATOR))
    described = [
        (path, one["name"])
        for path, methods in app.openapi()["paths"].items()
        for one in methods.get("get", {}).get("parameters", [])
        if one["in"] == "query"
    ]
    statuses = {
        (path, name): (answer.status_code, [fault["code"] for fault in answer.json()["errors"]])
        for path, name in described
        if "{" not in path
        for answer in [client.get(f"{path}?{name}=1&{name}=2")]
    }

    assert len(statuses) > 40
    cursors = {one: statuses.pop(one) for one in [*statuses] if one[1] == "cursor"}
    assert {one: said for one, said in statuses.items() if said[0] != 422 or "repeated-parameter" not in said[1]} == {}
    assert {said[0] for said in cursors.values()} <= {400, 422}


def test_no_proof_is_taken_from_an_address_a_cookie_or_a_body(store, organisation, caller):
    key = make_key(store, organisation_id=organisation)
    visitor = caller(None)
    names = ("key", "api_key", "token", "access_token", "authorization", "Authorization")
    said = {"Cookie": f"session={key}; Authorization=Bearer {key}", "X-Api-Key": key, "Proxy-Authorization": f"Bearer {key}"}
    elsewhere = [visitor.get(f"/v1/sites?{name}={key}") for name in names]
    elsewhere += [visitor.get("/v1/sites", headers={name: value}) for name, value in said.items()]
    elsewhere.append(visitor.request("GET", "/v1/sites", json={"key": key}))

    assert {answer.status_code for answer in elsewhere} == {401}
    assert caller(key).get("/v1/sites").status_code == 200


CODES_THAT_ARE_NAMES = {"/v1/marks", "/v1/jurisdictions", "/v1/requirements", "/v1/document-kinds"}
"""Lists that are filtered by a code that is printed everywhere: of a transponder, of a country, of a rule of the law."""


CAPABILITIES = {"/calendar/{token}.ics"}
"""Addresses that are themselves the proof: calendar programs can send no other."""


def test_no_secret_is_described_as_part_of_an_address(app):
    secret = ("password", "token", "secret", "code", "key", "authorization")
    named = {
        one["name"].lower()
        for path, methods in app.openapi()["paths"].items()
        for operation in methods.values()
        for one in operation.get("parameters", [])
        if one["in"] in {"query", "path"} and (one["name"] != "code" or path not in CODES_THAT_ARE_NAMES) and path not in CAPABILITIES
    }

    assert named
    assert {name for name in named if name in secret or name.endswith(("_password", "_token", "_secret"))} == set()


def test_no_hint_and_no_question_stands_for_a_password(app):
    fields = {name for schema in app.openapi()["components"]["schemas"].values() for name in schema.get("properties", ())}

    assert "current_password" in fields
    assert {name for name in fields if any(word in name for word in ("hint", "question", "remind", "maiden"))} == set()


def test_whoever_sent_a_request_of_no_kind_learns_nothing_of_the_inside(client):
    answer = client.post_raw("/v1/sites", b'{"name": 1e999}')

    assert answer.status_code in {400, 422}
    assert not any(word in answer.text.lower() for word in ("traceback", ".py", "sqlite", "psycopg", "pydantic", "select "))


def test_a_client_of_another_organisation_is_not_told_that_a_record_is_there(store, organisation, caller, site_id):
    makers.organisation(store, organisation_id=makers.OTHER_ORGANISATION, name="Saltings Aquarium")
    stranger = caller(make_key(store, organisation_id=makers.OTHER_ORGANISATION))

    there, nowhere = stranger.get(f"/v1/sites/{site_id}"), stranger.get(f"/v1/sites/{UNKNOWN_ID}")

    assert (there.status_code, nowhere.status_code) == (404, 404)
    assert there.json()["detail"] == nowhere.json()["detail"]


def test_an_address_in_an_answer_holds_what_was_asked_for_as_a_value_only(store, organisation, client):
    name = 'Pool>; rel="prev" &limit=200#%0d%0ajavascript:'
    with store.transaction(makers.origin()) as unit:
        for site in (makers.site(unit, name="Reedmere House"), makers.site(unit, name="Quillback Rescue")):
            makers.enclosure(unit, site, name=name)

    first = client.get("/v1/enclosures", params={"name": name, "limit": 1})
    address = first.headers["Link"].removeprefix("<").removesuffix('>; rel="next"')

    assert address.startswith("/v1/enclosures?")
    assert not set(address) & set('<>" #;')
    assert [one["name"] for one in client.get(address).json()["items"]] == [name]
