"""Letting go by command: looked at first, then done, as the role that owns the tables."""

from __future__ import annotations

from datetime import date

import pytest
from sqlalchemy import make_url

from domain.actions.readings import record_hours
from domain.actions.retention import register_retention_rule
from domain.records.equipment import HourReadingStated
from domain.records.retention import RetentionRuleStated
from tests import makers

AT = ("--at", "2026-03-01T12:00:00Z")


@pytest.fixture
def owner(database_url, monkeypatch):
    """Name the owner's role in the settings, where there are roles."""
    url = make_url(database_url)
    if url.get_backend_name() == "postgresql":
        monkeypatch.setenv("REEDBED_OWNER_DATABASE_URL", url.set(username="reedbed_owner").render_as_string(hide_password=False))


@pytest.fixture
def old_records(records):
    """Leave an ended item with a reading, an ended site that nothing refers to, and rules for items and sites alone."""
    ended = {"ended_on": date(2023, 1, 1), "end_reason": "worn"}
    with records() as unit:
        item = makers.equipment(unit, makers.model(unit), makers.site(unit), installed_on="2022-01-01")
        record_hours(unit, item.id, HourReadingStated(read_on=date(2022, 2, 1), counter_h=10.0))
        unit.change(item, ended, action="end_equipment")
        unit.change(makers.site(unit, name="Old Hall"), ended, action="end_site")
        for kind in ("equipment", "site"):
            register_retention_rule(unit, RetentionRuleStated(kind=kind, keep_months=12, source="own rule"))
    return item


@pytest.mark.usefixtures("owner")
def test_what_would_go_is_said_without_going_and_then_goes(marshlight, old_records):
    kept = f"kept equipment {old_records.id}: still referred to by 1 hour reading"

    would = marshlight("retention", "--dry-run", *AT)
    assert (would[0], "Marshlight Trust: would let go of 1 site" in would[1], kept in would[1]) == (0, True, True)
    assert "the chain holds and the records agree" in marshlight("verify")[1]
    done = marshlight("retention", *AT)
    assert (done[0], "Marshlight Trust: let go of 1 site" in done[1], kept in done[1]) == (0, True, True)

    assert "let go of nothing" in marshlight("retention", *AT)[1]
    status, out, _ = marshlight("verify")
    assert (status, "the chain holds and the records agree" in out) == (0, True)


@pytest.mark.usefixtures("owner")
def test_the_whole_of_it_is_answered_as_json(terminal, old_records):
    [found] = terminal.json("retention", "--dry-run", *AT)

    assert (found["let_go"], found["answers"]) == ({"site": 1}, 0)
    assert [(one["kind"], one["subject_id"]) for one in found["kept"]] == [("equipment", str(old_records.id))]


@pytest.mark.usefixtures("old_records")
def test_without_the_owners_role_it_says_what_to_set(marshlight, database_url):
    status, out, err = marshlight("retention", *AT)

    if database_url.startswith("sqlite"):
        assert (status, "let go of 1 site" in out) == (0, True)
    else:
        assert (status, "set REEDBED_OWNER_DATABASE_URL" in err) == (2, True)
