"""What an entry says, and what it holds in place of a person's particulars."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import UTC, datetime
from hashlib import sha256
from uuid import UUID

import pytest

from domain.records.journal import Change, Origin, entry_content, entry_hash, without_particulars

ADA = UUID(int=1)
ORIGIN = Origin(7, datetime(2026, 3, 1, 12, tzinfo=UTC), actor="key:abc", request_id="r-1", credential="c-1", on_behalf_of=UUID(int=2))
CHANGE = Change(
    "change_staff",
    "staff",
    ADA,
    2,
    before={"name": "Ada", "phone": None, "role": "keeper"},
    after={"name": "Łada", "phone": "12", "role": "vet"},
    personal=frozenset({"name", "phone"}),
)


def test_an_entrys_content_and_hash_are_the_same_in_every_version_of_the_service():
    change = Change("end_site", "site", ADA, 3, before={"note": "é"}, after={}, reason="sold")

    content = entry_content(change, origin=ORIGIN, position=4, previous="0" * 64)

    assert content == (
        '{"action":"end_site","actor":"key:abc","after":{},"at":"2026-03-01T12:00:00.000000Z","before":{"note":"é"},"credential":"c-1",'
        '"on_behalf_of":"00000000-0000-0000-0000-000000000002","organisation_id":7,"position":4,"previous":"' + "0" * 64 + '",'
        '"reason":"sold","request_id":"r-1","subject":"site","subject_id":"00000000-0000-0000-0000-000000000001","version":3}'
    )
    assert entry_hash(content) == sha256(b"reedbed-journal-1\n" + content.encode()).hexdigest()


@pytest.mark.parametrize(("own", "of_origin", "kept"), [("sold", "tidying", "sold"), (None, "tidying", "tidying"), (None, None, None)])
def test_the_reason_of_a_change_itself_goes_before_that_of_the_request(own, of_origin, kept):
    origin = Origin(7, ORIGIN.at, actor="a", request_id="r", reason=of_origin)

    content = entry_content(Change("end_site", "site", ADA, 3, {}, {}, reason=own), origin=origin, position=1, previous="")

    assert json.loads(content)["reason"] == kept


def test_particulars_are_kept_beside_the_entry_under_a_salt_of_sixteen_bytes_each():
    change, kept = without_particulars(CHANGE)

    assert [(one.part, one.field, one.value) for one in kept] == [
        ("before", "name", '"Ada"'),
        ("after", "name", '"Łada"'),
        ("after", "phone", '"12"'),
    ]
    assert all(re.fullmatch(r"[0-9a-f]{32}", one.salt or "") for one in kept)
    assert len({one.salt for one in kept}) == 3
    hashed = [{"sha256_salted": sha256(f"{one.salt}\n{one.value}".encode()).hexdigest()} for one in kept]
    assert change.before == {"name": hashed[0], "phone": None, "role": "keeper"}
    assert change.after == {"name": hashed[1], "phone": hashed[2], "role": "vet"}


def test_a_change_without_particulars_stays_as_it_is():
    change = Change("change_site", "site", ADA, 2, before={"note": "a"}, after={"note": "b"})

    assert without_particulars(change) == (change, [])


@pytest.mark.parametrize("action", ["erase_staff", "erase_account"])
def test_of_a_change_that_erases_nothing_is_kept_and_what_takes_the_place_is_said_openly(action):
    change, kept = without_particulars(replace(CHANGE, action=action, after={"name": "former staff", "phone": None}))

    assert [(one.part, one.field, one.salt, one.value) for one in kept] == [("before", "name", None, None)]
    assert change.before.keys() == CHANGE.before.keys()
    assert change.before["name"].keys() == {"sha256_salted"}
    assert change.after == {"name": "former staff", "phone": None}
