"""Versions, media and sizes: what a request must say, and what it must not be."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import pytest

from api.settings import Settings

SITE = {"name": "Second House", "zone": "Europe/Lisbon"}


@pytest.fixture
def settings():
    return Settings(max_body_bytes=2000)


async def in_pieces(*pieces):
    for piece in pieces:
        yield piece


def test_a_read_bears_the_version_as_its_etag(client, site_id):
    assert client.get(f"/v1/sites/{site_id}").headers["ETag"] == '"1"'


@pytest.mark.parametrize("seen", ['"1"', 'W/"1"', '"7", "1"', "*"])
def test_a_version_that_the_caller_has_is_not_sent_again(client, site_id, seen):
    answer = client.get(f"/v1/sites/{site_id}", headers={"If-None-Match": seen})

    assert (answer.status_code, answer.content) == (304, b"")
    assert answer.headers["ETag"] == '"1"'


@pytest.mark.parametrize("seen", ['"2"', "1", '"11"', ""])
def test_any_other_version_is_sent(client, site_id, seen):
    assert client.get(f"/v1/sites/{site_id}", headers={"If-None-Match": seen}).status_code == 200


def test_a_change_raises_the_version(client, site_id):
    answer = client.patch(f"/v1/sites/{site_id}", {"note": "roof mended"}, If_Match='"1"')

    assert answer.status_code == 200
    assert answer.headers["ETag"] == '"2"'
    assert (answer.json()["version"], answer.json()["note"]) == (2, "roof mended")
    assert client.get(f"/v1/sites/{site_id}").content == answer.content


def test_a_change_of_nothing_leaves_the_version(client, site_id):
    assert client.patch(f"/v1/sites/{site_id}", {}, If_Match='"1"').headers["ETag"] == '"1"'


def test_null_puts_a_field_back(client, site_id):
    client.patch(f"/v1/sites/{site_id}", {"note": "x", "jurisdiction": "XR-LOW"}, If_Match='"1"')

    answer = client.patch(f"/v1/sites/{site_id}", {"note": None, "jurisdiction": None}, If_Match='"2"')

    assert (answer.json()["note"], answer.json()["jurisdiction"]) == ("", None)


def test_merge_patch_may_be_named(client, site_id):
    headers = {"If-Match": '"1"', "Content-Type": "application/merge-patch+json"}

    assert client.request("PATCH", f"/v1/sites/{site_id}", content=b'{"note": "x"}', headers=headers).status_code == 200


def test_a_change_has_to_say_of_what(client, site_id):
    assert client.patch(f"/v1/sites/{site_id}", {"note": "x"}).status_code == 428


@pytest.mark.parametrize("tag", ['"2"', 'W/"1"', '"abc"', '"0"', '"01"', '"99999999999999999999"'])
def test_a_change_of_another_version_is_stale(client, site_id, tag):
    answer = client.patch(f"/v1/sites/{site_id}", {"note": "x"}, If_Match=tag)

    assert (answer.status_code, answer.json()["code"]) == (412, "stale")


@pytest.mark.parametrize("tag", ["1", "", '"1', '"1", "2"', "*", "1.0"])
def test_what_is_no_etag_is_malformed(client, site_id, tag):
    assert client.patch(f"/v1/sites/{site_id}", {"note": "x"}, If_Match=tag).status_code == 400


def test_of_changes_at_the_same_time_one_is_made(client, site_id):
    def change(number):
        return client.patch(f"/v1/sites/{site_id}", {"note": f"note {number}"}, If_Match='"1"').status_code

    with ThreadPoolExecutor(8) as pool:
        statuses = sorted(pool.map(change, range(8)))

    assert statuses == [200] + [412] * 7


@pytest.mark.parametrize("raw", [b"[]", b"null", b'"x"', b"1"])
def test_a_correction_is_an_object(client, site_id, raw):
    headers = {"If-Match": '"1"', "Content-Type": "application/json"}

    answer = client.request("PATCH", f"/v1/sites/{site_id}", content=raw, headers=headers)

    assert answer.status_code == 422


@pytest.mark.parametrize(
    "media",
    [
        "",
        "text/plain",
        "application/xml",
        "application/merge-patch+json",
        "application/x-www-form-urlencoded",
        "application/json; charset=latin-1",
        "application/jsonp",
    ],
)
def test_a_body_of_another_kind_is_refused(client, media):
    answer = client.post_raw("/v1/sites", b'{"name": "x", "zone": "UTC"}', Content_Type=media)

    assert answer.status_code == 415


def test_a_body_of_no_stated_kind_is_refused(client):
    assert client.request("POST", "/v1/sites", content=b"{}").status_code == 415


@pytest.mark.parametrize("media", ["application/json", "Application/JSON; charset=UTF-8", 'application/json;charset="utf-8"'])
def test_json_in_utf_8_is_taken(client, media):
    assert client.post_raw("/v1/sites", b'{"name": "x", "zone": "UTC"}', Content_Type=media).status_code == 201


def test_a_compressed_body_is_refused(client):
    assert client.post_raw("/v1/sites", b"\x1f\x8b", Content_Encoding="gzip").status_code == 415


def body_of(length):
    empty = b'{"name": "x", "zone": "UTC", "note": ""}'
    return empty.replace(b'""', b'"' + b"n" * (length - len(empty)) + b'"')


@pytest.mark.parametrize(("length", "status"), [(1999, 201), (2000, 201), (2001, 413), (50_000, 413)])
def test_a_body_has_a_largest_size(client, length, status):
    assert client.post_raw("/v1/sites", body_of(length)).status_code == status


@pytest.mark.parametrize(("length", "status"), [(2000, 201), (2001, 413)])
def test_a_body_in_pieces_is_counted_as_it_arrives(client, length, status):
    raw = body_of(length)
    headers = {"Content-Type": "application/json"}

    answer = client.request("POST", "/v1/sites", content=in_pieces(raw[:900], b"", raw[900:]), headers=headers)

    assert "Content-Length" not in answer.request.headers
    assert answer.status_code == status


@pytest.mark.parametrize("said", ["2001", "-1", "x", "9" * 40])
def test_a_body_that_says_it_is_too_large_is_not_waited_for(client, said):
    headers = {"Content-Type": "application/json", "Content-Length": said}

    assert client.request("POST", "/v1/sites", content=in_pieces(b"{}"), headers=headers).status_code == 413


@pytest.mark.parametrize(
    ("raw", "code"),
    [(b"", "not-json"), (b'{"name": NaN}', "not-json"), (b'{"name": "a", "name": "b"}', "duplicate-field"), (b"[" * 1000, "too-deep")],
)
def test_a_malformed_body_is_400(client, raw, code):
    answer = client.post_raw("/v1/sites", raw)

    assert (answer.status_code, answer.json()["code"]) == (400, code)


@pytest.mark.parametrize(
    ("stated", "pointer"),
    [
        ({**SITE, "name": 5}, "/name"),
        ({**SITE, "name": None}, "/name"),
        ({**SITE, "name": " "}, "/name"),
        ({**SITE, "name": "a\u0000b"}, "/name"),
        ({**SITE, "name": "a\u202eb"}, "/name"),
        ({**SITE, "name": "x" * 121}, "/name"),
        ({**SITE, "zone": "Mars/Olympus"}, "/zone"),
        ({**SITE, "zone": "../etc/passwd"}, "/zone"),
        ({**SITE, "colour": "green"}, "/colour"),
        ({**SITE, "organisation_id": 1}, "/organisation_id"),
        ({**SITE, "version": 7}, "/version"),
        ({**SITE, "name_key": "x"}, "/name_key"),
        ({**SITE, "id": "5"}, "/id"),
        ({**SITE, "id": "6ba7b810-9dad-11d1-80b4-00c04fd430c8"}, "/id"),
        ({**SITE, "id": "8e03978e-40d5-43dd-bc93-6894a57f9324"}, "/id"),
        ({"zone": "UTC"}, "/name"),
    ],
)
def test_a_field_that_cannot_be_taken_is_named(client, stated, pointer):
    answer = client.post("/v1/sites", stated)

    assert answer.status_code == 422
    assert [error["pointer"] for error in answer.json()["errors"]] == [pointer]


def test_half_a_character_is_named(client):
    answer = client.post_raw("/v1/sites", b'{"name": "a\\ud800", "zone": "UTC"}')

    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == "/name"


def test_a_caller_may_bring_the_id(client):
    own = "01890a5d-ac96-774b-bcce-b302099a8057"

    answer = client.post("/v1/sites", {**SITE, "id": own})

    assert answer.json()["id"] == own
    assert answer.headers["Location"] == f"/v1/sites/{own}"
    assert client.post("/v1/sites", {**SITE, "name": "Third", "id": own}).status_code == 409


@pytest.mark.parametrize("name", ["<b>&amp; 'x'\"", "بركة القصب", "'; DROP TABLE site; --", "=1+1", "🐸", "%s {0} \\n"])
def test_text_is_kept_as_it_was_said(client, name):
    made = client.post("/v1/sites", {"name": name, "zone": "UTC"})

    assert client.get(made.headers["Location"]).json()["name"] == name
