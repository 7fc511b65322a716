"""The equipment list as people keep it: what is refused, what is noted, and what is on record afterwards."""

from __future__ import annotations

import json
from datetime import date

import numpy as np
import pytest

from domain.actions.verify import prove
from domain.records.enclosures import Enclosure
from domain.records.equipment import Equipment, EquipmentModel
from domain.records.journal import JournalEntry
from domain.records.outlooks import site_batches
from domain.rules.service_life import RULE_KINDS, rule_dates
from tests import makers
from tests.importing.conftest import DATA, KIT_MAP, SEED

EXPECTED = json.loads((DATA / "kit-list.expected.json").read_text(encoding="utf-8"))
PROBLEMS = {(index, tag): said for index, tag, said in EXPECTED["problems"]}
CODES = {
    "installed missing": "installed_on-missing",
    "installed impossible": "date-impossible",
    "hours a day above 24": "hours-above-24",
    "model unknown": "model-unknown",
    "tag repeated": "tag-repeated",
}
pytestmark = pytest.mark.usefixtures("houses")
FORMS = ["kit-list.xlsx", "kit-list.csv"]


@pytest.fixture
def import_kit(importing):
    def run(name, **options):
        return importing((DATA / name).read_bytes(), mapping=KIT_MAP, file_name=name, **options)

    return run


def said(remarks):
    tags = [line.split(";")[0] for line in (DATA / "kit-list.csv").read_text(encoding="utf-8-sig").splitlines()[3:]]
    return {(remark.index, tags[remark.index]): remark.code for remark in remarks}


@pytest.mark.parametrize("name", FORMS)
def test_what_is_wrong_is_refused_and_missing_dates_are_noted(import_kit, name):
    report = import_kit(name, skip_invalid=True)

    assert {**said(report.refusals), **said(report.notices)} == {key: CODES[words] for key, words in PROBLEMS.items()}
    assert set(said(report.notices).values()) == {"installed_on-missing"}
    assert (report.rows_read, report.created, report.refused, report.skipped_totals, len(report.notices)) == (182, 176, 5, 1, 5)
    assert {remark.row - remark.index for remark in report.refusals} == {4}


@pytest.mark.parametrize("name", FORMS)
def test_exactly_the_good_items_are_on_record(import_kit, stored, name):
    import_kit(name, skip_invalid=True)

    wanted = {tag for tag, item in EXPECTED["items"].items() if "rejected" not in item}
    assert {row["tag"] for row in stored(Equipment)} == wanted
    assert {row["tag"] for row in stored(Equipment) if row["installed_on"] is None} == {
        tag for tag, item in EXPECTED["items"].items() if item.get("standing") == "unknown"
    }


def test_both_forms_leave_the_same_records(import_kit, stored):
    import_kit("kit-list.csv", skip_invalid=True)

    again = import_kit("kit-list.xlsx", skip_invalid=True)

    assert (again.created, again.changed, again.unchanged, again.refused) == (0, 0, 176, 5)
    assert {row["version"] for row in stored(Equipment)} == {1}


def test_one_refusal_means_that_nothing_is_written(import_kit, stored):
    report = import_kit("kit-list.csv")

    assert (report.written, report.created, report.refused) == (False, 176, 5)
    assert stored(Equipment) == stored(Enclosure) == []


def test_a_dry_run_says_the_same_and_writes_nothing(import_kit, stored):
    dry = import_kit("kit-list.csv", skip_invalid=True, dry_run=True)

    assert stored(Equipment) == []
    assert (dry.written, dry.dry_run) == (False, True)
    wet = import_kit("kit-list.csv", skip_invalid=True)
    assert (dry.created, dry.enclosures_created, dry.refusals, dry.notices) == (
        wet.created,
        wet.enclosures_created,
        wet.refusals,
        wet.notices,
    )


def test_remarks_and_names_are_kept_as_they_stand(import_kit, stored):
    import_kit("kit-list.xlsx", skip_invalid=True)

    items = {row["tag"]: row for row in stored(Equipment)}
    assert items["RE-1002"]["note"] == "=see log"
    assert items["RE-1001"]["note"] == "Łąka end, check clips"
    assert items["RE-1004"]["note"] == ""
    assert items["QU-1000"]["run_schedule"] == [{"starts_on": None, "hours_per_day": 9.0, "seasons": []}]
    assert (items["QU-1000"]["hours_per_day"], items["RE-1001"]["run_schedule"]) == (9.0, [])
    models = {row["id"]: row["name"] for row in stored(EquipmentModel)}
    assert models[items["RE-1128"]["model_id"]] == models[items["QU-1066"]["model_id"]] == "Halden T5 54W high"


def test_every_record_leaves_one_journal_entry(import_kit, stored):
    report = import_kit("kit-list.csv", skip_invalid=True)

    actions = [json.loads(row["content"])["action"] for row in stored(JournalEntry)]
    assert actions.count("import_equipment") == 176
    assert actions.count("import_enclosure") == report.enclosures_created == len(stored(Enclosure))


def test_enclosures_are_made_only_where_that_is_asked(importing, stored):
    refusing = KIT_MAP.replace('"create"', '"refuse"')
    report = importing((DATA / "kit-list.csv").read_bytes(), mapping=refusing, skip_invalid=True)

    assert report.created == 0
    assert {remark.code for remark in report.refusals} >= {"enclosure-unknown"}
    assert stored(Enclosure) == []


def test_the_models_are_read_with_and_without_a_mapping(importing, stored):
    mapping = (SEED / "kit-models.map.toml").read_text(encoding="utf-8")
    again = importing((DATA / "kit-models.json").read_bytes(), kind="equipment-models", mapping=mapping)

    assert (again.created, again.changed, again.unchanged, again.refused) == (0, 0, 11, 0)
    models = {row["name"]: row for row in stored(EquipmentModel)}
    assert (models["Sennoch UVC 36"]["unit_cost_minor"], models["Sennoch UVC 36"]["life_hours"]) == (2990, 9000.0)
    assert (models["Plim pH probe"]["kind"], models["Plim pH probe"]["life_hours"]) == ("ph-probe", None)


def test_due_dates_follow_from_what_was_imported(import_kit, store, stored):
    import_kit("kit-list.xlsx", skip_invalid=True)

    found = due_dates(store, stored)

    wanted = {tag: (item.get("due_on"), item.get("binding")) for tag, item in EXPECTED["items"].items() if "rejected" not in item}
    assert found == wanted
    today = EXPECTED["today"]
    assert {tag for tag, (due, _) in found.items() if due and due < today} == {
        tag for tag, item in EXPECTED["items"].items() if item.get("overdue")
    }


def due_dates(store, stored):
    tags = {row["id"]: row["tag"] for row in stored(Equipment)}
    found = {}
    for site_id in {row["site_id"] for row in stored(Equipment)}:
        with store.snapshot(makers.origin()) as unit:
            for batch in site_batches(unit, site_id, on=date(2026, 3, 1)):
                dates = rule_dates(batch.facts)
                for i, due in enumerate(dates.first_due):
                    known = not np.isnat(due) and not dates.undecided[i]
                    found[tags[batch.id_of(i)]] = (str(due), RULE_KINDS[dates.binding[i]].value) if known else (None, None)
    return found


def test_the_journal_proves_what_was_imported(import_kit, store):
    import_kit("kit-list.csv", skip_invalid=True)

    with store.snapshot(makers.origin()) as unit:
        proof = prove(unit)

    assert proof.flaws == []
    assert proof.entries > 176
