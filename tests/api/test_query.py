"""A query string is read by name, strictly."""

from __future__ import annotations

import pytest

from api.errors import Malformed
from api.query import read_day, read_id, read_limit, read_query
from domain.errors import RuleBroken

ID = "019ca945-0a00-7303-9a41-d18b21ab2c01"


def test_plus_and_percent_are_read_as_text():
    assert read_query(b"name=Hall+A%2B&x=%C5%BB", {"name": str, "x": str}) == {"name": "Hall A+", "x": "Ż"}


@pytest.mark.parametrize(
    ("raw", "pointer", "code"),
    [
        (b"nmae=x", "/query/nmae", "unknown-parameter"),
        (b"limit=1&limit=1", "/query/limit", "repeated-parameter"),
        (b"limit=0", "/query/limit", "invalid-parameter"),
        (b"=x", "/query/", "unknown-parameter"),
    ],
)
def test_what_cannot_be_taken_is_named(raw, pointer, code):
    with pytest.raises(RuleBroken) as refused:
        read_query(raw, {"limit": read_limit})

    assert [(fault.pointer, fault.code) for fault in refused.value.faults] == [(pointer, code)]


def test_other_bytes_than_utf_8_are_malformed():
    with pytest.raises(Malformed):
        read_query(b"name=%FF", {"name": str})


@pytest.mark.parametrize("text", ["1", "50", "200"])
def test_a_page_holds_1_to_200(text):
    assert read_limit(text) == int(text)


@pytest.mark.parametrize("text", ["", "0", "201", "-1", "+5", "5.0", "5 ", "٥", "1e2", "99999999999999999999"])
def test_no_other_limit_is_taken(text):
    with pytest.raises(ValueError, match="from 1 to 200"):
        read_limit(text)


@pytest.mark.parametrize("text", ["", "2026-3-1", "2026-02-29", "20260301", "2026-03-01T00:00:00Z", "1899-12-31", "2201-01-01"])
def test_no_other_day_is_taken(text):
    with pytest.raises(ValueError, match="YYYY-MM-DD"):
        read_day(text)


@pytest.mark.parametrize("text", ["", "1", f"{{{ID}}}", f"urn:uuid:{ID}", ID.replace("-", ""), ID[:-1], f"{ID} "])
def test_an_id_has_one_form(text):
    with pytest.raises(ValueError, match="UUID"):
        read_id(text)


def test_an_id_may_be_in_capitals():
    assert str(read_id(ID.upper())) == ID
