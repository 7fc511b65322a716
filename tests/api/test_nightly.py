"""The night over all sites: each on its own date, in its own transaction, and the papers kept."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from api.nightly import SITES, OrganisationNight, SiteNight, all_forecasts, run_nights, run_organisation_night
from domain.actions.reminders import Reminded
from domain.records.base import table_of
from domain.records.engine import Store
from domain.records.nights import NightlyRun, Report, ReportFile, WorkState
from domain.records.reminders import Reminder
from domain.records.sites import Site
from domain.records.statements import Statement
from tests import makers

pytestmark = pytest.mark.usefixtures("organisation")

LATE = datetime(2026, 3, 1, 23, 30, tzinfo=UTC)
RUNS, REPORTS, FILES, REMINDERS = (Statement(table_of(record).select()) for record in (NightlyRun, Report, ReportFile, Reminder))


def nights(store: Store, *, at: datetime = makers.NOON, only: tuple[str, ...] = ()) -> list[SiteNight]:
    return list(run_nights(store, makers.ORGANISATION, now=at, actor="test", request_id="test", only=only))


def two_sites(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        model = makers.model(unit, life_months=12)
        here, there = makers.site(unit), makers.site(unit, name="Tern Point", zone="Pacific/Auckland")
        makers.equipment(unit, model, here, tag="RE-1")
        makers.equipment(unit, model, there, tag="TP-1", installed_on="2025-03-02")


def test_each_site_is_judged_on_its_own_date(store: Store) -> None:
    two_sites(store)

    found = {night.site.name: night for night in nights(store, at=LATE)}

    assert {name: night.today for name, night in found.items()} == {
        "Reedmere House": date(2026, 3, 1),
        "Tern Point": date(2026, 3, 2),
    }
    assert all(night.due is not None and night.due.items[0].forecast.standing == "due" for night in found.values())


def test_a_night_keeps_its_paper_in_every_form(store: Store) -> None:
    two_sites(store)

    found = nights(store, only=("reedmere HOUSE",))

    with store.snapshot(makers.origin()) as unit:
        (report,) = unit.all(Report, REPORTS)
        files = {row["form"]: row["content"] for row in unit.named(FILES)}
    assert (report.state, report.nightly_run_id is not None) == (WorkState.DONE, True)
    assert files == {file.form: file.content for file in found[0].files}
    assert files["pdf"].startswith(b"%PDF")
    assert b"RE-1" in files["csv"]
    assert b"RE-1" in files["json"]


def test_a_second_run_adds_nothing(store: Store) -> None:
    two_sites(store)
    nights(store)
    with store.snapshot(makers.origin()) as unit:
        before = [unit.rows(statement) for statement in (RUNS, REPORTS, FILES)]

    again = nights(store)

    assert [(night.added, list(night.files)) for night in again] == [(False, []), (False, [])]
    with store.snapshot(makers.origin()) as unit:
        assert [unit.rows(statement) for statement in (RUNS, REPORTS, FILES)] == before


def test_a_site_that_fails_is_recorded_and_the_others_go_on(store: Store) -> None:
    two_sites(store)
    with store.transaction(makers.origin()) as unit:
        makers.behind(unit, "UPDATE equipment SET hours_per_day = NULL, run_schedule = '[{' WHERE tag = 'RE-1'")

    found = {night.site.name: night for night in nights(store)}

    assert found["Reedmere House"].error is not None
    assert found["Tern Point"].error is None
    with store.snapshot(makers.origin()) as unit:
        runs = {run.site_id: run for run in unit.all(NightlyRun, RUNS)}
    failed = runs[found["Reedmere House"].site.id]
    assert (failed.state, failed.error) == (WorkState.FAILED, found["Reedmere House"].error)
    assert runs[found["Tern Point"].site.id].state is WorkState.DONE


def test_a_site_that_is_not_there_is_said_with_those_that_are(store: Store) -> None:
    two_sites(store)

    with pytest.raises(LookupError, match=r"no site 'Nowhere'.*Reedmere House, Tern Point"):
        nights(store, only=("Nowhere",))


def test_every_forecast_can_be_seen_due_or_not(store: Store) -> None:
    two_sites(store)
    here = next(night.site for night in nights(store) if night.site.name == "Reedmere House")
    with store.transaction(makers.origin()) as unit:
        makers.equipment(unit, makers.model(unit, name="Pump", kind="circulation-pump", life_months=48), here, tag="RE-2")

    assert [item.tag for item in all_forecasts(store, makers.origin(), here)] == ["RE-1", "RE-2"]


def whole(store: Store, *, at: datetime = makers.NOON) -> OrganisationNight:
    return run_organisation_night(store, makers.ORGANISATION, now=at, actor="test", request_id="test")


def reminders(store: Store) -> list[tuple[str, str]]:
    with store.snapshot(makers.origin()) as unit:
        return sorted((one.sentence.split(" ")[1], one.stage.value) for one in unit.all(Reminder, REMINDERS))


def test_each_night_brings_the_reminders_of_its_site_up_to_its_date(store: Store) -> None:
    two_sites(store)

    first = {night.site.name: night.reminded for night in nights(store)}
    again = [night.reminded for night in nights(store)]

    assert first == {"Reedmere House": Reminded(added=1), "Tern Point": Reminded(added=1)}
    # At noon in UTC it is 1 March at one site and 2 March at the other.
    assert reminders(store) == [("RE-1", "due"), ("TP-1", "due")]
    assert again == [Reminded(), Reminded()]


def test_a_night_that_finds_the_same_items_still_brings_reminders_up_to_what_changed_besides(store: Store) -> None:
    two_sites(store)
    nights(store)
    with store.transaction(makers.origin()) as unit:
        here = next(one for one in unit.all(Site, SITES) if one.name == "Reedmere House")
        makers.permit(unit, site_id=str(here.id), valid_until="2026-03-20")

    found = {night.site.name: (night.added, night.reminded) for night in nights(store)}

    assert found == {"Reedmere House": (False, Reminded(added=1)), "Tern Point": (False, Reminded())}


def test_the_replay_of_an_earlier_night_leaves_the_reminders_of_the_latest(store: Store) -> None:
    two_sites(store)
    nights(store, at=makers.NOON + timedelta(days=1))
    whole(store, at=makers.NOON + timedelta(days=1))
    before = reminders(store)

    replayed = nights(store)

    assert [night.reminded for night in replayed] == [None, None]
    assert whole(store) == OrganisationNight()
    assert reminders(store) == before == [("RE-1", "overdue"), ("TP-1", "overdue")]


def test_reminders_that_fail_fail_the_night_of_their_site_alone(store: Store) -> None:
    two_sites(store)
    with store.transaction(makers.origin()) as unit:
        here = next(one for one in unit.all(Site, SITES) if one.name == "Reedmere House")
        makers.equipment(unit, makers.model(unit, name="Odd", life_months=12), here, tag="RE-9")
        makers.behind(unit, "UPDATE equipment_model SET warn_days = 99999999 WHERE name = 'Odd'")

    found = {night.site.name: night for night in nights(store)}

    assert {name: (night.error is None, night.reminded) for name, night in found.items()} == {
        "Reedmere House": (False, None),
        "Tern Point": (True, Reminded(added=1)),
    }
    with store.snapshot(makers.origin()) as unit:
        runs = {run.site_id: run.state for run in unit.all(NightlyRun, RUNS)}
    assert runs == {found["Reedmere House"].site.id: WorkState.FAILED, found["Tern Point"].site.id: WorkState.DONE}
    assert reminders(store) == [("TP-1", "due")]


def test_what_is_of_no_site_is_reminded_in_a_transaction_of_its_own_and_its_failure_is_said(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        makers.permit(unit, valid_until="2026-03-20")

    assert whole(store) == OrganisationNight(Reminded(added=1))
    assert whole(store) == OrganisationNight(Reminded())
    with store.transaction(makers.origin()) as unit:
        makers.behind(unit, "UPDATE permit SET activities = '[{'")
    failed = whole(store)
    assert (failed.reminded, failed.error is not None) == (None, True)
