"""A backup of either database is restored into either: the same rows, or nothing at all."""

from __future__ import annotations

import io
from concurrent.futures import ThreadPoolExecutor
from uuid import UUID

import psycopg
import pytest

from domain.actions.backups import Differs, differences
from domain.actions.taxa import register_taxon
from domain.actions.verify import prove
from domain.errors import Conflict
from domain.records import journal
from domain.records.backups import manifest
from domain.records.backups.archive import Damaged
from domain.records.backups.rows import Unreadable
from domain.records.backups.whole import whole_snapshot
from domain.records.base import table_of
from domain.records.organisations import Idempotency
from domain.records.stated import read_stated
from domain.records.statements import Statement, json_text
from domain.records.taxa import Taxon, TaxonStated
from tests import makers
from tests.backup.conftest import forged, records_of, restored, taken, untold
from tests.postgres_server import dsn, url_for

KEPT_KEYS = Statement(table_of(Idempotency).select())


def test_a_backup_goes_to_the_other_database_and_back_and_its_bytes_stay_the_same(demo_backup, empty_store):
    there, back = empty_store("postgresql"), empty_store("sqlite")
    abroad, home = io.BytesIO(), io.BytesIO()
    restored(there, io.BytesIO(demo_backup))
    taken(there, abroad)
    restored(back, abroad)
    taken(back, home)

    assert abroad.getvalue() == home.getvalue() == demo_backup
    assert records_of(there) == records_of(back)
    assert sum(map(len, records_of(back).values())) > 5000


def test_the_restored_service_goes_on_with_its_journals(small_backup, target):
    restored(target, io.BytesIO(small_backup))

    for organisation_id in (makers.ORGANISATION, makers.OTHER_ORGANISATION):
        with target.transaction(makers.origin(organisation_id=organisation_id, request_id="after")) as unit:
            before = unit.row(journal.HEAD)[0]
            makers.site(unit, name="Sedge Pond")
        with target.snapshot(makers.origin(organisation_id=organisation_id)) as unit:
            proof = prove(unit)
        assert (proof.entries, proof.flaws) == (before + 1, [])


def test_a_database_with_an_organisation_is_left_as_it_is(small_backup, target):
    makers.organisation(target, organisation_id=makers.OTHER_ORGANISATION)
    before = records_of(target)

    with pytest.raises(Conflict, match="not empty"):
        restored(target, io.BytesIO(small_backup))
    assert records_of(target) == before


def test_of_two_that_restore_at_once_one_does(small_backup, target):
    with ThreadPoolExecutor(2) as both:
        tries = [both.submit(restored, target, io.BytesIO(small_backup)) for _ in range(2)]
        outcomes = [type(tried.exception()) for tried in tries]

    assert sorted(outcomes, key=str) == [type(None), Conflict]
    assert len(records_of(target)["organisation"]) == 2


def test_a_parent_that_comes_after_its_child_is_restored(empty_store, target):
    child, parent = (UUID(f"00000000-0000-7000-8000-00000000000{number}") for number in (1, 2))
    source = empty_store("sqlite")
    makers.organisation(source)
    with source.transaction(makers.origin()) as unit:
        register_taxon(unit, taxon("Testudo", rank="genus"), record_id=parent)
        register_taxon(unit, taxon("Testudo graeca", rank="species", parent_id=parent), record_id=child)
    file = io.BytesIO()
    taken(source, file)

    restored(target, file)

    with target.snapshot(makers.origin()) as unit:
        assert unit.fetch(Taxon, child).parent_id == parent


def taxon(name, **stated):
    return read_stated(TaxonStated, json_text({"scientific_name": name, **stated}))


def test_a_row_that_the_database_changes_is_found_and_nothing_is_kept(small_backup, target, request):
    spoil_sites(target, request)

    with pytest.raises(Differs, match="site of Marshlight Trust has 1 rows and differs from the 1"):
        restored(target, io.BytesIO(small_backup))
    assert not any(records_of(target).values())


def spoil_sites(store, request):
    """Have the database itself change each new site."""
    if store.dialect == "sqlite":
        behind = store.connect()
        behind.execute("CREATE TRIGGER spoil AFTER INSERT ON site BEGIN UPDATE site SET note = 'moved' WHERE id = NEW.id; END")
        behind.close()
        return
    with psycopg.connect(dsn(url_for(request.getfixturevalue("postgres_url"), database=store.url.database))) as connection:
        connection.execute("CREATE FUNCTION spoil() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN NEW.note := 'moved'; RETURN NEW; END $$")
        connection.execute("CREATE TRIGGER spoil BEFORE INSERT ON site FOR EACH ROW EXECUTE FUNCTION spoil()")


def test_a_journal_that_does_not_hold_is_found_and_nothing_is_kept(small_backup, target):
    backup = forged(small_backup, table="site", old='"Reedmere House"', new='"Reedmere Mouse"')

    with pytest.raises(Differs, match="is not what the journal says it is"):
        restored(target, io.BytesIO(backup))
    assert not any(records_of(target).values())


@pytest.mark.parametrize(
    ("table", "old", "new"),
    [
        ("site", "[", "{"),
        ("site", "[", "[0,"),
        ("site", '"Reedmere House"', "5"),
        ("site", '"Reedmere House"', "null"),
        ("site", '"Reedmere House"', '"\\ud800"'),
        ("site", '"Reedmere House"', '"\\u0000"'),
        ("site", "Z", "+01:00"),
        ("site", ".000000Z", ".000000"),
        ("site", f"{makers.ORGANISATION}", f"{makers.OTHER_ORGANISATION}"),
        ("site", f"{makers.ORGANISATION}", "9" * 30),
        ("organisation", f"{makers.ORGANISATION}", "7"),
        ("organisation", "Marshlight", "Marshdark"),
        ("equipment_model", '"uvb-tube"', '"candle"'),
        ("equipment", '"RE-1"', '["RE-1"]'),
        ("journal_head", "]", "]\n" + "[1,2,3]"),
    ],
)
def test_rows_that_cannot_be_are_refused_though_every_digest_is_right_and_nothing_is_kept(small_backup, target, table, old, new):
    backup = forged(small_backup, table=table, old=old, new=new)

    with pytest.raises((Damaged, Differs, Conflict)):
        restored(target, io.BytesIO(backup))
    assert not any(records_of(target).values())


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ("UPDATE site SET note = 'x' WHERE organisation_id % 2 = 0", "site of"),
        ("UPDATE journal_head SET hash = replace(hash, 'a', 'b')", "does not end where the backup says"),
        ("DELETE FROM equipment", "equipment of"),
        ("INSERT INTO idempotency SELECT id, 'k', '', 200, '', x'00', created_at FROM organisation", "has 1 rows and differs from the 0"),
        ("INSERT INTO organisation SELECT 'Third', 'EUR', 3, created_at FROM organisation LIMIT 1", "organisations are not those"),
        ("UPDATE equipment SET site_id = randomblob(16)", "refers to rows that are not there"),
    ],
)
def test_whatever_changes_in_a_restored_database_differs_from_its_backup(small_backup, empty_store, change, sentence):
    store = empty_store("sqlite")
    restored(store, io.BytesIO(small_backup))
    said = manifest.check(io.BytesIO(small_backup), tell=untold).manifest
    with whole_snapshot(store, makers.origin()) as unit:
        assert differences(unit, said, tell=untold) == []
    behind = store.connect()
    behind.execute("PRAGMA foreign_keys=OFF")
    behind.execute(change)
    behind.close()

    with whole_snapshot(store, makers.origin()) as unit:
        assert sentence in " ".join(differences(unit, said, tell=untold))


def test_a_value_that_cannot_be_read_is_named_and_not_backed_up(small_backup, empty_store):
    store = empty_store("sqlite")
    restored(store, io.BytesIO(small_backup))
    behind = store.connect()
    behind.execute("PRAGMA foreign_keys=OFF")
    behind.execute("UPDATE equipment SET site_id = x'00'")
    behind.close()

    with pytest.raises(Unreadable, match="The table equipment holds a value that cannot be read"):
        taken(store, io.BytesIO())


@pytest.mark.parametrize("kinds", [("sqlite", "postgresql"), ("postgresql", "sqlite")])
def test_values_that_the_databases_write_in_their_own_ways_are_the_same_in_both(empty_store, kinds):
    source, other = map(empty_store, kinds)
    # In this order by their bytes, in others by the alphabets of people and of UTF-16.
    keys = ["B", "a", "z", "\u00e4", "\uff5e", "\U0001f98e"]
    makers.organisation(source)
    with source.transaction(makers.origin()) as unit:
        for key in reversed(keys):
            row = {"key": key, "request_sha256": "", "status": 200, "headers": 'a "quoted"\u2028line\n', "body": bytes(range(256))}
            unit.run(Statement(table_of(Idempotency).insert()), **row, created_at=makers.NOON.replace(microsecond=7))
        model, site = makers.model(unit), makers.site(unit)
        makers.equipment(unit, model, site, counter_at_installation_h=-0.0)
        makers.equipment(unit, model, site, tag="RE-2", counter_at_installation_h=0.1 + 0.2)
    file, again = io.BytesIO(), io.BytesIO()
    taken(source, file)
    restored(other, file)
    taken(other, again)

    assert again.getvalue() == file.getvalue()
    kept = [line.split(b'"')[1].decode() for line in file.getvalue().splitlines() if b"2028" in line or b"\xe2\x80\xa8" in line]
    assert [key for key in keys if any(key in line for line in kept)] == keys
    with other.snapshot(makers.origin()) as unit:
        assert {bytes(row["body"]) for row in unit.named(KEPT_KEYS)} == {bytes(range(256))}
