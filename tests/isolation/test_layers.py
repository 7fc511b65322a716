"""Each of the three layers stands alone: where two are taken away, the third still shows and changes nothing of another organisation."""

from __future__ import annotations

import io
from uuid import UUID

import psycopg
import pytest
import sqlalchemy as sa

from domain.actions.due_list import judge_site
from domain.actions.sites import register_site
from domain.records.animals import Animal
from domain.records.base import metadata
from domain.records.lists import one
from domain.records.sites import SiteStated
from domain.records.statements import ForeignRow, Statement
from domain.records.tenancy import owner_column
from tests import makers
from tests.isolation.layers import ALL, DATABASE, GUARD, NONE, PREDICATE, Layers
from tests.isolation.outputs import everything_said
from tests.isolation.probing import marks_in, probe_everything, probe_slots
from tests.isolation.slots import slots
from tests.isolation.world import A, B, rows_of, serving

LOUD = "/v1/sites Idempotency-Key"
"""Where two organisations use one Idempotency-Key, a statement without its predicate means both their rows. SQLite's triggers and the guard
refuse it as a defect and undo everything; PostgreSQL does not see the other row."""
KEY = ("key",)


def leaks_with(place, layers):
    """Return what is learned through a store with some of the layers, the outputs that show something, and their tables that changed."""
    world, lines = place.world, io.StringIO()
    with place.stores(layers) as (store, whole):
        before = rows_of(whole, B)
        with serving(store, lines=lines) as service:
            # What is said comes first: afterwards some of our records bear ids that theirs bear as well.
            said = everything_said(service, world, by=KEY)
            leaks = probe_everything(service, world, by=KEY)
        after = rows_of(whole, B)
    changed = [name for name in before if before[name] != after[name]]
    learned = [leak for leak in leaks if leak.request != LOUD or "500" not in leak.how]
    return learned, {name for name, text in said.items() if marks_in(world, text)}, changed


@pytest.mark.parametrize("layers", [PREDICATE, DATABASE, GUARD], ids=str)
def test_a_layer_alone_lets_nothing_through(place, layers):
    leaks, shown, changed = leaks_with(place, layers)

    assert [str(leak) for leak in leaks] == []
    assert (shown, changed) == (set(), [])


def test_without_any_layer_nearly_everything_is_learned(place):
    leaks, shown, changed = leaks_with(place, NONE)

    with place.store() as store, serving(store) as service:
        tried = {str(slot) for slot in slots(service.app.openapi()) if (slot.place, slot.name) != ("body", "id")}
    found = {leak.request for leak in leaks} & tried
    assert len(found) > 0.5 * len(tried), sorted(tried - found)
    assert len(shown) > 10
    assert changed != []


def test_one_statement_without_its_predicate_is_found_where_nothing_else_holds(place):
    forgetful = Layers("one statement without its predicate", predicate=False, guard=False, database=False, open_for=ANIMAL.__contains__)
    with place.store(forgetful) as store, serving(store) as service:
        chosen = [slot for slot in slots(service.app.openapi()) if slot.noun in {"animal", "enclosure"} and slot.name != "id"]
        leaks = [*probe_slots(service, place.world, chosen, by=KEY)]

    lists = {slot.operation for slot in chosen if slot.place == "path" and slot.noun == "animal" and slot.operation.startswith("list_")}
    assert {leak.request for leak in leaks} - {f"{name} path animal_id" for name in lists} == {"get_animal path animal_id"}
    assert {"differs", "shows"} == {leak.how.partition(" ")[0].rstrip(":") for leak in leaks}


def test_a_site_that_bears_the_id_of_theirs_is_judged_by_our_items_alone(place):
    """Its items are read packed into a few values, so here the guard has to see whose items were packed."""
    their_site = UUID(place.world.theirs.ids["site"])
    for layers in (ALL, PREDICATE, DATABASE):
        with place.store(layers) as store, store.transaction(makers.origin()) as unit:
            assert judged(unit, register_site(unit, TWIN, record_id=their_site)) == 0
    with pytest.raises(ForeignRow), place.store(GUARD) as store, store.transaction(makers.origin()) as unit:
        judged(unit, register_site(unit, TWIN, record_id=their_site))


def judged(unit, site):
    return sum(len(batch.ids) for batch, _ in judge_site(unit, site, today=makers.NOON.date()).batches)


@pytest.mark.parametrize("layers", [ALL, DATABASE, GUARD], ids=str)
def test_a_correction_that_says_nothing_of_whose_rows_it_means_reaches_none_of_theirs(place, layers):
    reached = {}
    with place.stores(layers) as (store, whole):
        before = rows_of(whole, B)
        for table in metadata.sorted_tables:
            reached[table.name] = _end_of(store, UNBOUND["update"](table), {f"at_{owner_column(table)}": A})
            _end_of(store, UNBOUND["delete"](table), {f"at_{owner_column(table)}": A})
        assert rows_of(whole, B) == before

    by_the_guard = {name for name, end in reached.items() if end is ForeignRow}
    if layers is GUARD:
        assert set(reached) - by_the_guard <= APPEND_ONLY | {"import_file"}
    elif place.dialect == "postgresql":
        assert set(reached.values()) <= {Undone, psycopg.errors.InsufficientPrivilege}
    else:
        assert {name for name, end in reached.items() if end is Undone} == {"import_file"}


@pytest.mark.parametrize("layers", [ALL, DATABASE, GUARD], ids=str)
def test_a_row_of_theirs_is_not_written_in_a_transaction_of_ours(place, layers):
    ends = set()
    with place.stores(layers) as (store, whole):
        before = rows_of(whole, B)
        for table in metadata.sorted_tables:
            row = {column.name: _filler(column) for column in table.columns} | {owner_column(table): B}
            ends.add(_end_of(store, Statement(sa.insert(table)), row))
        assert rows_of(whole, B) == before

    assert Undone not in ends
    assert layers is DATABASE or ends == {ForeignRow}


class Undone(Exception):  # noqa: N818 - what a test means, no fault
    """What a test undoes its own transaction with."""


def _end_of(store, statement, parameters):
    """Return how a writing statement ended in a transaction of ours that is undone."""
    try:
        with store.transaction(makers.origin()) as unit:
            unit.run(statement, **parameters)
            raise Undone  # noqa: TRY301 - the transaction is to be left by it
    except Exception as end:  # noqa: BLE001 - how it ended is what is asked
        return type(end)


def _unbound(kind):
    def made(table):
        owner = table.c[owner_column(table)]
        statement = sa.update(table).values({owner: owner}) if kind == "update" else sa.delete(table)
        return Statement(
            statement.where(
                sa.or_(owner == sa.bindparam(f"at_{owner.name}", type_=owner.type), sa.literal_column("1") == sa.literal_column("1"))
            )
        )

    return made


def _filler(column):
    if column.nullable:
        return None
    if isinstance(column.type, sa.Enum):
        return column.type.enums[0]
    values = {"UuidColumn": UUID(int=7), "InstantColumn": makers.NOON, "JsonColumn": [], "Date": makers.NOON.date(), "LargeBinary": b""}
    return values.get(type(column.type).__name__, 1 if column.type.python_type in {int, float} else "x")


UNBOUND = {kind: _unbound(kind) for kind in ("update", "delete")}
APPEND_ONLY = {"journal", "journal_checkpoint", "reading_log"}
TWIN = SiteStated(name="twin", zone="UTC")
ANIMAL = {one(Animal), one(Animal, within=None)}
