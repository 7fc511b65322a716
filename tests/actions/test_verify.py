"""Proving the journal: nothing is found in an untouched database, and every kind of tampering is."""

from __future__ import annotations

import re
from typing import Any
from uuid import UUID

import pytest

from domain.actions import verify
from domain.actions.animals import register_animal
from domain.actions.equipment import ReplacementStated, replace_equipment
from domain.actions.night import run_night
from domain.actions.organisations import create_key
from domain.actions.readings import record_check, record_hours, record_output
from domain.actions.replay import Flaw
from domain.actions.staff import register_staff
from domain.actions.taxa import register_taxon
from domain.actions.verify import PAGE, in_order, prove
from domain.records import journal
from domain.records.animals import AnimalStated
from domain.records.base import Stated, row_of
from domain.records.engine import Store
from domain.records.equipment import EquipmentCheckStated, HourReadingStated, OutputReadingStated
from domain.records.organisations import ApiKeyStated
from domain.records.staff import StaffStated
from domain.records.stated import read_stated
from domain.records.statements import Row, Statement, json_text
from domain.records.taxa import Taxon, TaxonStated
from domain.records.unit import Unit
from tests import makers
from tests.behind import Run, proven, rehash

pytestmark = pytest.mark.usefixtures("organisation")


def sentences(store: Store) -> list[str]:
    return [flaw.sentence for flaw in proven(store).flaws]


def said(kind: type[Stated], /, **stated: Any) -> Any:
    return read_stated(kind, json_text(stated))


@pytest.fixture
def history(store: Store, organisation: int) -> None:
    """Leave seven entries: the organisation, two sites, two corrections of the first, a model and an item."""
    with store.transaction(makers.origin()) as unit:
        site = makers.site(unit)
        makers.site(unit, name="Elsewhere")
        leaking = unit.change(site, {"note": "roof leaks"}, action="change_site")
        mended = unit.change(leaking, {"note": "roof mended"}, action="change_site")
        makers.equipment(unit, makers.model(unit), mended)


def test_an_untouched_database_has_no_flaw(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = makers.site(unit)
        place = makers.enclosure(unit, at, shape={"kind": "box", "length_m": 1.2, "width_m": 0.6, "water_depth_m": 0.45}, walking_order=1)
        loop = makers.system(unit, at)
        of = makers.model(
            unit, life_months=12, output_unit="UVI", unit_cost_minor=4990, cautions=["own-caution"],
            checks=[{"kind": "calibration", "interval_days": 30}],
        )  # fmt: skip
        makers.spare(unit, of, at)
        item = makers.equipment(
            unit, of, at, enclosure_id=place.id, life_support_system_id=loop.id,
            run_schedule=[{"seasons": [{"from_month": 4, "from_day": 1, "hours_per_day": 14}]}],
        )  # fmt: skip
        record_hours(unit, item.id, said(HourReadingStated, read_on="2026-01-01", counter_h=0.1 + 0.2))
        record_output(unit, item.id, said(OutputReadingStated, measured_on="2026-01-01", value=1e-7))
        record_check(unit, item.id, said(EquipmentCheckStated, kind="calibration", done_on="2026-01-01", result="passed"))
        taxon = register_taxon(unit, said(TaxonStated, scientific_name="Fictiva palustris", rank="species", common_name="reed łąka 爬虫"))
        register_animal(unit, said(AnimalStated, taxon_id=str(taxon.id), tag="A1", grouping="group", count=12))
        register_staff(unit, said(StaffStated, name="Ada", role="keeper"))
        create_key(unit, said(ApiKeyStated, name="front end", access="write"), public_id="abc", secret="s")
        run_night(unit, at)
    with store.transaction(makers.origin()) as unit:
        replace_equipment(unit, item.id, said(ReplacementStated, installed_on="2026-03-01", reason="age limit"))

    proof = proven(store)

    assert proof.flaws == []
    # The replacement ends the old item and takes a spare: two entries without a record of their own.
    assert (proof.entries, proof.records) == (20, 18)


def test_an_organisation_without_records_is_proven_by_its_own_entry(store: Store) -> None:
    proof = proven(store)

    assert (proof.entries, proof.records, proof.flaws) == (1, 1, [])


def test_a_journal_of_several_pages_is_proven_to_its_end(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        first = row_of(register_taxon(unit, said(TaxonStated, scientific_name="Fictiva 0", rank="species")))
        names = (f"Fictiva {number}" for number in range(1, PAGE + 2))
        rows = [{**first, "id": unit.new_id(), "scientific_name": name, "name_key": name.lower()} for name in names]
        unit.add_many(Taxon, rows, action="register_taxon")

    proof = proven(store)

    assert (proof.entries, proof.records, proof.flaws) == (PAGE + 3, PAGE + 3, [])


class Paging(Unit):
    """A unit that remembers the most rows that it was given at once, by a database that orders nothing by itself."""

    def __init__(self, cursor: Any, **rest: Any) -> None:
        super().__init__(cursor, **rest)
        self.most = 0
        if self.dialect == "sqlite":
            cursor.execute("PRAGMA reverse_unordered_selects = ON")

    def raw_rows(self, statement: Statement, **parameters: Any) -> list[Row]:
        found = super().raw_rows(statement, **parameters)
        self.most = max(self.most, len(found))
        return found


def test_records_are_read_by_pages_in_an_order_of_their_own(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(verify, "PAGE", 2)
    verify._first_page_of.cache_clear()
    verify._page_after.cache_clear()
    with store.transaction(makers.origin()) as unit:
        for number in range(5):
            makers.site(unit, name=f"Hall {number}")

    with store.transaction(makers.origin()) as unit:
        proof = prove(paging := Paging(unit.cursor, dialect=unit.dialect, origin=unit.origin))

    assert (proof.entries, proof.records, proof.flaws) == (6, 6, [])
    assert paging.most == 2


def test_the_lowest_id_there_is_does_not_hide_a_record(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        register_taxon(unit, said(TaxonStated, scientific_name="Fictiva", rank="genus"), record_id=UUID(int=0))

    assert (proven(store).records, proven(store).flaws) == (2, [])


def test_an_organisation_that_is_not_there_has_no_journal(store: Store) -> None:
    proof = proven(store, organisation_id=makers.OTHER_ORGANISATION)

    assert [flaw.sentence for flaw in proof.flaws] == ["The organisation has no journal."]


NEW_ID = {"sqlite": "randomblob(16)", "postgresql": "gen_random_uuid()"}

RECORDS = {
    "a field changed": (
        "UPDATE site SET note = 'all is well' WHERE name = 'Elsewhere'",
        ["The site <id> is not what the journal says it is: note."],
    ),
    "a correction taken back": (
        "UPDATE site SET note = 'roof leaks', version = 2 WHERE version = 3",
        ["The site <id> is not what the journal says it is: note, version."],
    ),
    "a date added": (
        "UPDATE site SET ended_on = '2026-03-01' WHERE name = 'Elsewhere'",
        ["The site <id> is not what the journal says it is: ended_on."],
    ),
    "the organisation changed": (
        "UPDATE organisation SET base_currency = 'USD'",
        ["The organisation <id> is not what the journal says it is: base_currency."],
    ),
    "a list made unreadable": (
        "UPDATE equipment SET run_schedule = '['",
        ["The equipment <id> is not what the journal says it is: run_schedule."],
    ),
    "deleted": ("DELETE FROM site WHERE name = 'Elsewhere'", ["The site <id> is in the journal but not on record."]),
    "inserted": (
        (
            "INSERT INTO site (organisation_id, id, name, name_key, zone, address, note, version, created_at) "
            "SELECT organisation_id, {new_id}, 'Third', 'third', zone, address, note, 1, created_at FROM site WHERE name = 'Elsewhere'"
        ),
        ["The site <id> is in no entry of the journal."],
    ),
    "moved to another id": (
        "UPDATE site SET id = {new_id} WHERE name = 'Elsewhere'",
        ["The site <id> is in no entry of the journal.", "The site <id> is in the journal but not on record."],
    ),
}


@pytest.mark.usefixtures("history")
@pytest.mark.parametrize(("sql", "expected"), RECORDS.values(), ids=RECORDS.keys())
def test_a_record_that_was_tampered_with_is_found(store: Store, tampering: Run, sql: str, expected: list[str]) -> None:
    assert sentences(store) == []

    tampering(sql.format(new_id=NEW_ID[store.dialect]))

    assert [re.sub(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", "<id>", one) for one in sentences(store)] == expected


COLUMNS = {
    "younger than the entries and filled": (',"jurisdiction":null', "", "XR", "jurisdiction"),
    "younger than the entries and empty": (',"jurisdiction":null', "", None, None),
    "gone since the entries": ('"jurisdiction":null', '"hue":"green","jurisdiction":null', None, "hue"),
    "filled in the entries": ('"jurisdiction":null', '"jurisdiction":"XR"', None, "jurisdiction"),
}


@pytest.mark.usefixtures("history")
@pytest.mark.parametrize(("stood", "stands", "jurisdiction", "differing"), COLUMNS.values(), ids=COLUMNS.keys())
def test_a_column_that_the_entries_and_the_record_do_not_share_is_compared(
    store: Store, tampering: Run, stood: str, stands: str, jurisdiction: str | None, differing: str | None
) -> None:
    ((content,),) = tampering("SELECT content FROM journal WHERE position = 3")
    assert stood in content
    tampering("UPDATE journal SET content = %s WHERE position = 3", content.replace(stood, stands))
    rehash(tampering, after=2)
    tampering("UPDATE site SET jurisdiction = %s WHERE name = 'Elsewhere'", jurisdiction)

    found = [re.sub(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", "<id>", one) for one in sentences(store)]

    assert found == ([f"The site <id> is not what the journal says it is: {differing}."] if differing else [])


@pytest.mark.usefixtures("history")
@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_a_day_or_an_instant_made_unreadable_is_found(store: Store, tampering: Run) -> None:
    tampering("UPDATE site SET ended_on = 'last week' WHERE name = 'Elsewhere'")
    tampering("UPDATE journal SET at = 'last week' WHERE position = 4")

    of_entry, of_site = sentences(store)

    assert of_entry == "Entry 4 says other things in its columns than in its content."
    assert re.fullmatch(r"The site [0-9a-f-]{36} is not what the journal says it is: ended_on\.", of_site)


ENTRIES = {
    "content changed": (
        ["UPDATE journal SET content = replace(content, 'leaks', 'holds') WHERE position = 4"],
        "Entry 4 does not have the hash of its content.",
    ),
    "content made unreadable": (["UPDATE journal SET content = '{' WHERE position = 4"], "Entry 4 does not have the hash of its content."),
    "hash changed": (
        ["UPDATE journal SET hash = replace(hash, substr(hash, 1, 1), 'x') WHERE position = 4"],
        "Entry 4 does not have the hash of its content.",
    ),
    "content emptied": (
        ["UPDATE journal SET content = '[]' WHERE position = 4"],
        "Entry 4 does not have the hash of its content.",
    ),
    "subject changed": (
        ["UPDATE journal SET subject = 'spare' WHERE position = 4"],
        "Entry 4 says other things in its columns than in its content.",
    ),
    "time changed": (
        ["UPDATE journal SET at = '2026-02-01T12:00:00.000000Z' WHERE position = 4"],
        "Entry 4 says other things in its columns than in its content.",
    ),
    "deleted in the middle": (["DELETE FROM journal WHERE position = 4"], "Entry 4 is missing; the next is 5."),
    "deleted at the beginning": (["DELETE FROM journal WHERE position = 1"], "Entry 1 is missing; the next is 2."),
    "deleted at the end": (["DELETE FROM journal WHERE position = 7"], "The journal ends at entry 6, but its head says 7."),
    "all deleted": (["DELETE FROM journal"], "The journal ends at entry 0, but its head says 7."),
    "deleted and moved up": (
        ["DELETE FROM journal WHERE position = 4", "UPDATE journal SET position = 4 WHERE position = 5"],
        "Entry 4 does not follow on the entry before it.",
    ),
    "inserted at the end": (
        [
            (
                "INSERT INTO journal (organisation_id, position, at, subject, subject_id, content, hash) "
                "SELECT organisation_id, 8, at, subject, subject_id, content, hash FROM journal WHERE position = 7"
            )
        ],
        "Entry 8 does not follow on the entry before it.",
    ),
    "inserted before the beginning": (
        [
            (
                "INSERT INTO journal (organisation_id, position, at, subject, subject_id, content, hash) "
                "SELECT organisation_id, -3, at, subject, subject_id, content, hash FROM journal WHERE position = 2"
            )
        ],
        "Entry -3 stands before the first.",
    ),
    "inserted at the beginning": (
        [
            "UPDATE journal SET position = -position",
            "UPDATE journal SET position = 1 - position",
            (
                "INSERT INTO journal (organisation_id, position, at, subject, subject_id, content, hash) "
                "SELECT organisation_id, 1, at, subject, subject_id, content, hash FROM journal WHERE position = 2"
            ),
        ],
        "Entry 2 does not follow on the entry before it.",
    ),
    "swapped": (
        [
            "UPDATE journal SET position = 99 WHERE position = 4",
            "UPDATE journal SET position = 4 WHERE position = 5",
            "UPDATE journal SET position = 5 WHERE position = 99",
        ],
        "Entry 4 does not follow on the entry before it.",
    ),
    "head moved back": (["UPDATE journal_head SET position = 6"], "The journal ends at entry 7, but its head says 6."),
    "head says another hash": (["UPDATE journal_head SET hash = ''"], "The head of the journal does not have the hash of entry 7."),
    "head deleted": (["DELETE FROM journal_head"], "The organisation has no journal."),
}


@pytest.mark.usefixtures("history")
@pytest.mark.parametrize(("acts", "expected"), ENTRIES.values(), ids=ENTRIES.keys())
def test_a_journal_that_was_tampered_with_is_found(store: Store, tampering: Run, acts: list[str], expected: str) -> None:
    for act in acts:
        tampering(act)

    assert expected in sentences(store)


@pytest.mark.usefixtures("history")
@pytest.mark.parametrize("kind", ["deleted at the end", "head moved back", "head says another hash"])
def test_where_the_chain_and_its_head_part_the_last_entry_is_named(store: Store, tampering: Run, kind: str) -> None:
    acts, expected = ENTRIES[kind]
    for act in acts:
        tampering(act)

    assert proven(store).flaws[0] == Flaw(7, expected)


@pytest.mark.usefixtures("history")
def test_an_entry_before_the_first_is_where_it_stands(store: Store, tampering: Run) -> None:
    for position in (0, -3):
        tampering(
            "INSERT INTO journal (organisation_id, position, at, subject, subject_id, content, hash) "
            "SELECT organisation_id, %s, at, subject, subject_id, content, hash FROM journal WHERE position = 2",
            position,
        )

    found = proven(store).flaws

    assert found[0] == Flaw(-3, "Entry -3 stands before the first.")
    assert Flaw(0, "Entry 0 stands before the first.") in found


@pytest.mark.usefixtures("history")
def test_an_entry_changed_together_with_its_hash_no_longer_fits_the_next(store: Store, tampering: Run) -> None:
    ((content,),) = tampering("SELECT content FROM journal WHERE position = 4")
    forged = content.replace("leaks", "holds")
    tampering("UPDATE journal SET content = %s, hash = %s WHERE position = 4", forged, journal.entry_hash(forged))

    assert sentences(store) == [
        "Entry 5 does not follow on the entry before it.",
        "Entry 5 says another state before than the entries before it left.",
    ]


@pytest.mark.usefixtures("history")
def test_a_whole_tail_forged_with_its_head_still_differs_from_the_records(store: Store, tampering: Run) -> None:
    ((content,),) = tampering("SELECT content FROM journal WHERE position = 7")
    forged = content.replace("2025-03-01", "2026-02-01")
    tampering("UPDATE journal SET content = %s, hash = %s WHERE position = 7", forged, journal.entry_hash(forged))
    tampering("UPDATE journal_head SET hash = %s", journal.entry_hash(forged))

    (found,) = sentences(store)

    assert re.fullmatch(r"The equipment [0-9a-f-]{36} is not what the journal says it is: installed_on\.", found)


@pytest.mark.usefixtures("history")
def test_a_flaw_names_the_entry_it_was_seen_at(store: Store, tampering: Run) -> None:
    tampering("UPDATE journal SET content = replace(content, 'leaks', 'holds') WHERE position = 4")

    assert [flaw.position for flaw in proven(store).flaws] == [4, 5]


@pytest.mark.usefixtures("history")
def test_the_tampering_of_one_organisation_is_no_flaw_of_another(store: Store, tampering: Run) -> None:
    makers.organisation(store, organisation_id=makers.OTHER_ORGANISATION, name="Other")

    tampering("UPDATE site SET note = 'all is well'")

    assert len(sentences(store)) == 2
    assert proven(store, organisation_id=makers.OTHER_ORGANISATION).flaws == []


def test_flaws_come_in_the_order_of_the_entries_and_then_those_of_none() -> None:
    found = [Flaw(None, "a"), Flaw(2, "b"), Flaw(1, "c"), Flaw(0, "d"), Flaw(-3, "e"), Flaw(2, "a"), Flaw(None, "A")]

    assert [(flaw.position, flaw.sentence) for flaw in in_order(found)] == [
        (-3, "e"), (0, "d"), (1, "c"), (2, "b"), (2, "a"), (None, "a"), (None, "A"),
    ]  # fmt: skip
