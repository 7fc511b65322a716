"""Records go when the longest rule lets them, nothing holds them and nothing that stays refers to them; the journal proves afterwards."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any
from uuid import UUID

import pytest
import sqlalchemy as sa

from domain.actions import reading_log
from domain.actions.accounts import Code, register_account
from domain.actions.reading_log import log_reading
from domain.actions.readings import record_hours
from domain.actions.recording import Ending
from domain.actions.retention import (
    ANSWERS_KEPT,
    LettingGo,
    change_legal_hold,
    change_retention_rule,
    end_legal_hold,
    end_retention_rule,
    let_go,
    register_legal_hold,
    register_retention_rule,
)
from domain.actions.sites import register_site
from domain.actions.staff import register_staff
from domain.actions.taxa import register_taxon
from domain.errors import Conflict, RuleBroken
from domain.records.accounts import Account, AccountStated
from domain.records.base import table_of
from domain.records.engine import Store
from domain.records.equipment import Equipment, HourReading, HourReadingStated
from domain.records.journal import JournalEntry, ReadingLog
from domain.records.nights import Report, ReportKind, WorkState
from domain.records.organisations import Idempotency
from domain.records.retention import LegalHoldStated, RetentionRuleStated
from domain.records.sites import Site, SiteStated
from domain.records.staff import Staff, StaffStated
from domain.records.statements import Statement
from domain.records.taxa import Taxon, TaxonRank, TaxonStated
from domain.records.unit import Unit
from domain.rules.permissions import Role
from tests import makers
from tests.behind import proven

pytestmark = pytest.mark.usefixtures("organisation")

_site, _entry, _log, _answer = (table_of(one) for one in (Site, JournalEntry, ReadingLog, Idempotency))
SITES, ENTRIES, READINGS = (
    Statement(sa.select(table).where(table.c.organisation_id == sa.bindparam("organisation_id"))) for table in (_site, _entry, _log)
)
KEEP_ANSWER = Statement(sa.insert(_answer))
TODAY = makers.NOON.date()
YEARS_AGO = date(2023, 2, 28)


def rule(unit: Unit, kind: str, months: int, **stated: Any) -> Any:
    return register_retention_rule(unit, RetentionRuleStated(kind=kind, keep_months=months, source="Fictional Act, s. 4", **stated))


def hold(unit: Unit, **stated: Any) -> Any:
    return register_legal_hold(unit, LegalHoldStated(why="case 7", **stated))


def site(unit: Unit, name: str, *, ended_on: date | None = YEARS_AGO) -> Site:
    made = register_site(unit, SiteStated(name=name, zone="UTC"))
    return unit.change(made, {"ended_on": ended_on, "end_reason": "closed"}, action="end_site") if ended_on else made


def run(store: Store, *, today: date = TODAY) -> LettingGo:
    with store.transaction(makers.origin(request_id="retention")) as unit:
        return let_go(unit, today=today)


def names(store: Store) -> set[str]:
    with store.snapshot(makers.origin()) as unit:
        return {one.name for one in unit.all(Site, SITES)}


@pytest.mark.parametrize(
    ("months", "in_force_from", "goes"),
    [
        ([36], None, True),
        ([37], None, False),
        ([12, 37], None, False),
        ([12, 36], None, True),
        ([36], TODAY, True),
        ([36], TODAY + timedelta(days=1), False),
    ],
)
def test_the_longest_rule_in_force_decides(store, owners_store, months, in_force_from, goes):
    with store.transaction(makers.origin()) as unit:
        site(unit, "Old Hall")
        for one in months:
            rule(unit, "site", one, in_force_from=in_force_from)

    # Ended on the last of February 2023; 36 months later it is the last of February 2026, a day ago.
    found = run(owners_store)

    assert (found.let_go, names(store)) == (({"site": 1}, set()) if goes else ({}, {"Old Hall"}))
    assert proven(store).flaws == []


def test_a_rule_for_the_future_counts_neither_to_keep_nor_to_let_go(store, owners_store):
    with store.transaction(makers.origin()) as unit:
        site(unit, "Old Hall")
        rule(unit, "site", 12)
        rule(unit, "site", 600, in_force_from=TODAY + timedelta(days=1))

    assert run(owners_store).let_go == {"site": 1}


def test_what_has_no_rule_or_has_not_ended_or_whose_rule_ended_stays(store, owners_store):
    with store.transaction(makers.origin()) as unit:
        site(unit, "Old Hall")
        site(unit, "Open Hall", ended_on=None)
        register_taxon(unit, TaxonStated(scientific_name="Fictiva", rank=TaxonRank.GENUS))
        rule(unit, "animal", 1)
        end_retention_rule(unit, rule(unit, "site", 1).id, Ending(reason="repealed"))

    assert run(owners_store) == LettingGo({}, [], 0)
    assert names(store) == {"Old Hall", "Open Hall"}


@pytest.mark.parametrize("held", ["the record", "its kind", "everything", "another"])
def test_a_hold_wins_until_it_is_lifted(store, owners_store, held):
    with store.transaction(makers.origin()) as unit:
        old, other = site(unit, "Old Hall"), site(unit, "New Hall", ended_on=None)
        rule(unit, "site", 1)
        stated = {"the record": {"subject_id": old.id}, "its kind": {"kind": "site"}, "everything": {}, "another": {"subject_id": other.id}}
        made = hold(unit, **stated[held])

    found = run(owners_store)

    if held == "another":
        assert found.let_go == {"site": 1}
        return
    assert (found.let_go, [(kept.subject_id, kept.why) for kept in found.kept]) == ({}, [(old.id, "held: case 7")])
    with store.transaction(makers.origin()) as unit:
        end_legal_hold(unit, made.id, Ending(reason="case closed"))
    assert run(owners_store).let_go == {"site": 1}


def test_what_is_held_and_how_long_a_kind_is_kept_is_corrected_as_far_as_that_is_safe(store):
    with store.transaction(makers.origin()) as unit:
        held, kept = hold(unit, kind="site"), rule(unit, "site", 12)
        assert change_legal_hold(unit, held.id, {"why": "case 8"}, expected_version=1).why == "case 8"
        with pytest.raises(Conflict, match="Register another hold"):
            change_legal_hold(unit, held.id, {"kind": "animal"}, expected_version=2)
        assert change_retention_rule(unit, kept.id, {"keep_months": 24}, expected_version=1).keep_months == 24
        with pytest.raises(RuleBroken, match="There is no such kind of record; there are: account, "):
            hold(unit, kind="unicorn")
        with pytest.raises(RuleBroken, match="reading_log"):
            change_retention_rule(unit, kept.id, {"kind": "unicorn"}, expected_version=2)


@pytest.fixture
def worn(store: Store) -> tuple[Site, Equipment, HourReading]:
    """Return a site, an item that ended there long ago, and a reading of it that never ended by itself."""
    with store.transaction(makers.origin()) as unit:
        at = makers.site(unit)
        item = makers.equipment(unit, makers.model(unit), at, installed_on="2022-01-01")
        reading = record_hours(unit, item.id, HourReadingStated(read_on=date(2022, 2, 1), counter_h=10.0))
        unit.change(item, {"ended_on": YEARS_AGO, "end_reason": "worn"}, action="end_equipment")
        unit.change(at, {"ended_on": YEARS_AGO, "end_reason": "closed"}, action="end_site")
    return at, item, reading


def test_what_is_referred_to_by_what_stays_stays_and_is_named(store, owners_store, worn):
    at, item, _ = worn
    with store.transaction(makers.origin()) as unit:
        rule(unit, "equipment", 12)
        rule(unit, "site", 12)

    found = run(owners_store)

    assert found.let_go == {}
    assert {(kept.kind, kept.subject_id, kept.why) for kept in found.kept} == {
        ("equipment", item.id, "still referred to by 1 hour reading"),
        ("site", at.id, "still referred to by 1 equipment"),
    }


def test_readings_end_with_their_item_and_everything_goes_in_one_run(store, owners_store, worn):
    with store.transaction(makers.origin()) as unit:
        for kind in ("hour_reading", "equipment", "site"):
            rule(unit, kind, 12)

    assert run(owners_store).let_go == {"hour_reading": 1, "equipment": 1, "site": 1}
    assert proven(store).flaws == []


def test_what_holds_an_item_holds_its_readings(store, owners_store, worn):
    _, item, reading = worn
    with store.transaction(makers.origin()) as unit:
        rule(unit, "hour_reading", 12)
        hold(unit, subject_id=item.id)

    assert [(kept.subject_id, kept.why) for kept in run(owners_store).kept] == [(reading.id, "held: case 7")]


def test_a_tree_of_one_kind_goes_leaves_first_whatever_the_order_of_their_ids(store, owners_store):
    ids = [UUID(int=number) for number in (2, 3, 1)]
    with store.transaction(makers.origin()) as unit:
        parent = None
        for number, own in enumerate(ids):
            stated = TaxonStated(scientific_name=f"Fictiva {number}", rank=TaxonRank.GENUS, parent_id=parent)
            made = register_taxon(unit, stated, record_id=own)
            unit.change(made, {"ended_on": YEARS_AGO, "end_reason": "merged"}, action="end_taxon")
            parent = None
        for child, of in zip(ids[1:], ids, strict=False):
            unit.change(unit.fetch(Taxon, child), {"parent_id": of}, action="change_taxon")
        rule(unit, "taxon", 12)

    assert run(owners_store).let_go == {"taxon": 3}


def test_a_paper_is_kept_from_its_day_on_and_goes_with_its_files(store, owners_store):
    with store.transaction(makers.origin(at=makers.NOON.replace(year=2023))) as unit:
        at = makers.site(unit)
        paper = Report(
            organisation_id=unit.organisation_id, id=unit.new_id(), created_at=unit.origin.at, kind=ReportKind.REPLACEMENT_DUE,
            site_id=at.id, local_date=TODAY, state=WorkState.DONE,
        )  # fmt: skip
        unit.add(paper, action="ask_for_report")
        rule(unit, "report", 36)

    assert run(owners_store, today=TODAY - timedelta(days=1)).let_go == {}
    assert run(owners_store).let_go == {"report": 1}
    assert proven(store).flaws == []


def test_a_last_entry_stays_and_a_record_may_come_back_under_its_id(store, owners_store):
    with store.transaction(makers.origin()) as unit:
        old = site(unit, "Old Hall")
        rule(unit, "site", 36)
    run(owners_store)

    with store.transaction(makers.origin()) as unit:
        last = max(unit.named(ENTRIES), key=lambda one: one["position"])
        assert ('"action":"let_go"' in last["content"], '"reason":"kept for 36 months"' in last["content"]) == (True, True)
        register_site(unit, SiteStated(name="Old Hall", zone="UTC"), record_id=old.id)

    assert proven(store).flaws == []


def test_a_record_that_was_put_back_past_the_journal_is_found(store, owners_store, tampering):
    with store.transaction(makers.origin()) as unit:
        made = site(unit, "Old Hall")
        rule(unit, "site", 36)
    saved = tampering("SELECT * FROM site")
    run(owners_store)

    tampering(f"INSERT INTO site VALUES ({', '.join(['%s'] * len(saved[0]))})", *saved[0])  # noqa: S608

    (flaw,) = proven(store).flaws
    assert flaw.sentence == f"The site {made.id} was let go of and is on record."


def test_a_person_who_is_let_go_of_leaves_no_particulars_in_the_journal(store, owners_store, tampering):
    with store.transaction(makers.origin()) as unit:
        ada = register_staff(unit, StaffStated(name="Ada Canary", role=Role.KEEPER))
        account = register_account(unit, AccountStated(staff_id=ada.id, sign_in_name="ada"), code=Code("0" * 64, makers.NOON))
        unit.change(unit.fetch(Account, account.id), {"ended_on": YEARS_AGO, "end_reason": "left"}, action="end_account")
        unit.change(unit.fetch(Staff, ada.id), {"ended_on": YEARS_AGO, "end_reason": "left"}, action="end_staff")
        rule(unit, "account", 12)
        rule(unit, "staff", 12)
    assert tampering("SELECT count(*) FROM journal_private WHERE value IS NOT NULL") == [(5,)]

    assert run(owners_store).let_go == {"account": 1, "staff": 1}

    assert tampering("SELECT count(*) FROM journal_private WHERE value IS NOT NULL OR salt IS NOT NULL") == [(0,)]
    assert tampering("SELECT count(*) FROM account_secret") == [(0,)]
    assert proven(store).flaws == []


def test_the_reading_log_goes_by_months_and_leaves_no_entries(store, owners_store):
    with store.transaction(makers.origin()) as unit:
        rule(unit, "reading_log", 12)
    for on in (TODAY - timedelta(days=366), TODAY - timedelta(days=364)):
        with store.transaction(makers.origin(at=makers.NOON.replace(year=on.year, month=on.month, day=on.day))) as unit:
            log_reading(unit, "list_staff", subject_id=None)
    before = proven(store).entries
    with store.transaction(makers.origin()) as unit:
        made = hold(unit, kind=reading_log.KIND)

    assert run(owners_store).let_go == {}
    with store.transaction(makers.origin()) as unit:
        end_legal_hold(unit, made.id, Ending(reason="case closed"))
    assert run(owners_store).let_go == {"reading_log": 1}

    with store.snapshot(makers.origin()) as unit:
        assert [one.at.date() for one in unit.all(ReadingLog, READINGS)] == [TODAY - timedelta(days=364)]
    assert proven(store).entries == before + 2


def test_old_answers_go_without_any_rule(store, owners_store):
    with store.transaction(makers.origin()) as unit:
        for days in (-1, 1):
            at = makers.NOON - ANSWERS_KEPT + timedelta(days=days)
            row = {"request_sha256": "0" * 64, "status": 200, "headers": "[]", "body": b"{}", "created_at": at}
            unit.run(KEEP_ANSWER, key=f"key {days}", **row)

    assert run(owners_store).answers == 1


def test_the_services_own_role_may_not_let_go(store):
    if store.dialect == "sqlite":
        pytest.skip("SQLite has no roles")
    with store.transaction(makers.origin()) as unit:
        site(unit, "Old Hall")
        rule(unit, "site", 1)

    with pytest.raises(Exception, match="permission denied for table site"):
        run(store)

    assert names(store) == {"Old Hall"}


def test_another_organisations_records_stay(store, owners_store):
    makers.organisation(store, organisation_id=makers.OTHER_ORGANISATION, name="Saltings Aquarium")
    with store.transaction(makers.origin(organisation_id=makers.OTHER_ORGANISATION)) as unit:
        site(unit, "Old Pool")
    with store.transaction(makers.origin()) as unit:
        rule(unit, "site", 1)

    assert run(owners_store).let_go == {}
    assert proven(store, organisation_id=makers.OTHER_ORGANISATION).records == 2


@pytest.mark.parametrize(("stated", "field"), [({"kind": "site"}, "subject_id"), ({}, "subject_id")])
def test_a_hold_on_a_record_that_is_not_there_is_refused(store, stated, field):
    with store.transaction(makers.origin()) as unit, pytest.raises(RuleBroken) as refused:
        hold(unit, subject_id=unit.new_id(), **stated)

    assert refused.value.faults[0].pointer == f"/{field}"
