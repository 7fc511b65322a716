"""The journal and the reading log, printed for whoever has to show them."""

from __future__ import annotations

import json
from uuid import uuid4

import pytest

from domain.actions.erasure import erase_staff
from domain.actions.reading_log import log_reading
from domain.actions.recording import Ending
from domain.actions.staff import end_staff, register_staff
from domain.records.staff import StaffStated
from domain.rules.permissions import Role
from tests import makers


def lines(marshlight, *words):
    status, out, _ = marshlight("journal", *words)
    assert status == 0
    return [json.loads(line) for line in out.splitlines()]


def test_every_entry_is_printed_with_who_and_what_and_the_particulars_beside_it(marshlight, records):
    with records() as unit:
        site = makers.site(unit)
        ada = register_staff(unit, StaffStated(name="Ada Quill", role=Role.KEEPER))

    printed = lines(marshlight)

    assert [one["position"] for one in printed] == list(range(1, len(printed) + 1))
    assert (printed[-2]["subject_id"], printed[-2]["after"]["name"]) == (str(site.id), site.name)
    assert printed[-1]["after"]["name"] == "Ada Quill"
    assert lines(marshlight, "--of", ada.id) == [printed[-1]]


def test_what_was_erased_is_printed_as_its_hash(marshlight, records):
    with records() as unit:
        ada = register_staff(unit, StaffStated(name="Ada Quill", role=Role.KEEPER))
        end_staff(unit, ada.id, Ending(reason="left"))
    with records() as unit:
        erase_staff(unit, ada.id, reason="asked for it")

    assert "Ada Quill" not in json.dumps(lines(marshlight, "--of", ada.id))


def test_who_read_what_is_printed_by_itself(marshlight, records):
    subject_id = uuid4()
    with records() as unit:
        log_reading(unit, "get_staff_member", subject_id=subject_id)

    [printed] = lines(marshlight, "--readings")

    assert (printed["action"], printed["subject_id"]) == ("get_staff_member", str(subject_id))


@pytest.mark.parametrize("word", ["x", ""])
def test_what_is_no_id_is_said(marshlight, word):
    status, _, err = marshlight("journal", "--of", word)

    assert (status, "is no id of a record" in err) == (2, True)
