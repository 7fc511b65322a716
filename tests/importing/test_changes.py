"""A list imported again changes what differs, leaves alone what is blank, and says nothing twice."""

from __future__ import annotations

import json
from uuid import UUID

import pytest

from api.importing import import_file
from domain.actions.equipment import change_equipment, end_equipment
from domain.actions.recording import Ending
from domain.records.equipment import Equipment
from domain.records.journal import JournalEntry
from domain.records.nights import ImportKind
from tests import makers
from tests.importing.conftest import text

pytestmark = pytest.mark.usefixtures("houses")

SITE, OTHER, MODEL = "Reedmere House", "Quillback Rescue", "Plim pH probe"
WIDE = ("tag", "site", "model", "enclosure", "installed_on", "hours_per_day", "note")
FULL = ["A-1", SITE, MODEL, "Hall A 01", "2025-01-02", "12", "first"]


@pytest.fixture
def wide(items):
    return lambda *rows: items(*rows, headings=WIDE, create_enclosures=True)


def one(stored):
    (row,) = stored(Equipment)
    return row


def patch_schedule(store, row, schedule):
    with store.transaction(makers.origin()) as unit:
        change_equipment(unit, UUID(str(row["id"])), {"run_schedule": schedule}, expected_version=row["version"])


def test_the_same_row_again_changes_nothing(wide, stored):
    wide(FULL)

    report = wide(
        [
            "a-1 ",
            " reedmere HOUSE",
            "PLIM PH PROBE",
            "hall a 01",
            "2 January 2025",
            "12 h/day",
            " first",
        ]
    )

    assert (report.created, report.changed, report.unchanged) == (0, 0, 1)
    assert (one(stored)["version"], one(stored)["tag"]) == (1, "A-1")


def test_blank_cells_leave_their_fields_as_they_are(wide, stored):
    wide(FULL)

    report = wide(["A-1", "", "", "", "", "", ""])

    assert (report.unchanged, report.refused, report.notices) == (1, 0, ())
    assert one(stored)["note"] == "first"


def test_what_differs_is_changed_and_journalled_with_what_was(wide, stored):
    wide(FULL)

    report = wide(["A-1", SITE, MODEL, "Hall A 01", "2025-01-03", "", "second"])

    assert (report.changed, report.created) == (1, 0)
    assert (one(stored)["version"], one(stored)["note"]) == (2, "second")
    last = json.loads(stored(JournalEntry)[-1]["content"])
    assert (last["action"], last["before"]) == ("import_equipment", {"installed_on": "2025-01-02", "note": "first"})


def test_other_hours_take_the_place_of_constant_ones(wide, stored):
    wide(FULL)

    assert wide(["A-1", "", "", "", "", "10", ""]).changed == 1
    assert one(stored)["run_schedule"] == [{"starts_on": None, "hours_per_day": 10.0, "seasons": []}]
    assert one(stored)["hours_per_day"] == 10.0


@pytest.mark.parametrize(("hours", "kept"), [("12", True), ("8", True), ("9", False)])
def test_a_richer_schedule_stays_unless_the_hours_are_none_of_it(wide, store, stored, hours, kept):
    wide(FULL)
    richer = [{"hours_per_day": 12.0}, {"starts_on": "2025-06-01", "hours_per_day": 8.0}]
    patch_schedule(store, one(stored), richer)

    report = wide(["A-1", "", "", "", "", hours, ""])

    assert (report.unchanged, report.changed) == ((1, 0) if kept else (0, 1))
    assert len(one(stored)["run_schedule"]) == (2 if kept else 1)


def test_a_schedule_by_season_stays_and_that_is_noted(wide, store, stored):
    wide(FULL)
    patch_schedule(store, one(stored), [{"seasons": [{"from_month": 1, "from_day": 1, "hours_per_day": 10.0}]}])

    report = wide(["A-1", "", "", "", "", "12", ""])

    assert (report.unchanged, [notice.code for notice in report.notices]) == (1, ["run_schedule-kept"])


def test_an_item_that_moved_needs_its_new_enclosure(wide):
    wide(FULL)

    assert [remark.code for remark in wide(["A-1", OTHER, "", "", "", "", ""]).refusals] == ["other-site"]
    assert wide(["A-1", OTHER, "", "Ward 1", "", "", ""]).changed == 1


def test_the_tag_of_an_ended_item_is_free_again(wide, store, stored):
    wide(FULL)
    with store.transaction(makers.origin()) as unit:
        end_equipment(unit, one(stored)["id"], Ending(reason="burnt out"))

    report = wide(FULL)

    assert (report.created, report.unchanged) == (1, 0)
    assert sorted(row["ended_on"] is None for row in stored(Equipment)) == [False, True]


def test_a_change_is_checked_like_any_other_correction(wide, items):
    wide(FULL)

    report = items(
        ["A-1", "6"], headings=("tag", "override_life_months"), mapping='[defaults]\nsite = "Reedmere House"\nmodel = "Plim pH probe"'
    )

    assert [remark.code for remark in report.refusals] == ["override_reason-missing"]
    assert "override_reason" in report.refusals[0].reason


def test_a_missing_date_is_noted_again_until_it_is_stated(wide):
    undated = ["A-1", SITE, MODEL, "", "", "", ""]

    assert [notice.code for notice in wide(undated).notices] == ["installed_on-missing"]
    assert [notice.code for notice in wide(undated).notices] == ["installed_on-missing"]
    wide(FULL)
    assert wide(undated).notices == ()


def test_one_organisations_list_does_not_touch_anothers(wide, store, stored):
    wide(FULL)
    other = makers.organisation(store, organisation_id=makers.OTHER_ORGANISATION, name="Saltings Aquarium")

    content = text(WIDE, [*FULL[:-1], "theirs"])
    report = import_file(store, content, file_name="x", kind=ImportKind.EQUIPMENT, origin=makers.origin(organisation_id=other))

    assert {remark.code for remark in report.refusals} == {"site-unknown", "model-unknown"}
    assert one(stored)["note"] == "first"
