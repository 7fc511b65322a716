"""SQL that is built once and means the same on both databases."""

from __future__ import annotations

import asyncio
from datetime import UTC, date, datetime, timedelta, timezone
from typing import Any
from uuid import UUID

import msgspec
import pytest
import sqlalchemy as sa

from domain.records.base import table_of
from domain.records.engine import Store
from domain.records.equipment import Equipment, EquipmentKind, EquipmentModel, RunPeriodStated
from domain.records.lists import one
from domain.records.sites import Site
from domain.records.statements import DialectName, Statement, instant_text, json_text
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
    with pytest.raises(TypeError, match="no JSON value"):
        json_text({"a": object()})
