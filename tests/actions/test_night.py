"""A night at one site: what it stores, and that a second run adds nothing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from hashlib import sha256
from typing import Any
from uuid import UUID

import pytest

from domain.actions.equipment import change_equipment, end_equipment
from domain.actions.night import (
    KEEP_FORECAST,
    Night,
    PaperFile,
    keep_paper,
    record_failed_night,
    run_night,
)
from domain.actions.recording import Ending
from domain.records import journal
from domain.records.base import table_of
from domain.records.engine import Store
from domain.records.equipment import Equipment
from domain.records.nights import NightlyRun, ReportFile, StoredForecast, WorkState
from domain.records.sites import Site
from domain.records.statements import Statement
from domain.records.unit import Unit, sealed
from domain.rules.service_life import RuleKind, Standing
from tests import makers

pytestmark = pytest.mark.usefixtures("organisation")

TODAY = date(2026, 3, 1)


class WatchedUnit(Unit):
    """A unit that remembers which forecasts were written."""

    written: Sequence[Mapping[str, Any]] = ()

    def run_many(self, statement: Statement, rows: Sequence[Mapping[str, Any]]) -> None:
        if statement is KEEP_FORECAST[self.dialect]:
            self.written = [*rows]
        super().run_many(statement, rows)


class House:
    """A site with an item that is due, one that is good and one that cannot be dated."""

    def __init__(self, unit: Unit, **of_site: Any) -> None:
        self.site = makers.site(unit, **of_site)
        name = self.site.name
        yearly = makers.model(unit, name=f"Yearly at {name}", life_months=12, lead_days=7)
        hourly = makers.model(unit, name=f"Hourly at {name}", life_hours=5000)
        self.due = makers.equipment(unit, yearly, self.site, tag=f"due {name}", installed_on="2025-03-01")
        self.good = makers.equipment(unit, yearly, self.site, tag=f"good {name}", installed_on="2025-12-01")
        self.unknown = makers.equipment(unit, hourly, self.site, tag=f"unknown {name}")


def night_at(store: Store, site: Site, *, at: datetime = makers.NOON) -> tuple[Night, set[UUID]]:
    """Run a night and return it with the items whose forecast was written."""
    origin = makers.origin(at=at)
    with store.transaction(origin) as unit, sealed(WatchedUnit(unit.cursor, dialect=store.dialect, origin=origin)) as watched:
        night = run_night(watched, site)
        return night, {row["equipment_id"] for row in watched.written}


def forecasts(store: Store, *, organisation_id: int = makers.ORGANISATION) -> dict[UUID, StoredForecast]:
    with store.transaction(makers.origin(organisation_id=organisation_id)) as unit:
        return {one.equipment_id: one for one in unit.all(StoredForecast, Statement(table_of(StoredForecast).select()))}


def runs(store: Store) -> list[NightlyRun]:
    table = table_of(NightlyRun)
    with store.transaction(makers.origin()) as unit:
        return unit.all(NightlyRun, Statement(table.select().order_by(table.c.local_date, table.c.revision)))


def journal_end(store: Store) -> tuple[Any, ...] | None:
    with store.transaction(makers.origin()) as unit:
        return unit.row(journal.HEAD)


def built(store: Store, **of_site: Any) -> House:
    with store.transaction(makers.origin()) as unit:
        return House(unit, **of_site)


def changed(store: Store, item: Equipment, **patch: Any) -> None:
    with store.transaction(makers.origin()) as unit:
        change_equipment(unit, item.id, patch, expected_version=item.version)


def test_a_night_stores_every_items_forecast_and_what_it_counted(store: Store) -> None:
    house = built(store)

    night, written = night_at(store, house.site)

    assert (night.added, night.run.revision, night.run.local_date, night.run.state) == (True, 1, TODAY, WorkState.DONE)
    assert night.run.counts == {"overdue": 0, "due": 1, "due_soon": 0, "good": 1, "unknown": 1}
    assert written == {house.due.id, house.good.id, house.unknown.id}
    stored = forecasts(store)
    due = stored[house.due.id]
    assert (due.standing, due.binding, due.due_on, due.do_on, due.order_by) == (Standing.DUE, RuleKind.AGE, TODAY, TODAY, date(2026, 2, 22))
    assert (stored[house.good.id].standing, stored[house.good.id].due_on) == (Standing.GOOD, date(2026, 12, 1))
    unknown = stored[house.unknown.id]
    assert (unknown.standing, unknown.binding, unknown.due_on, unknown.do_on) == (Standing.UNKNOWN, None, None, None)
    assert [one.tag for one in night.due.items] == ["due Reedmere House", "unknown Reedmere House"]
    assert [(one.standing, one.due_on) for one in night.results if one.equipment_id == house.due.id] == [(Standing.DUE, TODAY)]


def test_a_second_run_that_finds_the_same_adds_nothing(store: Store) -> None:
    house = built(store)
    first, _ = night_at(store, house.site)
    before = journal_end(store)

    second, written = night_at(store, house.site, at=makers.NOON + timedelta(hours=3))

    assert (second.added, second.run, written) == (False, first.run, set())
    assert runs(store) == [first.run]
    assert journal_end(store) == before


def test_a_changed_fact_makes_a_new_revision_and_writes_that_forecast_only(store: Store) -> None:
    house = built(store)
    first, _ = night_at(store, house.site)
    changed(store, house.good, installed_on="2025-01-01")

    second, written = night_at(store, house.site)

    assert (second.added, second.run.revision) == (True, 2)
    assert second.run.digest != first.run.digest
    assert written == {house.good.id}
    assert forecasts(store)[house.good.id].standing is Standing.OVERDUE
    assert [run.revision for run in runs(store)] == [1, 2]


def test_a_changed_word_on_the_paper_makes_a_new_revision_though_no_date_changed(store: Store) -> None:
    house = built(store)
    night_at(store, house.site)
    changed(store, house.due, position="left lamp holder")

    second, written = night_at(store, house.site)

    assert (second.added, second.run.revision, written) == (True, 2, set())


def test_the_next_day_is_a_night_of_its_own(store: Store) -> None:
    house = built(store)
    night_at(store, house.site)

    second, written = night_at(store, house.site, at=makers.NOON + timedelta(days=1))

    assert (second.added, second.run.revision, second.run.local_date) == (True, 1, date(2026, 3, 2))
    assert written == {house.due.id}
    assert (forecasts(store)[house.due.id].standing, forecasts(store)[house.due.id].do_on) == (Standing.OVERDUE, date(2026, 3, 2))


def test_the_date_of_a_night_is_the_sites(store: Store) -> None:
    house = built(store, zone="Pacific/Auckland")

    night, _ = night_at(store, house.site)

    assert night.run.local_date == date(2026, 3, 2)
    assert forecasts(store)[house.due.id].standing is Standing.OVERDUE


def test_the_forecast_of_an_item_that_ended_is_forgotten(store: Store) -> None:
    house = built(store)
    night_at(store, house.site)
    with store.transaction(makers.origin()) as unit:
        end_equipment(unit, house.unknown.id, Ending(reason="cracked"))

    night, written = night_at(store, house.site)

    assert (night.run.revision, written) == (2, set())
    assert set(forecasts(store)) == {house.due.id, house.good.id}


def test_a_night_leaves_other_sites_and_organisations_alone(store: Store) -> None:
    makers.organisation(store, organisation_id=makers.OTHER_ORGANISATION, name="Other")
    foreign_origin = makers.origin(organisation_id=makers.OTHER_ORGANISATION)
    with store.transaction(foreign_origin) as unit:
        foreign = House(unit)
        run_night(unit, foreign.site)
    house, other = built(store), built(store, name="Elsewhere")
    night_at(store, other.site)
    before = forecasts(store)
    changed(store, other.good, installed_on="2025-01-01")

    night, written = night_at(store, house.site)

    assert night.run.revision == 1
    assert written == {house.due.id, house.good.id, house.unknown.id}
    after = forecasts(store)
    assert {item: after[item] for item in before} == before
    assert after[other.good.id].standing is Standing.GOOD
    assert {foreign.due.id, foreign.good.id, foreign.unknown.id} == set(forecasts(store, organisation_id=makers.OTHER_ORGANISATION))


def test_an_item_that_moved_is_kept_by_the_site_it_moved_to(store: Store) -> None:
    house, other = built(store), built(store, name="Elsewhere")
    night_at(store, house.site)
    night_at(store, other.site)
    changed(store, house.good, site_id=str(other.site.id))

    night_at(store, other.site)
    night_at(store, house.site)

    assert forecasts(store)[house.good.id].site_id == other.site.id


def test_a_night_that_failed_is_recorded_and_the_next_run_goes_on_from_it(store: Store) -> None:
    house = built(store)
    with store.transaction(makers.origin()) as unit:
        failed = record_failed_night(unit, house.site, error="a lamp model is gone")

    night, _ = night_at(store, house.site)

    assert (failed.state, failed.revision, failed.digest, failed.error) == (WorkState.FAILED, 1, None, "a lamp model is gone")
    assert (night.added, night.run.revision) == (True, 2)
    again, _ = night_at(store, house.site)
    assert not again.added


def test_a_paper_is_kept_in_all_its_forms(store: Store) -> None:
    house = built(store)
    forms = [PaperFile("pdf", b"%PDF"), PaperFile("csv", b"tag\r\n")]
    night, _ = night_at(store, house.site)

    with store.transaction(makers.origin()) as unit:
        report = keep_paper(unit, house.site, forms, report_id=unit.new_id(), today=TODAY, record_hash="ab", nightly_run_id=night.run.id)

    table = table_of(ReportFile)
    with store.transaction(makers.origin()) as unit:
        files = unit.all(ReportFile, Statement(table.select().order_by(table.c.form)))
    assert (report.state, report.local_date, report.nightly_run_id) == (WorkState.DONE, TODAY, night.run.id)
    assert [(one.report_id, one.form, bytes(one.content), one.sha256) for one in files] == [
        (report.id, form, content, sha256(content).hexdigest()) for form, content in (("csv", b"tag\r\n"), ("pdf", b"%PDF"))
    ]
