"""Lists of sites, enclosures and equipment models."""

from __future__ import annotations

import json

import pytest

from domain.records.enclosures import Enclosure
from domain.records.engine import Store
from domain.records.equipment import EquipmentModel
from domain.records.sites import Site
from tests import makers
from tests.importing.conftest import text

SITE = "Reedmere House"


@pytest.fixture
def reedmere(store: Store, organisation):
    with store.transaction(makers.origin(organisation_id=organisation)) as unit:
        return makers.site(unit, name=SITE)


@pytest.fixture
def listed(importing):
    def run(kind, headings, *rows, **rest):
        return importing(text(headings, *rows), kind=kind, **{"skip_invalid": True, **rest})

    return run


def problems(report):
    return [(remark.index, remark.column, remark.code) for remark in report.refusals]


def test_sites_are_made_changed_and_left(listed, stored):
    headings = ("name", "zone", "jurisdiction", "address")
    rows = [[SITE, "Europe/Lisbon", "XR-LOW", "1 Reed Lane\nReedmere"], ["Quillback", "Europe/London", "", ""]]

    first = listed("sites", headings, *rows)
    again = listed("sites", headings, ["REEDMERE house", "Europe/Lisbon", "", "2 Reed Lane"], rows[1])

    assert (first.created, again.changed, again.unchanged) == (2, 1, 1)
    site = next(row for row in stored(Site) if row["name"] == SITE)
    assert (site["jurisdiction"], site["address"], site["version"]) == ("XR-LOW", "2 Reed Lane", 2)


def test_what_a_site_cannot_be_is_refused(listed):
    headings = ("name", "zone", "jurisdiction")
    rows = [
        ["A", "CET", ""],
        ["B", "Europe/Lisbon", "low"],
        ["", "Europe/Lisbon", ""],
        ["D", "", ""],
        ["E", "UTC", ""],
        ["e", "UTC", ""],
    ]

    report = listed("sites", headings, *rows)

    assert problems(report) == [
        (0, "zone", "zone-unknown"),
        (1, "jurisdiction", "string-pattern-mismatch"),
        (2, "name", "name-missing"),
        (3, "zone", "zone-missing"),
        (5, "name", "name-repeated"),
    ]
    assert report.created == 1


def test_an_enclosure_is_registered_with_its_computed_size(listed, reedmere, stored):
    headings = ("site", "name", "kind", "shape", "length_m", "width_m", "water_depth_m", "displacement_fraction", "walking_order")
    mapping = '[units]\nlength_m = "cm"\nwidth_m = "cm"\nwater_depth_m = "cm"\ndisplacement_fraction = "%"'

    report = listed("enclosures", headings, [SITE, "Hall A 01", "Aquarium", "BOX", "120", "50", "0.4 m", "10", "3"], mapping=mapping)

    (row,) = stored(Enclosure)
    assert (report.created, row["site_id"], row["kind"]) == (1, reedmere.id, "aquarium")
    assert row["shape"] == {"kind": "box", "length_m": 1.2, "width_m": 0.5, "water_depth_m": 0.4}
    assert (row["volume_l"], row["floor_m2"], row["walking_order"]) == (pytest.approx(216.0), pytest.approx(0.6), 3)


def test_an_enclosure_imported_again_is_unchanged_and_takes_another_shape_whole(listed, reedmere, stored):
    headings = ("site", "name", "shape", "length_m", "width_m", "water_depth_m", "diameter_m")
    box = [SITE, "Hall A 01", "box", "1.2", "0.5", "0.4", ""]
    listed("enclosures", headings, box)

    assert listed("enclosures", headings, box).unchanged == 1
    assert listed("enclosures", headings, [SITE, "hall a 01", "", "", "", "", ""]).unchanged == 1
    assert listed("enclosures", headings, [SITE, "Hall A 01", "cylinder", "", "", "0.4", "1"]).changed == 1
    assert stored(Enclosure)[0]["shape"] == {"kind": "cylinder", "diameter_m": 1.0, "water_depth_m": 0.4}
    assert reedmere.id == stored(Enclosure)[0]["site_id"]


@pytest.mark.usefixtures("reedmere")
def test_what_an_enclosure_cannot_be_is_refused(listed):
    headings = ("site", "name", "kind", "shape", "length_m", "wall_m", "life_support_system", "displacement_fraction")
    rows = [
        [SITE, "A", "bathtub", "", "", "", "", ""],
        [SITE, "B", "", "", "1", "", "", ""],
        [SITE, "C", "", "oval", "", "", "", ""],
        [SITE, "D", "", "", "", "", "Hall loop", ""],
        ["Nowhere", "E", "", "", "", "", "", ""],
        [SITE, "F", "", "", "", "", "", "1.0"],
        [SITE, "G", "", "soundings", "", "", "", ""],
    ]

    report = listed("enclosures", headings, *rows)

    assert problems(report)[:6] == [
        (0, "kind", "kind-unknown"),
        (1, "shape", "shape-missing"),
        (2, "shape", "shape-unknown"),
        (3, "life_support_system", "life_support_system-unknown"),
        (4, "site", "site-unknown"),
        (5, "displacement_fraction", "less-than"),
    ]
    assert problems(report)[6:] == [(6, "surface_m2", "surface_m2-missing"), (6, "depths_m", "depths_m-missing")]
    assert "aquarium" in report.refusals[0].reason
    assert "box-outside" in report.refusals[2].reason


@pytest.mark.usefixtures("reedmere")
def test_an_enclosure_may_stand_before_the_one_it_lies_within(listed, stored):
    report = listed("enclosures", ("site", "name", "parent"), [SITE, "Tub 1", "rack a"], [SITE, "Rack A", "Room"], [SITE, "Room", ""])

    rows = {row["name"]: row for row in stored(Enclosure)}
    assert (report.created, rows["Tub 1"]["parent_id"], rows["Rack A"]["parent_id"]) == (3, rows["Rack A"]["id"], rows["Room"]["id"])
    assert listed("enclosures", ("site", "name", "parent"), [SITE, "Tub 1", "Rack A"], [SITE, "Rack A", "Room"]).unchanged == 2


@pytest.mark.usefixtures("reedmere")
def test_no_enclosure_lies_within_itself_or_within_a_refused_one(listed):
    headings = ("site", "name", "parent", "kind")
    listed("enclosures", headings, [SITE, "Room", "", ""], [SITE, "Rack", "Room", ""])

    report = listed(
        "enclosures",
        headings,
        [SITE, "Room", "Rack", ""],
        [SITE, "A", "B", ""],
        [SITE, "B", "A", ""],
        [SITE, "C", "C", ""],
        [SITE, "D", "E", ""],
        [SITE, "E", "", "bathtub"],
    )

    assert {(index, code) for index, _, code in problems(report)} == {
        (0, "circular"),
        (1, "parent-unknown"),
        (2, "parent-unknown"),
        (3, "parent-unknown"),
        (4, "parent-unknown"),
        (5, "kind-unknown"),
    }
    assert report.created == 0


@pytest.mark.usefixtures("organisation")
def test_a_model_with_everything(listed, stored):
    headings = (
        "name",
        "kind",
        "life_months",
        "life_hours",
        "calibration_months",
        "electrical_inspection_days",
        "unit_cost",
        "cautions",
        "warn_days",
    )

    report = listed(
        "equipment-models",
        headings,
        ["Halden T5", "UVB tube", "12", "5000", "6", "365", "31.5", "UV eyes, mercury lamp disposal;uv-eyes", "21"],
    )

    (row,) = stored(EquipmentModel)
    assert (report.created, row["kind"], row["unit_cost_minor"], row["warn_days"]) == (1, "uvb-tube", 3150, 21)
    assert row["cautions"] == ["uv-eyes", "mercury-lamp-disposal"]
    assert row["checks"] == [
        {"kind": "electrical-inspection", "interval_months": None, "interval_days": 365},
        {"kind": "calibration", "interval_months": 6, "interval_days": None},
    ]
    assert (
        listed(
            "equipment-models",
            headings,
            ["halden t5", "uvb_tube", "12", "5000", "6", "365", "€31.50", "uv-eyes; mercury-lamp-disposal", "21"],
        ).unchanged
        == 1
    )


@pytest.mark.usefixtures("organisation")
def test_a_check_that_is_stated_leaves_the_others_planned(listed, stored):
    listed("equipment-models", ("name", "kind", "calibration_months", "electrical_inspection_months"), ["Plim", "ph-probe", "6", "12"])

    assert listed("equipment-models", ("name", "kind", "calibration_days"), ["Plim", "", "30"]).changed == 1
    assert {plan["kind"]: plan["interval_days"] for plan in stored(EquipmentModel)[0]["checks"]} == {
        "calibration": 30,
        "electrical-inspection": None,
    }


@pytest.mark.usefixtures("organisation")
@pytest.mark.parametrize(
    ("column", "cell", "code"),
    [
        ("kind", "lamp", "kind-unknown"),
        ("life_months", "0", "greater-than-equal"),
        ("life_months", "12.5", "not-whole-number"),
        ("life_months", "1e30", "not-whole-number"),
        ("life_hours", "0", "greater-than"),
        ("unit_cost", "31.505", "too-many-decimals"),
        ("unit_cost", "-1", "greater-than-equal"),
        ("unit_cost", "cheap", "not-a-number"),
        ("cautions", "hot!", "string-pattern-mismatch"),
    ],
)
def test_what_a_model_cannot_be_is_refused_by_its_column(listed, column, cell, code):
    stated = {"name": "Plim", "kind": "ph-probe", column: cell}

    assert problems(listed("equipment-models", stated.keys(), list(stated.values()))) == [(0, column, code)]


@pytest.mark.usefixtures("organisation")
def test_rules_between_the_fields_of_a_model_are_asked(listed):
    headings = ("name", "kind", "life_months", "life_days", "calibration_months", "calibration_days", "unit_cost", "unit_cost_minor")
    report = listed(
        "equipment-models",
        headings,
        ["A", "other", "1", "30", "", "", "", ""],
        ["B", "other", "", "", "1", "30", "", ""],
        ["C", "other", "", "", "", "", "1.00", "101"],
        ["D", "other", "", "", "", "", "1.00", "100"],
    )

    assert [(index, code) for index, _, code in problems(report)] == [(0, "not-together"), (1, "interval-twice"), (2, "cost-twice")]
    assert report.created == 1


@pytest.mark.usefixtures("organisation")
def test_json_may_list_cautions(importing, stored):
    models = [{"name": "A", "kind": "other", "cautions": ["uv-eyes", "hot-surface"], "unit_cost": 0.1}]

    assert importing(json.dumps(models).encode(), kind="equipment-models").created == 1
    assert (stored(EquipmentModel)[0]["cautions"], stored(EquipmentModel)[0]["unit_cost_minor"]) == (["uv-eyes", "hot-surface"], 10)
