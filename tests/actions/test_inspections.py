"""Visits, what they found, and that nothing is closed without proof."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from domain.actions.inspections import (
    change_corrective_action,
    change_inspection,
    change_inspection_finding,
    end_corrective_action,
    end_inspection,
    end_inspection_finding,
    visits_to,
)
from domain.actions.recording import Ending
from domain.errors import NotAllowed
from domain.records.inspections import InspectionFinding
from domain.rules.permissions import Reach
from tests import makers
from tests.actions.of_animals import refusal

MISTAKE = Ending(reason="entered wrongly")
DONE = {"done_on": "2026-02-20", "proof": "Invoice 12 of the locksmith."}
CLOSED = {"closed_on": "2026-02-25", "closing": "The lock was tried in front of the inspector."}


@pytest.fixture
def unit(store, organisation):
    with store.transaction(makers.origin()) as opened:
        yield opened


@pytest.fixture
def site(unit):
    return makers.site(unit)


@pytest.fixture
def visit(unit, site):
    return makers.inspection(unit, site)


@pytest.fixture
def finding(unit, visit):
    return makers.inspection_finding(unit, visit, due_on="2026-03-10")


@pytest.fixture
def action(unit, finding):
    return makers.corrective_action(unit, finding)


def patched(unit, change, one, patch):
    return change(unit, one.id, patch, owner_id=one.inspection_id, expected_version=unit.fetch(type(one), one.id).version)


def test_a_finding_is_closed_once_all_that_was_to_be_done_is_done_and_proved(unit, site, finding, action):
    other = makers.corrective_action(unit, finding, text="Tell the keepers.")
    assert refusal(patched, unit, change_inspection_finding, finding, CLOSED) == ("actions-open", "/closed_on")

    patched(unit, change_corrective_action, action, DONE)
    assert refusal(patched, unit, change_inspection_finding, finding, CLOSED) == ("actions-open", "/closed_on")
    end_corrective_action(unit, other.id, MISTAKE, owner_id=other.inspection_id)
    closed = patched(unit, change_inspection_finding, finding, CLOSED)

    (found,) = visits_to(unit, site.id)
    assert (closed.closed_on, found.open_findings, found.open_actions) == (date(2026, 2, 25), [], [])


def test_nothing_is_done_without_proof_nor_closed_without_a_result(unit, finding, action):
    assert refusal(patched, unit, change_corrective_action, action, {"done_on": "2026-02-20"}) == ("required", "/proof")
    assert refusal(patched, unit, change_inspection_finding, finding, {"closed_on": "2026-02-20"}) == ("required", "/closing")
    assert refusal(patched, unit, change_inspection_finding, finding, {"closing": "fine"}) == ("required", "/closed_on")


def test_about_a_closed_finding_nothing_more_is_to_be_done(unit, finding):
    patched(unit, change_inspection_finding, finding, CLOSED)

    assert refusal(makers.corrective_action, unit, finding) == ("finding-closed", "/finding_id")


def test_an_action_is_about_a_finding_of_the_same_visit(unit, site, visit, finding, action):
    elsewhere = makers.inspection_finding(unit, makers.inspection(unit, site, reference="second"))

    assert refusal(patched, unit, change_corrective_action, action, {"finding_id": str(elsewhere.id)}) == (
        "reference-unknown",
        "/finding_id",
    )


@pytest.mark.parametrize(
    ("make", "said", "fault"),
    [
        ("inspection", {"visited_on": "2026-03-02"}, ("in-future", "/visited_on")),
        ("inspection_finding", {"closed_on": "2026-03-02", "closing": "fine"}, ("in-future", "/closed_on")),
        ("inspection_finding", {"requirement_code": "XR-77"}, ("requirement-unknown", "/requirement_code")),
        ("corrective_action", {"done_on": "2026-03-02", "proof": "seen"}, ("in-future", "/done_on")),
    ],
)
def test_what_has_not_happened_or_is_not_on_record_is_refused_by_its_field(unit, site, visit, finding, make, said, fault):
    of = {"inspection": site, "inspection_finding": visit, "corrective_action": finding}[make]

    assert refusal(getattr(makers, make), unit, of, **said) == fault


def test_a_visit_stays_at_its_site(unit, visit):
    other = makers.site(unit, name="Saltings Hall")

    assert refusal(change_inspection, unit, visit.id, {"site_id": str(other.id)}, expected_version=1) == ("stays-at-site", "/site_id")


def test_what_was_entered_wrongly_leaves_with_what_hangs_on_it(unit, site, visit, finding, action):
    end_inspection_finding(unit, finding.id, MISTAKE, owner_id=visit.id)
    (found,) = visits_to(unit, site.id)
    assert (found.findings, found.actions) == ([], [])

    end_inspection(unit, visit.id, MISTAKE)
    assert visits_to(unit, site.id) == []
    assert refusal(makers.inspection_finding, unit, visit) == ("ended", "")


def test_a_finding_names_only_what_its_writer_reaches(store, organisation):
    with store.transaction(makers.origin()) as unit:
        site, other = makers.site(unit), makers.site(unit, name="Saltings Hall")
        visit, place = makers.inspection(unit, site), makers.enclosure(unit, other)
    with store.transaction(replace(makers.origin(), reach=Reach(frozenset((site.id,))))) as unit:
        with pytest.raises(NotAllowed):
            makers.inspection_finding(unit, visit, enclosure_id=str(place.id))
        assert isinstance(makers.inspection_finding(unit, visit), InspectionFinding)


def test_nothing_is_put_right_before_it_was_found(unit, finding, action):
    early = {"done_on": "2026-01-02", "proof": "Invoice 12."}
    assert refusal(patched, unit, change_corrective_action, action, early) == ("before-visit", "/done_on")
    end_corrective_action(unit, action.id, MISTAKE, owner_id=action.inspection_id)
    closed = {"closed_on": "2026-01-02", "closing": "Seen."}
    assert refusal(patched, unit, change_inspection_finding, finding, closed) == ("before-visit", "/closed_on")
    patched(unit, change_inspection_finding, finding, CLOSED)
    later = {"visited_on": "2026-02-26"}
    assert refusal(change_inspection, unit, finding.inspection_id, later, expected_version=1) == ("before-visit", "/visited_on")
