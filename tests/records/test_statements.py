"""SQL that is built once and means the same on both databases."""

from __future__ import annotations

import asyncio
import re
from datetime import UTC, date, datetime, timedelta, timezone
from typing import Any
from uuid import UUID

import msgspec
import pytest
import sqlalchemy as sa
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.sql.functions import FunctionElement

from domain.records.base import table_of
from domain.records.engine import Store
from domain.records.equipment import Equipment, EquipmentKind, EquipmentModel, RunPeriodStated
from domain.records.lists import one
from domain.records.organisations import Organisation
from domain.records.sites import Site
from domain.records.statements import Compiled, DialectName, ForeignRow, OpenStatement, Statement, instant_text, json_text
from tests import makers

AN_ID = UUID("01890a5d-ac96-774b-bcce-b302099a8057")
DIALECTS: tuple[DialectName, ...] = ("sqlite", "postgresql")


def test_a_statement_is_compiled_once_for_each_database():
    statement = Statement(sa.select(table_of(Site)))

    assert statement.on("sqlite") is statement.on("sqlite")
    assert statement.on("sqlite") is not statement.on("postgresql")


@pytest.mark.parametrize("dialect", DIALECTS)
def test_a_parameter_that_is_not_given_is_an_error(dialect):
    compiled = one(Site).on(dialect)

    with pytest.raises(KeyError):
        compiled.bound({"id": AN_ID})
    with pytest.raises(KeyError):
        compiled.bound({"organisation_id": 1})
    assert len(compiled.bound({"organisation_id": 1, "id": AN_ID, "more": 2})) == 2


@pytest.mark.parametrize("dialect", DIALECTS)
def test_constants_of_a_statement_need_not_be_given(dialect):
    table = table_of(Site)
    compiled = Statement(sa.select(table.c.id).where(table.c.note == "wet", table.c.name == sa.bindparam("name"))).on(dialect)

    bound = compiled.bound({"name": "Reedmere"})
    assert sorted(bound.values() if isinstance(bound, dict) else bound) == ["Reedmere", "wet"]


def test_parameters_are_given_in_the_form_of_each_driver():
    insert = Statement(sa.insert(table_of(EquipmentModel)))
    given: dict[str, Any] = dict.fromkeys(table_of(EquipmentModel).columns.keys())
    at = datetime(2026, 3, 1, 13, 30, tzinfo=timezone(timedelta(hours=1)))
    given |= {"id": AN_ID, "created_at": at, "ended_on": date(2026, 3, 1), "kind": EquipmentKind.UVB_TUBE, "checks": [{"b": 1, "a": 2}]}

    by_position, postgres = (insert.on(dialect).bound(given) for dialect in DIALECTS)
    sqlite = dict(zip(insert.on("sqlite").positions or (), by_position, strict=True))

    names = ("id", "created_at", "ended_on", "kind", "checks", "life_months")
    assert [sqlite[name] for name in names] == [
        AN_ID.bytes, "2026-03-01T12:30:00.000000Z", "2026-03-01", "uvb-tube", '[{"a":2,"b":1}]', None,
    ]  # fmt: skip
    assert [postgres[name] for name in names] == [AN_ID, at, date(2026, 3, 1), "uvb-tube", '[{"a":2,"b":1}]', None]


@pytest.mark.usefixtures("organisation")
def test_rows_come_back_as_python_values_or_ready_for_an_answer(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = makers.site(unit)
        of = makers.model(unit, kind="air-pump")
        item = makers.equipment(unit, of, at, run_schedule=[{"hours_per_day": 12}], expires_on=None)
        found = unit.named(one(Equipment), id=item.id)[0]
        compiled = one(Equipment).on(store.dialect)
        raw = unit.raw_rows(one(Equipment), id=item.id)[0]
        answer = dict(zip(compiled.keys, compiled.json_row(raw), strict=True))
        kind = unit.named(one(EquipmentModel), id=of.id)[0]["kind"]

    assert kind is EquipmentKind.AIR_PUMP
    assert (found["id"], found["created_at"], found["installed_on"]) == (item.id, makers.NOON, date(2025, 3, 1))
    assert found["run_schedule"] == [{"starts_on": None, "hours_per_day": 12, "seasons": []}]
    encoded = msgspec.json.decode(msgspec.json.encode(answer))
    assert (encoded["id"], encoded["model_id"]) == (str(item.id), str(of.id))
    assert (encoded["created_at"], encoded["installed_on"]) == ("2026-03-01T12:00:00.000000Z", "2025-03-01")
    assert (encoded["expires_on"], encoded["version"]) == (None, 1)
    assert encoded["run_schedule"] == [{"starts_on": None, "hours_per_day": 12.0, "seasons": []}]


@pytest.mark.usefixtures("organisation")
def test_a_reading_statement_runs_beside_the_transactions(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        made = makers.site(unit)

    async def names() -> list[str]:
        await store.open()
        try:
            compiled = one(Site).on(store.dialect)
            rows = await store.read(one(Site), organisation_id=makers.ORGANISATION, id=made.id)
            others = await store.read(one(Site), organisation_id=makers.OTHER_ORGANISATION, id=made.id)
            return [row[compiled.keys.index("name")] for row in (*rows, *others)]
        finally:
            await store.close_reads()

    assert asyncio.run(names()) == ["Reedmere House"]


@pytest.mark.parametrize(
    ("at", "text"),
    [
        (datetime(2026, 3, 1, 12, tzinfo=UTC), "2026-03-01T12:00:00.000000Z"),
        (datetime(2026, 3, 1, 12, 0, 0, 1, tzinfo=UTC), "2026-03-01T12:00:00.000001Z"),
        (datetime(2026, 3, 1, 0, 30, tzinfo=timezone(timedelta(hours=13))), "2026-02-28T11:30:00.000000Z"),
    ],
)
def test_an_instant_is_written_in_utc_and_always_at_one_length(at, text):
    assert instant_text(at) == text


def test_an_instant_without_offset_is_refused():
    with pytest.raises(ValueError, match="offset"):
        instant_text(datetime(2026, 3, 1, 12))  # noqa: DTZ001 - what is to be refused


def test_equal_values_have_equal_text():
    stated = RunPeriodStated(hours_per_day=12.0)

    assert json_text({"b": 1, "a": stated, "c": AN_ID}) == json_text({"c": AN_ID, "a": stated, "b": 1})
    assert json_text({"b": None, "a": [date(2026, 3, 1)]}) == '{"a":["2026-03-01"],"b":null}'


def test_what_json_cannot_say_is_refused():
    with pytest.raises(TypeError, match="object is no JSON value"):
        json_text({"a": object()})


SITE, ITEM, TENANT = table_of(Site), table_of(Equipment), table_of(Organisation)
OWN = SITE.c.organisation_id == sa.bindparam("organisation_id")
AT_OWN = SITE.c.organisation_id == sa.bindparam("at_organisation_id")
INNER = sa.select(SITE.c.organisation_id, SITE.c.name).subquery()
NAMELESS = sa.select(SITE.c.name).subquery()
OTHER_NAME = SITE.alias("other")


class _Nameless(FunctionElement[bool]):
    type = sa.Boolean()
    inherit_cache = True


@compiles(_Nameless)
def _nameless(*_: Any, **__: Any) -> str:
    return "1"


# What is asked, what it tells, and the column that tells it.
TOLD = {
    "a table": (sa.select(SITE.c.name).where(OWN), "rows", "site.organisation_id AS whose"),
    "the organisations": (sa.select(TENANT.c.name), "rows", "organisation.id AS whose"),
    "a table by another name": (sa.select(OTHER_NAME.c.name), "rows", "other.organisation_id AS whose"),
    "the first of several": (
        sa.select(SITE.c.name).join(ITEM, ITEM.c.site_id == SITE.c.id).join(TENANT, TENANT.c.id == SITE.c.organisation_id),
        "rows",
        "site.organisation_id AS whose",
    ),
    "a selection": (sa.select(INNER.c.name), "rows", "anon_1.organisation_id AS whose"),
    "a selection that does not say": (sa.select(NAMELESS.c.name), None, ""),
    "how many": (sa.select(sa.func.count()).select_from(SITE).where(OWN), "sum", "AS whose"),
    "what has no name of its own": (sa.select(_Nameless()).select_from(SITE), "rows", "site.organisation_id AS whose"),
    "what is computed row by row": (sa.select(sa.func.lower(SITE.c.name)), "rows", "site.organisation_id AS whose"),
    "nothing": (sa.select(sa.literal_column("1")), None, ""),
    "two selections": (sa.union_all(sa.select(SITE.c.name), sa.select(SITE.c.note)), None, ""),
    "a function": (sa.select(sa.func.organisation_directory().table_valued("id")), None, ""),
    "what is inserted": (sa.insert(SITE), None, ""),
    "what is changed": (sa.update(SITE).where(OWN).values(note=""), "changes", ""),
    "what is removed": (sa.delete(SITE).where(OWN), "changes", ""),
} | {
    f"{name} of rows": (
        sa.select(getattr(sa.func, name)(SITE.c.name).label("found")).where(OWN),
        "sum",
        "CASE WHEN (min(site.organisation_id) < max(site.organisation_id)) THEN 0 ELSE min(site.organisation_id) END AS whose",
    )
    for name in ("count", "group_concat", "max", "min", "string_agg")
}


@pytest.mark.parametrize("dialect", DIALECTS)
@pytest.mark.parametrize(("asked", "telling", "column"), TOLD.values(), ids=TOLD.keys())
def test_a_statement_tells_whose_its_rows_are(asked, telling, column, dialect):
    compiled = Statement(asked).on(dialect)

    assert compiled.telling == telling
    assert column in compiled.sql
    assert ("whose" in compiled.sql) is bool(column)
    assert bool(re.search(r"RETURNING (site\.)?organisation_id$", compiled.sql)) is (telling == "changes")


def test_an_open_statement_tells_nothing():
    compiled = OpenStatement(sa.select(TENANT.c.name)).on("sqlite")

    assert (compiled.telling, compiled.sql.split()) == (None, ["SELECT", "organisation.name", "FROM", "organisation"])


def telling(what):
    return Compiled("", (), {}, None, (), (), (), telling=what)


@pytest.mark.parametrize(
    ("what", "rows", "own"),
    [
        (None, [("a", 1), ("b", 2)], [("a", 1), ("b", 2)]),
        ("rows", [("a", 1), ("b", 2), ("c", None), ("d", 1)], [("a",), ("d",)]),
        ("rows", [("b", 2)], []),
        ("sum", [(3, 1)], [(3,)]),
        ("sum", [(0, None)], [(0,)]),
        ("changes", [(1,), (1,)], [(), ()]),
        ("changes", [], []),
    ],
)
def test_of_the_rows_of_a_statement_only_the_own_go_further_and_without_what_tells(what, rows, own):
    assert telling(what).own(rows, 1) == own


@pytest.mark.parametrize(("what", "rows", "strange"), [("sum", [(3, 0)], 0), ("sum", [(3, 1), (3, 2)], 2), ("changes", [(1,), (7,)], 7)])
def test_what_was_changed_or_summed_up_of_anothers_is_refused(what, rows, strange):
    with pytest.raises(ForeignRow) as refused:
        telling(what).own(rows, 1)

    assert str(refused.value) == f"rows of organisation {strange} in a statement of 1"


@pytest.mark.parametrize("dialect", DIALECTS)
@pytest.mark.parametrize(
    ("asked", "owner"),
    [
        (sa.select(SITE.c.name).where(OWN), None),
        (sa.insert(SITE), "organisation_id"),
        (sa.insert(TENANT), "id"),
        (sa.update(SITE).where(OWN).values(note=""), "organisation_id"),
        (sa.update(SITE).where(AT_OWN).values(organisation_id=sa.bindparam("organisation_id")), "at_organisation_id"),
        (sa.delete(TENANT).where(TENANT.c.id == sa.bindparam("at_id")), "at_id"),
    ],
)
def test_what_writes_says_by_which_parameter_whose_rows_it_is_about(asked, owner, dialect):
    assert Statement(asked).on(dialect).owner == owner


def test_what_writes_and_does_not_say_whose_rows_is_refused():
    with pytest.raises(LookupError) as refused:
        Statement(sa.update(SITE).where(SITE.c.id == sa.bindparam("at_id")).values(note="")).on("sqlite")

    assert str(refused.value) == "a statement on site does not say whose rows it writes"


@pytest.mark.parametrize(
    ("asked", "of_sqlite", "of_postgres"),
    [
        (sa.insert(SITE), "INSERT INTO main.site (", "INSERT INTO site ("),
        (sa.update(SITE).where(OWN).values(note=""), "UPDATE main.site SET", "UPDATE site SET"),
        (sa.delete(SITE).where(OWN), "DELETE FROM main.site WHERE", "DELETE FROM site WHERE"),
        (sa.select(SITE.c.name), "FROM site", "FROM site"),
    ],
)
def test_only_what_writes_on_sqlite_names_the_table_behind_the_view(asked, of_sqlite, of_postgres):
    statement = Statement(asked)

    assert of_sqlite in statement.on("sqlite").sql
    assert of_postgres in statement.on("postgresql").sql
    assert "main." not in statement.on("postgresql").sql


KINDS = sa.select(
    ITEM.c.id, ITEM.c.created_at, ITEM.c.installed_on, ITEM.c.run_schedule, table_of(EquipmentModel).c.kind,
    ITEM.c.tag, ITEM.c.ended_on.is_(None).label("kept"),
)  # fmt: skip
AT = datetime(2026, 3, 1, 12, tzinfo=UTC)


def test_a_row_is_read_in_the_form_of_each_driver():
    statement = Statement(KINDS)
    stored = (AN_ID.bytes, "2026-03-01T12:00:00.000000Z", "2026-03-01", "[1]", "uvb-tube", "A", 1)
    given = (AN_ID, AT, date(2026, 3, 1), "[1]", "uvb-tube", "A", True)

    wanted = (AN_ID, AT, date(2026, 3, 1), [1], EquipmentKind.UVB_TUBE, "A", True)
    for dialect, row in zip(DIALECTS, (stored, given), strict=True):
        found = statement.on(dialect).python_row(row)
        assert (found, [type(one) for one in found]) == (wanted, [type(one) for one in wanted])
        assert statement.on(dialect).python_row([None] * 7) == (None,) * 7


def test_a_row_is_answered_alike_by_both_databases():
    statement = Statement(KINDS)
    stored = (AN_ID.bytes, "2026-03-01T12:00:00.000000Z", "2026-03-01", "[1]", "uvb-tube", "A", 1)
    given = (AN_ID, AT, date(2026, 3, 1), "[1]", "uvb-tube", "A", True)

    answers = [msgspec.json.encode(statement.on(dialect).json_row(row)) for dialect, row in zip(DIALECTS, (stored, given), strict=True)]

    assert answers[0] == answers[1]
    assert answers[0] == f'["{AN_ID}","2026-03-01T12:00:00.000000Z","2026-03-01",[1],"uvb-tube","A",true]'.encode()


@pytest.mark.parametrize("dialect", DIALECTS)
def test_what_is_not_given_for_a_column_is_stored_as_nothing(dialect):
    insert = Statement(sa.insert(ITEM)).on(dialect)

    bound = insert.bound(dict.fromkeys(ITEM.columns.keys()))

    values = dict(bound) if isinstance(bound, dict) else dict(zip(insert.positions or (), bound, strict=True))
    assert {values[name] for name in ("id", "created_at", "installed_on", "tag")} == {None}
    assert insert.keys == ()


def test_constants_go_to_the_driver_with_what_is_given():
    compiled = Statement(sa.select(SITE.c.name).where(SITE.c.note == "wet", OWN)).on("postgresql")

    assert compiled.bound({"organisation_id": 1}) == {"organisation_id": 1, "note_1": "wet"}
    assert (compiled.keys, compiled.positions) == (("name",), None)


def test_a_value_that_stands_for_a_member_is_given_as_it_is():
    kinds = sa.select(SITE.c.id).where(table_of(EquipmentModel).c.kind == sa.bindparam("kind"))

    assert Statement(kinds).on("sqlite").bound({"kind": "uvb-tube"}) == ["uvb-tube"]
    (bound,) = Statement(kinds).on("sqlite").bound({"kind": EquipmentKind.UVB_TUBE})
    assert (bound, type(bound)) == ("uvb-tube", str)


@pytest.mark.parametrize("dialect", DIALECTS)
def test_what_writes_may_give_columns_back(dialect):
    compiled = Statement(sa.update(SITE).where(OWN).values(note="").returning(SITE.c.id, SITE.c.name)).on(dialect)

    assert compiled.keys == ("id", "name")
    assert compiled.own([("a", "b", 1)], 1) == [("a", "b")]


@pytest.mark.parametrize("dialect", DIALECTS)
def test_text_that_somebody_else_wrote_gives_no_columns(dialect):
    compiled = Statement(sa.text("SELECT 1")).on(dialect)

    assert (compiled.sql, compiled.keys, compiled.telling, compiled.owner) == ("SELECT 1", (), None, None)
