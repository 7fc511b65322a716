"""What members of staff were assessed to be able to do."""

from __future__ import annotations

from datetime import date
from uuid import uuid4

import pytest

from domain.actions.competences import change_competence, end_competence
from domain.actions.recording import Ending
from domain.actions.staff import end_staff
from domain.errors import Conflict, NotAllowed, NotFound, RuleBroken
from domain.records.competences import Competence, CompetenceStated
from domain.records.engine import Store
from domain.records.journal import ENTRIES_AFTER, Origin
from domain.records.stated import read_stated
from domain.records.statements import json_text
from domain.rules.permissions import Reach
from tests import makers
from tests.behind import proven

pytestmark = pytest.mark.usefixtures("organisation")
GONE = Ending(reason="entered by mistake")


def test_a_competence_is_recorded_corrected_and_taken_out_of_account(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        member = makers.staff(unit, makers.site(unit))
        made = makers.competence(unit, member, assessed_by="B. Assessor")

        changed = change_competence(unit, made.id, {"expires_on": "2027-05-31"}, owner_id=member.id, expected_version=1)
        assert (changed.title, changed.assessed_by, changed.expires_on) == (made.title, "B. Assessor", date(2027, 5, 31))
        end_competence(unit, made.id, GONE, owner_id=member.id)
        assert unit.fetch(Competence, made.id).ended_on == makers.NOON.date()
        with pytest.raises(Conflict):
            end_competence(unit, made.id, GONE, owner_id=member.id)


def test_an_assessment_that_is_still_to_come_is_none(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        # NOON is 2 March 01:00 in Auckland.
        member = makers.staff(unit, makers.site(unit, zone="Pacific/Auckland"))

        made = makers.competence(unit, member, from_on="2026-03-02")
        with pytest.raises(RuleBroken, match="not come yet") as refused:
            makers.competence(unit, member, from_on="2026-03-03")
        assert (refused.value.code, refused.value.faults[0].pointer) == ("in-future", "/from_on")
        with pytest.raises(RuleBroken):
            change_competence(unit, made.id, {"from_on": "2026-03-03"}, owner_id=member.id, expected_version=1)
        whole = makers.staff(unit)
        assert makers.competence(unit, whole, from_on="2026-03-01").from_on == date(2026, 3, 1)
        with pytest.raises(RuleBroken):
            makers.competence(unit, whole, from_on="2026-03-02")


def test_a_competence_belongs_to_its_member_of_staff(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        member, other = makers.staff(unit), makers.staff(unit, name="B. Keeper")
        made = makers.competence(unit, member)

        with pytest.raises(NotFound):
            change_competence(unit, made.id, {"note": "n"}, owner_id=other.id, expected_version=1)
        with pytest.raises(NotFound):
            end_competence(unit, made.id, GONE, owner_id=other.id)
        with pytest.raises(NotFound):
            end_competence(unit, made.id, GONE, owner_id=uuid4())


def test_whoever_has_left_gets_no_competence(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        makers.staff(unit, name="C. Head", role="administrator")
        member = makers.staff(unit)
        end_staff(unit, member.id, GONE)

        with pytest.raises(Conflict, match="left on 2026-03-01"):
            makers.competence(unit, member)


def test_a_competence_of_staff_elsewhere_is_beyond_reach(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        here, there = makers.site(unit), makers.site(unit, name="Elsewhere")
        own, other = makers.staff(unit, here), makers.staff(unit, there, name="B. Keeper")
        whole = makers.staff(unit, name="C. Keeper")
        made = makers.competence(unit, other)
    bound = Origin(makers.ORGANISATION, makers.NOON, actor="test", request_id="test", reach=Reach(frozenset({here.id})))

    with store.transaction(bound) as unit:
        assert makers.competence(unit, own).staff_id == own.id
        for work in (
            lambda: makers.competence(unit, other),
            lambda: makers.competence(unit, whole),
            lambda: change_competence(unit, made.id, {"note": "n"}, owner_id=other.id, expected_version=1),
            lambda: end_competence(unit, made.id, GONE, owner_id=other.id),
        ):
            with pytest.raises(NotAllowed):
                work()


def test_an_end_before_the_beginning_is_refused() -> None:
    stated = {"title": "Hot room", "from_on": "2026-01-02", "expires_on": "2026-01-01"}

    with pytest.raises(RuleBroken) as refused:
        read_stated(CompetenceStated, json_text(stated))
    assert [fault.pointer for fault in refused.value.faults] == ["/expires_on"]


def test_the_journal_holds_only_hashes_of_what_is_said_of_a_person(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        makers.competence(unit, makers.staff(unit), title="Canary handling", assessed_by="Canary", note="canary")
    with store.snapshot(makers.origin()) as unit:
        entries = unit.named(ENTRIES_AFTER, after=0, limit=100)

    assert not [entry for entry in entries if "canary" in str(entry["content"]).lower()]
    assert proven(store).flaws == []
