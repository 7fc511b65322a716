"""A unit reads, changes and journals in one transaction."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date
from typing import Any
from uuid import UUID, uuid4

import pytest
import sqlalchemy as sa

from domain.actions.reading_log import KEEP_READING
from domain.errors import Conflict, NotAllowed, NotFound
from domain.records import journal
from domain.records.base import row_of, table_of
from domain.records.enclosures import Enclosure, LifeSupportSystem
from domain.records.engine import Store, run_unit
from domain.records.equipment import Equipment, EquipmentModel, RunPeriodStated
from domain.records.sites import Site
from domain.records.staff import Staff
from domain.records.statements import ForeignRow, Parameters, Statement
from domain.records.unit import Overtaken, Unit
from domain.rules.permissions import Reach, Role
from tests import makers
from tests.behind import proven

_sites = table_of(Site)
SITES = Statement(_sites.select().where(_sites.c.organisation_id == sa.bindparam("organisation_id")).order_by(_sites.c.name))
NOTE = Statement(
    sa.update(_sites)
    .where(_sites.c.organisation_id == sa.bindparam("at_organisation_id"), _sites.c.id == sa.bindparam("at_id"))
    .values(note=sa.bindparam("new"))
)
pytestmark = pytest.mark.usefixtures("organisation")


def entries(unit: Unit) -> list[dict[str, object]]:
    return unit.named(journal.ENTRIES_AFTER, after=0, limit=100)


def contents(store: Store) -> list[dict[str, Any]]:
    """Return what the entries say, but for the organisation's own."""
    with store.snapshot(makers.origin()) as unit:
        return [json.loads(str(entry["content"])) for entry in entries(unit)][1:]


def staff(unit: Unit, **values: Any) -> Staff:
    given = {"organisation_id": unit.organisation_id, "id": unit.new_id(), "created_at": unit.origin.at, "role": Role.KEEPER, **values}
    return Staff(**given)


class Told:
    """A cursor that remembers what it is told."""

    rowcount = 0
    connection = None

    def __init__(self) -> None:
        self.statements: list[tuple[str, Parameters]] = []

    def execute(self, sql: str, parameters: Parameters, /) -> None:
        self.statements.append((sql, parameters))

    def executemany(self, sql: str, parameters: Any, /) -> None:
        raise NotImplementedError

    def fetchall(self) -> list[Any]:
        raise NotImplementedError


def test_a_record_reads_back_as_it_was_written(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        made = makers.site(unit, address="1 Łąka Street\n4000", jurisdiction="XR-LOW")

    with store.transaction(makers.origin()) as unit:
        assert unit.fetch(Site, made.id) == made


def test_every_change_leaves_its_entry_with_before_and_after(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        made = makers.site(unit)
        unit.change(made, {"note": "roof leaks"}, action="change_site")

    with store.transaction(makers.origin()) as unit:
        found = entries(unit)
    assert [entry["position"] for entry in found] == [1, 2, 3]
    assert '"action":"change_site"' in str(found[2]["content"])
    assert '"after":{"note":"roof leaks"}' in str(found[2]["content"])
    assert '"before":{"note":""}' in str(found[2]["content"])


def test_a_change_without_a_difference_leaves_nothing(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        made = makers.site(unit)
        same = unit.change(made, {"note": ""}, action="change_site")

        assert same.version == 1
        assert len(unit._changes) == 1


def test_a_failed_transaction_leaves_neither_record_nor_entry(store: Store) -> None:
    def fail(unit: Unit) -> None:
        makers.site(unit)
        raise RuntimeError

    with pytest.raises(RuntimeError):
        run_unit(store, fail, origin=makers.origin())

    with store.transaction(makers.origin()) as unit:
        assert unit.all(Site, SITES) == []
        assert len(entries(unit)) == 1


def test_a_record_changed_in_between_is_overtaken(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        made = makers.site(unit)
        unit.change(made, {"note": "first"}, action="change_site")

        with pytest.raises(Overtaken):
            unit.change(made, {"note": "second"}, action="change_site")


def test_two_spellings_of_one_name_are_one_name(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        makers.site(unit)

    with pytest.raises(Conflict), store.transaction(makers.origin()) as unit:
        makers.site(unit, name="REEDMERE\u00a0house")


def test_another_organisations_record_is_not_there(store: Store) -> None:
    makers.organisation(store, organisation_id=makers.OTHER_ORGANISATION, name="Other")
    with store.transaction(makers.origin()) as unit:
        made = makers.site(unit)

    with store.transaction(makers.origin(organisation_id=makers.OTHER_ORGANISATION)) as unit, pytest.raises(NotFound):
        unit.fetch(Site, made.id)


def test_a_statement_without_its_organisation_is_refused(store: Store) -> None:
    with pytest.raises(KeyError):
        journal.HEAD.on(store.dialect).bound({})


def test_a_change_gives_the_changed_record_back_and_its_entry_says_all_of_it(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        made = makers.site(unit)
        changed = unit.change(made, {"note": "roof leaks", "zone": made.zone}, action="change_site", reason="seen at noon")

        assert changed == made.model_copy(update={"note": "roof leaks", "version": 2})
        assert unit.fetch(Site, made.id) == changed
        assert made.version == 1

    registered, corrected = contents(store)
    as_made = {name: value for name, value in row_of(made).items() if name not in {"organisation_id", "id", "version"}}
    assert registered["after"] == {**as_made, "created_at": "2026-03-01T12:00:00Z"}
    assert (registered["action"], registered["before"], registered["version"]) == ("register_site", {}, 1)
    told = {name: corrected[name] for name in ("action", "subject", "subject_id", "version", "reason", "before", "after")}
    assert told == {
        "action": "change_site",
        "subject": "site",
        "subject_id": str(made.id),
        "version": 2,
        "reason": "seen at noon",
        "before": {"note": ""},
        "after": {"note": "roof leaks"},
    }


def test_what_is_left_without_a_difference_raises_the_version_and_leaves_its_entry(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        made = makers.site(unit)
        left = unit.leave(made, {"note": ""}, action="set_secret", reason="forgotten")
        again = unit.leave(left, {"note": "roof leaks"}, action="set_secret")

        assert (left, again) == (
            made.model_copy(update={"version": 2}),
            made.model_copy(update={"version": 3, "note": "roof leaks"}),
        )
        assert unit.fetch(Site, made.id) == again

    told = [(one["action"], one["version"], one["reason"], one["before"], one["after"]) for one in contents(store)[1:]]
    assert told == [("set_secret", 2, "forgotten", {}, {}), ("set_secret", 3, None, {"note": ""}, {"note": "roof leaks"})]


def test_what_is_left_is_within_reach(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        here, there = makers.site(unit), makers.site(unit, name="Saltings Hall")

    origin = replace(makers.origin(), reach=Reach(frozenset({here.id})))
    with store.transaction(origin) as unit:
        unit.leave(here, {}, action="set_secret")
        with pytest.raises(NotAllowed):
            unit.leave(there, {}, action="set_secret")


def test_neither_a_record_nor_its_entry_is_left_where_the_addition_is_beyond_reach(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        here, there = makers.site(unit), makers.site(unit, name="Saltings Hall")
        item = makers.enclosure(unit, there)

    rows = [{**row_of(item), "id": uuid4(), "name": "Hall B", "name_key": "hall b"}]
    with store.transaction(replace(makers.origin(), reach=Reach(frozenset({here.id})))) as unit:
        with pytest.raises(NotAllowed):
            unit.add(item.model_copy(update={"id": uuid4()}), action="register_enclosure")
        with pytest.raises(NotAllowed):
            unit.add_many(Enclosure, rows, action="register_enclosure")

        assert unit.unsealed == 0


def test_many_records_at_once_leave_an_entry_each_in_their_order(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        made = makers.site(unit)
        rows = [{**row_of(made), "id": unit.new_id(), "name": name, "name_key": name} for name in ("b", "a")]
        unit.add_many(Site, rows, action="import_site")

        assert unit.unsealed == 3
        assert [site.name for site in unit.all(Site, SITES)] == ["Reedmere House", "a", "b"]

    told = [(one["action"], one["subject"], one["subject_id"], one["version"], one["before"]) for one in contents(store)[1:]]
    assert told == [("import_site", "site", str(row["id"]), 1, {}) for row in rows]
    assert [one["after"]["name"] for one in contents(store)[1:]] == ["b", "a"]
    assert proven(store).flaws == []


def test_ids_of_new_records_ascend_from_the_instant_of_the_origin(store: Store) -> None:
    with store.snapshot(makers.origin()) as unit:
        first, second = unit.new_id(), unit.new_id()

    assert first < second
    assert first.int >> 80 == second.int >> 80 == int(makers.NOON.timestamp() * 1000)


def test_what_is_stated_again_in_parts_is_no_difference(store: Store) -> None:
    period = {"starts_on": "2026-04-01", "hours_per_day": 12.0, "seasons": []}
    with store.transaction(makers.origin()) as unit:
        at = makers.site(unit)
        item = makers.equipment(unit, makers.model(unit), at, run_schedule=[period])
        tank = makers.enclosure(unit, at, shape={"kind": "box", "length_m": 1.2, "width_m": 0.6, "water_depth_m": 0.45})
    with store.transaction(makers.origin()) as unit:
        stored, kept = unit.fetch(Equipment, item.id), unit.fetch(Enclosure, tank.id)
        same = RunPeriodStated(starts_on=date(2026, 4, 1), hours_per_day=12.0)

        assert stored.run_schedule == [period]
        assert unit.change(stored, {"run_schedule": [same]}, action="change_equipment") is stored
        assert unit.change(kept, {"shape": tank.shape}, action="change_enclosure") is kept
        assert unit.unsealed == 0

        other = RunPeriodStated(starts_on=date(2026, 4, 1), hours_per_day=13.0)
        longer = unit.change(stored, {"run_schedule": [same, other]}, action="change_equipment")
        assert longer.version == 2
        assert unit.change(longer, {"run_schedule": [other, same]}, action="change_equipment").version == 3
        assert unit.change(kept, {"shape": tank.shape.model_copy(update={"length_m": 1.3})}, action="change_enclosure").version == 2


def test_particulars_of_every_change_in_a_transaction_are_kept_beside_their_entries(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        ada = unit.add(staff(unit, name="Ada"), action="register_staff")
        unit.add_many(Staff, [row_of(staff(unit, name="Eve", contact="at noon"))], action="import_staff")
        unit.change(ada, {"name": "Łada"}, action="change_staff")

    with store.snapshot(makers.origin()) as unit:
        kept = unit.named(journal.PARTICULARS_BETWEEN, after=0, until=100)
    assert {(one["position"], one["part"], one["field"], one["value"]) for one in kept if one["value"] != '""'} == {
        (2, "after", "name", '"Ada"'),
        (3, "after", "name", '"Eve"'),
        (3, "after", "contact", '"at noon"'),
        (4, "before", "name", '"Ada"'),
        (4, "after", "name", '"Łada"'),
    }
    assert not any(name in json.dumps(contents(store), ensure_ascii=False) for name in ("Ada", "Eve", "Łada"))
    assert proven(store).flaws == []


def test_the_entries_of_one_transaction_are_chained_and_the_head_moves_to_the_last(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        made = makers.site(unit)
        unit.change(made, {"note": "roof leaks"}, action="change_site")
        unit.note(journal.Change("let_go", "site", made.id, 3, before={}, after={}))

    with store.snapshot(makers.origin()) as unit:
        found, head = entries(unit), unit.row(journal.HEAD)
    assert [entry["position"] for entry in found] == [1, 2, 3, 4]
    assert [entry["hash"] for entry in found] == [journal.entry_hash(str(entry["content"])) for entry in found]
    assert [json.loads(str(entry["content"]))["previous"] for entry in found] == [journal.NO_HASH, *(entry["hash"] for entry in found[:3])]
    assert {(entry["organisation_id"], entry["at"]) for entry in found} == {(makers.ORGANISATION, makers.NOON)}
    assert [(entry["subject"], entry["subject_id"]) for entry in found[1:]] == [("site", made.id)] * 3
    assert head == (4, found[3]["hash"])


def test_a_unit_that_was_sealed_has_nothing_more_to_leave(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        makers.site(unit)
        unit.seal()

        assert unit.unsealed == 0

    assert len(contents(store)) == 1


def test_where_there_is_no_organisation_nothing_can_be_left(store: Store) -> None:
    with pytest.raises(NotFound) as refused, store.transaction(makers.origin(organisation_id=makers.OTHER_ORGANISATION)) as unit:
        unit.note(journal.Change("register_site", "site", UUID(int=7), 1, before={}, after={}))

    assert refused.value.detail == "There is no such organisation."


def test_where_nothing_was_changed_no_journal_is_asked_for(store: Store) -> None:
    with store.snapshot(makers.origin(organisation_id=makers.OTHER_ORGANISATION)) as unit:
        assert unit.row(journal.HEAD) is None
        unit.seal()


@pytest.mark.parametrize(
    ("record", "sentence"),
    [
        (Site, "There is no such site."),
        (EquipmentModel, "There is no such equipment model."),
        (LifeSupportSystem, "There is no such life support system."),
    ],
)
def test_a_record_that_is_not_there_is_named_in_words(store: Store, record: Any, sentence: str) -> None:
    with store.snapshot(makers.origin()) as unit:
        assert unit.find(record, UUID(int=7)) is None
        with pytest.raises(NotFound) as refused:
            unit.fetch(record, UUID(int=7))

    assert refused.value.detail == sentence


def test_what_is_fetched_within_reach_is_the_record(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        here, there = makers.site(unit), makers.site(unit, name="Saltings Hall")

    with store.snapshot(replace(makers.origin(), reach=Reach(frozenset({here.id})))) as unit:
        assert unit.fetch_reached(Site, here.id) == here
        with pytest.raises(NotAllowed):
            unit.fetch_reached(Site, there.id)


def test_rows_are_read_as_values_as_records_and_as_the_driver_gives_them(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        later, sooner = makers.site(unit, name="Saltings Hall"), makers.site(unit)

    with store.snapshot(makers.origin()) as unit:
        assert unit.all(Site, SITES) == [sooner, later]
        assert unit.first(Site, SITES) == sooner
        assert unit.named(SITES) == [row_of(sooner), row_of(later)]
        assert unit.rows(SITES) == [tuple(row_of(site).values()) for site in (sooner, later)]
        assert unit.row(SITES) == tuple(row_of(sooner).values())
        raw = unit.raw_rows(SITES)
        assert [SITES.on(store.dialect).python_row(row) for row in raw] == unit.rows(SITES)
        where = SITES.on(store.dialect).keys.index("id")
        assert [type(row[where]) for row in raw] == [bytes if store.dialect == "sqlite" else UUID] * 2


def test_without_rows_there_is_none_to_be_had(store: Store) -> None:
    with store.snapshot(makers.origin()) as unit:
        assert (unit.rows(SITES), unit.named(SITES), unit.all(Site, SITES), unit.raw_rows(SITES)) == ([], [], [], [])
        assert (unit.row(SITES), unit.first(Site, SITES)) == (None, None)


def reading(unit: Unit, **values: Any) -> dict[str, Any]:
    given = {
        "organisation_id": unit.organisation_id,
        "id": unit.new_id(),
        "at": unit.origin.at,
        "actor": "a",
        "request_id": "r",
        "action": "x",
    }
    return {**row_of(journal.ReadingLog(**given)), **values}


READINGS = Statement(
    sa.select(table_of(journal.ReadingLog)).where(table_of(journal.ReadingLog).c.organisation_id == sa.bindparam("organisation_id"))
)


def test_what_is_not_journalled_is_run_once_or_for_many_and_the_rows_are_counted(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        one, *others = (reading(unit) for _ in range(3))
        assert unit.run(KEEP_READING, **one) == 1
        unit.run_many(KEEP_READING, others)
        unit.run_many(KEEP_READING, [])

        assert sorted(row["id"] for row in unit.named(READINGS)) == [row["id"] for row in (one, *others)]
        first, second = makers.site(unit), makers.site(unit, name="Saltings Hall")
        at = {"at_organisation_id": unit.organisation_id}
        assert unit.run(NOTE, **at, at_id=first.id, new="wet") == 1
        assert unit.run(NOTE, **at, at_id=UUID(int=7), new="wet") == 0
        unit.run_many(NOTE, [{**at, "at_id": site.id, "new": f"{site.name} is dry"} for site in (first, second)])
        assert [site.note for site in unit.all(Site, SITES)] == ["Reedmere House is dry", "Saltings Hall is dry"]
        assert unit.unsealed == 2


def test_one_row_of_another_organisation_among_many_is_refused_before_any_is_written(store: Store) -> None:
    makers.organisation(store, organisation_id=makers.OTHER_ORGANISATION, name="Other")
    with store.transaction(makers.origin()) as unit:
        with pytest.raises(ForeignRow) as refused:
            unit.run_many(KEEP_READING, [reading(unit), reading(unit, organisation_id=makers.OTHER_ORGANISATION)])

        assert unit.named(READINGS) == []
    assert str(refused.value) == f"a row of organisation {makers.OTHER_ORGANISATION} in a unit of {makers.ORGANISATION}"


def test_of_a_statement_that_forgets_whose_rows_it_reads_only_the_own_go_further(store: Store) -> None:
    makers.organisation(store, organisation_id=makers.OTHER_ORGANISATION, name="Other")
    with store.transaction(makers.origin()) as unit:
        made = makers.site(unit)
    every = Statement(_sites.select())

    class Seeing(Told):
        """A cursor of a database that shows every row."""

        def fetchall(self) -> list[Any]:
            own = [*row_of(made).values(), makers.ORGANISATION]
            return [own, [*own[:-1], makers.OTHER_ORGANISATION]]

    unit = Unit(Seeing(), dialect="postgresql", origin=makers.origin())
    assert unit.rows(every) == [tuple(row_of(made).values())]
    assert len(unit.raw_rows(every)) == 1


def test_a_statement_that_changed_a_row_of_another_organisation_is_refused_whatever_it_was_told() -> None:
    class Changing(Told):
        """A cursor of a database that changes more rows than it should."""

        rowcount = 2

        def fetchall(self) -> list[Any]:
            return [(makers.ORGANISATION,), (makers.OTHER_ORGANISATION,)]

    unit = Unit(Changing(), dialect="postgresql", origin=makers.origin())
    with pytest.raises(ForeignRow) as refused:
        unit.run(NOTE, at_organisation_id=makers.ORGANISATION, at_id=UUID(int=7), new="wet")

    assert str(refused.value) == f"rows of organisation {makers.OTHER_ORGANISATION} in a statement of {makers.ORGANISATION}"


def test_a_transaction_on_the_server_takes_longer_and_sees_one_state_where_it_asks_for_that() -> None:
    cursor = Told()
    unit = Unit(cursor, dialect="postgresql", origin=makers.origin())

    unit.hold_still()
    unit.take_time()

    assert cursor.statements == [
        ("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ", {}),
        ("SET LOCAL statement_timeout = '10min'", {}),
        ("SET LOCAL lock_timeout = '1min'", {}),
        ("SET LOCAL idle_in_transaction_session_timeout = '10min'", {}),
    ]


def test_a_transaction_in_a_file_sees_one_state_anyway_and_has_no_limits() -> None:
    cursor = Told()
    unit = Unit(cursor, dialect="sqlite", origin=makers.origin())

    unit.hold_still()
    unit.take_time()

    assert cursor.statements == []
