"""Everything that can be said is tried wrongly and unusually: nothing breaks, nothing is changed silently, both databases say the same.

By default every field is tried with what represents its kind, and one field of each kind with everything; ``REEDBED_ROUNDS=all`` tries
everything in every field.
"""

from __future__ import annotations

import json
import os
from collections import Counter
from dataclasses import replace
from uuid import UUID

import pytest
from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from pydantic import BaseModel

import migrations
from domain.records.engine import open_store
from tests.contract.conftest import Service, service_over
from tests.corpus.calling import Answer, Caller, Sent, started
from tests.corpus.fields import Bodies, Field
from tests.corpus.judging import complaints
from tests.corpus.values import HALVES, REPRESENTATIVE, for_kind, ids
from tests.postgres_server import url_for

EVERYTHING = os.environ.get("REEDBED_ROUNDS") == "all"
MOST_BYTES = 1_000_000
A_WORD = "@value@"


@pytest.fixture
def services(tmp_path, postgres_url, migrated_template, postgres_database):
    """Yield the service over SQLite and over PostgreSQL, with equal collections."""
    file = f"sqlite:///{tmp_path / 'reedbed.sqlite3'}"
    migrations.upgrade(file)
    server = url_for(postgres_url, database=postgres_database(migrated_template), role="reedbed_service")
    stores = [open_store(url, pool_size=2) for url in (file, server)]
    yield [service_over(store) for store in stores]
    for store in stores:
        store.close()


@pytest.fixture
def callers(services):
    with started((service.app, service.keys["marshlight"]) for service in services) as found:
        yield list(zip(services, found, strict=True))


def operations(service: Service):
    """Yield path, method and operation of what is described, what ends records last."""
    found = [(path, method, one) for path, methods in service.app.openapi()["paths"].items() for method, one in methods.items()]
    return sorted(found, key=lambda each: (each[0].endswith("/end"), each[0].endswith("/replacement")))


def filled(path: str, known: dict[str, str]) -> str:
    """Return a path with ids of records that there are."""
    if path.endswith(("/split", "/merge")):
        known = {**known, "animal_id": known["group_id"]}
    here = {**known, "reading_id": known["output_reading_id" if "output" in path else "hour_reading_id"]}
    for name in [part[1:-1] for part in path.split("/") if part.startswith("{")]:
        path = path.replace(f"{{{name}}}", here.get(name, "00000000-0000-7000-8000-000000000000"))
    return path


def with_raw(field: Field, raw: str) -> bytes:
    return json.dumps(field.body_with(A_WORD)).replace(f'"{A_WORD}"', raw).encode()


def sent_with(caller: Caller, *, method: str, path: str, body: bytes, **headers: bytes) -> Answer:
    """Send a body; a correction bears the version that the record has."""
    if method == "patch":
        headers["if-match"] = caller.send(Sent("GET", path)).headers.get("etag", '"1"').encode()
    return caller.send(Sent(method.upper(), path, body=body, headers=headers))


def read_again(caller: Caller, answer: Answer, *, method: str, path: str):
    """Return the record as it is on file, and make room for another of its name."""
    where = path if method == "patch" else answer.headers.get("location", "")
    if answer.status not in {200, 201} or not where.startswith("/v1/"):
        return None
    shown = caller.send(Sent("GET", where)).json
    if method == "post":
        caller.send(Sent("POST", f"{where}/end", body=b'{"reason": "room for the next"}'))
    return shown


def of_an_end(answer: Answer) -> Answer:
    """Return the answer to an end as it says what was sent: a record's own reason, where it has one, is another than that of its end."""
    if not isinstance(answer.json, dict) or not {"end_reason", "reason"} <= answer.json.keys():
        return answer
    said = {"reason": answer.json["end_reason"], "on": answer.json["ended_on"]}
    return replace(answer, body=json.dumps(said).encode())


def bodies_of(service: Service):
    """Yield each write operation with its path and method, its maker of bodies and its body's schema."""
    maker = Bodies(service.app.openapi(), service.known)
    for path, method, operation in operations(service):
        content = operation.get("requestBody", {}).get("content", {})
        if "application/json" in content:
            yield path, method, maker, content["application/json"]["schema"]


def tried(field: Field, whole: set[str], *, right: str) -> dict[str, str]:
    """Return what a field is tried with: everything for the first of its kind, else what represents it."""
    every = for_kind(field.kind, dict(field.schema), right=right)
    if EVERYTHING or field.kind not in whole:
        whole.add(field.kind)
        return every
    return {name: raw for name, raw in every.items() if name in REPRESENTATIVE}


@pytest.mark.timeout(3600 if EVERYTHING else 240)
def test_every_field_of_every_body_is_kept_as_sent_or_refused_by_name(callers):
    verdicts, wrong, kinds = [], [], Counter()
    for service, caller in callers:
        mine, whole = {}, set()
        for path, method, maker, schema in bodies_of(service):
            here = filled(path, service.known)
            for field in maker.fields(schema):
                right = service.known.get(str(field.place[-1]), service.known["site_id"])
                for name, raw in tried(field, whole if method == "post" else {*whole}, right=right).items():
                    answer = sent_with(caller, method=method, path=here, body=with_raw(field, raw))
                    shown = read_again(caller, answer, method=method, path=here)
                    answer = of_an_end(answer) if here.endswith("/end") else answer
                    case = f"{method} {path} {field.pointer} ({field.kind}) {name}"
                    wrong += [f"{case}: {one} {answer.verdict}" for one in complaints(field, name, raw, answer, shown)]
                    mine[case] = answer.verdict
                    kinds[field.kind, answer.status] += 1
        verdicts.append(mine)
    print(f"\n{len(verdicts[0])} bodies to each database: {dict(kinds)}")  # noqa: T201 - the figures

    assert wrong == []
    assert [f"{case}: {one} {verdicts[1].get(case)}" for case, one in verdicts[0].items() if verdicts[1].get(case) != one] == []
    assert len(verdicts[0]) >= 1_500


def whole_bodies(right: bytes, *, taken: set[str]) -> dict[str, tuple[bytes, dict[str, bytes | None], set[int]]]:
    """Return bodies that are wrong as a whole, what is different about their headers, and the statuses that refuse them."""
    name = json.loads(right)
    first = next(iter(name), "note")
    deep = b"[" * 32 + b"]" * 32
    found = {
        "nothing": (b"", {}, {400}),
        "blank": (b" \n", {}, {400}),
        "null": (b"null", {}, {422}),
        "a number": (b"5", {}, {422}),
        "a text": (b'"x"', {}, {422}),
        "a list": (b"[" + right + b"]", {}, {422}),
        "cut": (right[:-1], {}, {400}),
        "two": (right + right, {}, {400}),
        "a field twice": (right[:-1] + b"," * bool(name) + b'"%b": 1, "%b": 2}' % (first.encode(), first.encode()), {}, {400}),
        "an unknown field": (right[:-1] + b"," * bool(name) + b'"no_such_field": 1}', {}, {422}),
        "a prototype": (right[:-1] + b"," * bool(name) + b'"__proto__": {"x": 1}}', {}, {422}),
        "half a name": (right[:-1] + b"," * bool(name) + b'"\\ud800": 1}', {}, {422}),
        "33 deep": (right[:-1] + b"," * bool(name) + b'"no_such_field": ' + deep + b"}", {}, {400}),
        "a mark of byte order": (b"\xef\xbb\xbf" + right, {}, {400}),
        "UTF-16": (right.decode().encode("utf-16"), {}, {400}),
        "not UTF-8": (right[:-1] + b',"x": "\xff"}', {}, {400}),
        "a comment": (right[:-1] + b"/* */}", {}, {400}),
        "too large": (right + b" " * MOST_BYTES, {}, {413}),
        "too large by what it says": (right, {"content-length": b"1000001"}, {413}),
        "a length that is none": (right, {"content-length": b"-1"}, {413, 400}),
        "a form": (right, {"content-type": b"application/x-www-form-urlencoded"}, {415}),
        "text": (right, {"content-type": b"text/plain"}, {415}),
        "no kind": (right, {"content-type": None}, {415}),
        "another character set": (right, {"content-type": b"application/json; charset=latin-1"}, {415}),
        "compressed": (right, {"content-encoding": b"gzip"}, {415}),
    }
    for column in {"organisation_id", "version", "created_at", "ended_on", "name_key"} - taken:
        found[f"the column {column}"] = (right[:-1] + b"," * bool(name) + b'"%b": 9}' % column.encode(), {}, {422})
    return found


def test_every_body_that_is_wrong_as_a_whole_is_refused(callers):
    verdicts, wrong = [], []
    for service, caller in callers:
        mine = {}
        for path, method, maker, schema in bodies_of(service):
            right = json.dumps(maker.least(schema)).encode()
            for name, (body, headers, expected) in whole_bodies(right, taken=maker.names(schema)).items():
                answer = sent_with(caller, method=method, path=filled(path, service.known), body=body, **headers)
                case = f"{method} {path} {name}"
                mine[case] = answer.verdict
                if answer.status not in expected | {403} and not (answer.status == 404 and "00000000" in filled(path, service.known)):
                    wrong.append(f"{case}: {answer.verdict}")
        verdicts.append(mine)

    assert wrong == []
    assert verdicts[0] == verdicts[1]
    assert len(verdicts[0]) >= 27 * 20


IN_EVERY_QUERY = ("nothing", "NUL", "override", "not UTF-8", "statement", "large", "no such day", "braces", "cursor of another")


def pairs(name: str, *, whole: bool) -> dict[str, bytes]:
    """Return what a query parameter is tried with, as it stands in the query: all of it, or what every one is tried with."""
    key = name.encode()
    texts = {
        "nothing": b"",
        "blank": b"%20",
        "NUL": b"a%00b",
        "newline": b"a%0Ab",
        "override": b"%E2%80%AE",
        "not UTF-8": b"%FF",
        "half a character": b"%ED%A0%80",
        "statement": b"%27%20OR%201%3D1%20--",
        "patterns": b"%25_%5C",
        "astral": b"%F0%9F%90%8D",
        "right to left": b"%D7%A9",
        "markup": b"%3Cb%3E",
        "long": b"x" * 8000,
        "number": b"5",
        "true": b"true",
        "TRUE": b"TRUE",
        "minus one": b"-1",
        "zero": b"0",
        "201": b"201",
        "exponent": b"1e3",
        "point": b"1.0",
        "large": b"9" * 400,
        "other digits": b"%D9%A1",
        "underscore": b"1_0",
        "no such day": b"2026-02-29",
        "year 1": b"0001-01-01",
        "last day": b"9999-12-31",
        "five digits": b"10000-01-01",
        "instant": b"2026-02-01T00:00:00",
        "digits": b"20260201",
        "nil": b"00000000-0000-0000-0000-000000000000",
        "braces": b"%7B00000000-0000-0000-0000-000000000000%7D",
        "URN": b"urn:uuid:00000000-0000-0000-0000-000000000000",
        "no hyphens": b"0" * 32,
        "traversal": b"..%2F..%2Fetc%2Fpasswd",
        "cursor of nothing": b"e30",
        "cursor of another": b"eyJvZiI6ImFiIiwicmFuayI6MCwiaWQiOiIwMDAwMDAwMC0wMDAwLTAwMDAtMDAwMC0wMDAwMDAwMDAwMDAifQ",
        "cursor too far": b"eyJvZiI6ImFiIiwicmFuayI6OTk5OTk5OTk5OTk5LCJpZCI6IjAifQ",
    }
    return {
        **{said: key + b"=" + text for said, text in texts.items() if whole or said in IN_EVERY_QUERY},
        "twice": key + b"=1&" + key + b"=2",
        "no equals sign": key,
        "in other letters": key.upper() + b"=1",
        "as a list": key + b"[]=1",
    }


def test_every_query_parameter_is_read_strictly(callers):
    strange = {"unknown": b"no_such_parameter=1", "no name": b"=1", "NUL": b"%00=1", "prototype": b"__proto__[x]=1", "not UTF-8": b"%FF=1"}
    nothing = {"ampersands": b"&&&", "nothing": b""}
    verdicts, wrong = [], []
    for service, caller in callers:
        mine, met = {}, set()
        for path, method, operation in operations(service):
            if method != "get" or not path.startswith("/v1/"):
                continue
            here = filled(path, service.known)
            said = {one["name"]: one["schema"] for one in operation.get("parameters", ()) if one["in"] == "query"}
            every = {f"{name} {what}": pair for name in said for what, pair in pairs(name, whole=name not in met or EVERYTHING).items()}
            met |= {*said}
            for what, query in {**every, **strange, **nothing}.items():
                answer = caller.send(Sent("GET", here, query=query))
                case = f"{path} {what}"
                mine[case] = answer.verdict
                if answer.status >= 500 or (what in strange and answer.status not in {400, 422, 403}):
                    wrong.append(f"{case}: {answer.verdict}")
                if what.endswith((" twice", " NUL", " newline", " override", " no equals sign")) and answer.status == 200:
                    wrong.append(f"{case}: {answer.verdict}")
                if answer.status == 422 and not all(pointer.startswith("/query/") for pointer, _ in answer.verdict[2]):
                    wrong.append(f"{case} does not name the parameter: {answer.verdict}")
        verdicts.append(mine)

    assert wrong == []
    assert [(case, one, verdicts[1][case]) for case, one in verdicts[0].items() if verdicts[1][case] != one] == []
    assert len(verdicts[0]) >= 1_500


def test_every_id_in_a_path_has_one_form(callers):
    others = {
        **ids("0190a5d0-ac96-774b-bcce-b302099a8057"),
        "traversal": "..",
        "encoded": "%2e%2e",
        "long": "x" * 10_000,
        "percent": "%",
        "marks": "🐍",
    }
    verdicts, wrong = [], []
    for service, caller in callers:
        mine = {}
        for path, method, _ in operations(service):
            for name in [part for part in path.split("/") if part.startswith("{")]:
                for what, text in others.items():
                    here = filled(path.replace(name, "\x1f"), service.known).replace("\x1f", text)
                    sent = Sent(method.upper(), here, body=b"{}", headers={"if-match": b'"1"'})
                    answer = caller.send(sent)
                    mine[f"{method} {path} {name} {what}"] = answer.verdict
                    if answer.status not in {404, 405, 415, 422, 403}:
                        wrong.append(f"{method} {here[:80]}: {answer.verdict}")
        verdicts.append(mine)

    assert wrong == []
    assert verdicts[0] == verdicts[1]


HEADERS = {
    "nothing": b"",
    "blank": b" ",
    "quotation mark": b'"',
    "weak": b'W/"1"',
    "star": b"*",
    "zero": b'"0"',
    "minus": b'"-1"',
    "2^63": b'"9223372036854775808"',
    "400 digits": b'"' + b"9" * 400 + b'"',
    "several": b'"1", "2"',
    "NUL": b"a\0b",
    "high": b"\xff\xfe",
    "UTF-8": "é🐍".encode(),
    "half a character": b"\xed\xa0\x80",
    "long": b"x" * 8000,
    "tab": b"a\tb",
    "escape": b"\x1b[31m",
    "line": b'x\r\n{"level": "error"}',
    "statement": b"' OR 1=1 --",
}


def test_every_header_that_is_read_may_hold_anything(callers):
    verdicts, wrong = [], []
    for service, caller in callers:
        mine, known = {}, service.known
        fields = (
            "if-match",
            "if-none-match",
            "idempotency-key",
            "x-request-id",
            "traceparent",
            "authorization",
            "content-type",
            "origin",
            "host",
        )
        described = {
            one["name"].lower() for _, _, each in operations(service) for one in each.get("parameters", ()) if one["in"] == "header"
        }
        for header in sorted({*fields, *described}):
            for what, value in HEADERS.items():
                for method, path in (
                    ("GET", f"/v1/sites/{known['site_id']}"),
                    ("PATCH", f"/v1/sites/{known['site_id']}"),
                    ("POST", "/v1/taxa"),
                ):
                    usual = {"if-match": b'"1"'} if method == "PATCH" else {}
                    answer = caller.send(Sent(method, path, body=b'{"note": 5}', headers={**usual, header: value}))
                    mine[f"{method} {header} {what}"] = answer.verdict
                    if answer.status >= 500 or (header == "authorization" and answer.status != 401):
                        wrong.append(f"{method} {header} {what}: {answer.verdict}")
        verdicts.append(mine)

    assert wrong == []
    assert verdicts[0] == verdicts[1]


class Lenient(BaseModel):
    """A body as it is read without strictness: what looks like a number is one, and what is not known is let through."""

    name: str
    site_id: UUID
    least_gap_days: int = 14
    note: str = ""


def lenient_app() -> FastAPI:
    app = FastAPI()
    kept: dict[str, dict[str, object]] = {}

    @app.exception_handler(RequestValidationError)
    async def refused(request: Request, invalid: RequestValidationError):
        errors = [{"pointer": f"/{error['loc'][-1]}", "code": error["type"]} for error in invalid.errors()]
        return JSONResponse({"code": "invalid", "errors": errors}, status_code=422)

    @app.post("/v1/life-support-systems", status_code=201)
    def register(body: Lenient):
        kept["1"] = json.loads(body.model_dump_json())
        return kept["1"]

    return app


def test_a_door_that_reads_leniently_is_found_out(services):
    described = services[0].app.openapi()
    schema = described["paths"]["/v1/life-support-systems"]["post"]["requestBody"]["content"]["application/json"]["schema"]
    found = Counter()

    with started([(lenient_app(), "none")]) as (caller,):
        for field in Bodies(described, services[0].known).fields(schema):
            every = for_kind(field.kind, dict(field.schema), right=services[0].known["site_id"])
            for name, raw in [each for each in every.items() if each[0] not in HALVES]:
                answer = caller.send(Sent("POST", "/v1/life-support-systems", body=with_raw(field, raw)))
                if complaints(field, name, raw, answer, None):
                    found[field.pointer, name] += 1

    assert {("/least_gap_days", "text"), ("/least_gap_days", "true"), ("/least_gap_days", "whole with a point")} & set(found)
    assert {("/site_id", "braces"), ("/site_id", "no hyphens"), ("/name", "NUL"), ("/name", "override"), ("/note", "escape")} <= set(found)
