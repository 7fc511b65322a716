"""In which order transfers go, and what is open of a journey and its papers."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from itertools import product
from uuid import UUID

import pytest

from domain.rules.law.jurisdictions import Jurisdiction, Level
from domain.rules.law.requirements import Activity
from domain.rules.law.spans import Span, Unit
from domain.rules.permits import DocumentKind, Permit, Start
from domain.rules.transfers import (
    Days,
    ItemCode,
    Journey,
    Paper,
    TransferAct,
    TransferBasis,
    TransferStage,
    Ways,
    good_through,
    journey_items,
    next_stage,
    paper_items,
    renewals,
    ways,
)

DAYS = Days(date(2026, 3, 23), date(2026, 3, 24))
THROUGH = date(2026, 3, 26)
TODAY = date(2026, 3, 1)
WHOLE = Journey(
    carrier="Fen Carriers",
    carrier_authorisation="C-3",
    container="crate",
    least_c=18.0,
    most_c=28.0,
    needs_quarantine=True,
    quarantine_place="Q1",
    quarantine_days=30,
    party_licence="L-7",
    has_party=True,
)
HEALTH = DocumentKind(code="health", jurisdiction="XR", title="Health", lasts=Span(30, Unit.DAYS), starts=Start.INSPECTION)


def paper(*, kind=HEALTH, inspected_on=date(2026, 2, 20), last_day=None):
    permit = Permit(
        id=UUID(int=1),
        kind="health",
        jurisdiction="XR",
        issued_on=date(2026, 2, 21),
        valid_from=date(2026, 2, 21),
        inspected_on=inspected_on,
        last_day=last_day,
    )
    return Paper(id=UUID(int=1), title="Certificate H-1", permit=permit, kind=kind)


def test_a_transfer_goes_from_stage_to_stage_and_no_other_way():
    possible = {(stage, act): after for stage, act in product(TransferStage, TransferAct) if (after := next_stage(stage, act)) is not None}

    assert possible == {
        (TransferStage.DRAFT, TransferAct.CHECK): TransferStage.COMPLETE,
        (TransferStage.COMPLETE, TransferAct.CHECK): TransferStage.COMPLETE,
        (TransferStage.COMPLETE, TransferAct.APPROVE): TransferStage.APPROVED,
        (TransferStage.APPROVED, TransferAct.CHECK): TransferStage.APPROVED,
        (TransferStage.APPROVED, TransferAct.DISPATCH): TransferStage.DISPATCHED,
        (TransferStage.DISPATCHED, TransferAct.RECEIVE): TransferStage.RECEIVED,
        (TransferStage.DISPATCHED, TransferAct.REFUSE): TransferStage.REFUSED,
        (TransferStage.REFUSED, TransferAct.RECEIVE): TransferStage.RETURNED,
        (TransferStage.RECEIVED, TransferAct.CLOSE): TransferStage.CLOSED,
        (TransferStage.RETURNED, TransferAct.CLOSE): TransferStage.CLOSED,
    }


def test_a_plan_on_another_day_takes_as_long():
    assert Days(date(2026, 3, 1), date(2026, 3, 4)).from_day(date(2026, 4, 30)) == Days(date(2026, 4, 30), date(2026, 5, 3))
    assert good_through(DAYS, buffer_days=2) == THROUGH


def test_of_a_journey_that_has_everything_nothing_is_open():
    assert list(journey_items(WHOLE, DAYS, through=THROUGH, today=DAYS.dispatch_on)) == []


@pytest.mark.parametrize(
    ("said", "code", "field", "turns"),
    [
        ({"carrier": None}, ItemCode.CARRIER_MISSING, "carrier", False),
        ({"carrier_authorisation": None}, ItemCode.CARRIER_UNAUTHORISED, "carrier_authorisation", False),
        ({"carrier_until": date(2026, 3, 25)}, ItemCode.CARRIER_LAPSES, "carrier_until", True),
        ({"container": None}, ItemCode.CONTAINER_MISSING, "container", False),
        ({"least_c": None}, ItemCode.TEMPERATURE_MISSING, "least_c", False),
        ({"most_c": None}, ItemCode.TEMPERATURE_MISSING, "most_c", False),
        ({"party_licence": None}, ItemCode.LICENCE_MISSING, "party_licence", False),
        ({"party_licence_until": date(2026, 3, 25)}, ItemCode.LICENCE_LAPSES, "party_licence_until", True),
        ({"quarantine_place": None}, ItemCode.QUARANTINE_PLACE_MISSING, "quarantine_enclosure_id", False),
        ({"quarantine_days": None}, ItemCode.QUARANTINE_PLAN_MISSING, "quarantine_days", False),
    ],
)
def test_what_a_journey_lacks_is_open_and_days_settle_only_what_lapses(said, code, field, turns):
    found = list(journey_items(replace(WHOLE, **said), DAYS, through=THROUGH, today=TODAY))

    assert [(one.code, one.field, one.turns) for one in found] == [(code, field, turns)]


def test_what_is_good_on_the_last_day_that_counts_is_good_enough():
    until = {"carrier_until": THROUGH, "party_licence_until": THROUGH}

    assert list(journey_items(replace(WHOLE, **until), DAYS, through=THROUGH, today=TODAY)) == []


def test_what_is_not_needed_is_not_asked_for():
    alone = Journey(needs_carrier=False, container="crate", least_c=18.0, most_c=28.0)

    assert list(journey_items(alone, DAYS, through=THROUGH, today=TODAY)) == []


def test_a_day_that_has_passed_is_open():
    (found,) = journey_items(WHOLE, DAYS, through=THROUGH, today=date(2026, 3, 24))

    assert (found.code, found.field, found.turns) == (ItemCode.DAY_PASSED, "dispatch_on", True)


def test_of_what_another_party_sends_only_the_arrival_can_have_passed():
    coming = replace(WHOLE, leaves_us=False)

    assert list(journey_items(coming, DAYS, through=THROUGH, today=DAYS.arrive_on)) == []
    (found,) = journey_items(coming, DAYS, through=THROUGH, today=DAYS.arrive_on + timedelta(days=1))
    assert (found.code, found.field) == (ItemCode.DAY_PASSED, "arrive_on")


@pytest.mark.parametrize(
    ("one", "lapses"),
    [
        (paper(), True),
        (paper(inspected_on=date(2026, 2, 24)), False),
        (paper(inspected_on=None), True),
        (paper(kind=None), False),
        (paper(kind=None, last_day=date(2026, 3, 25)), True),
        (paper(kind=None, last_day=THROUGH), False),
    ],
)
def test_a_paper_is_good_through_the_buffer_or_open(one, lapses):
    found = list(paper_items([one], through=THROUGH))

    assert [(each.code, each.paper_id, each.field, each.turns) for each in found] == (
        [(ItemCode.PAPER_LAPSES, one.id, "papers", True)] if lapses else []
    )
    assert bool(renewals([one], DAYS, through=THROUGH)) is lapses


def test_a_paper_is_had_anew_from_the_day_from_which_it_lasts_until_the_animals_leave():
    (by_inspection,) = renewals([paper()], DAYS, through=THROUGH)
    (by_issue,) = renewals([paper(kind=None, last_day=date(2026, 3, 2))], DAYS, through=THROUGH)

    assert (by_inspection.starts, by_inspection.from_on, by_inspection.until_on) == (Start.INSPECTION, date(2026, 2, 24), DAYS.dispatch_on)
    assert (by_issue.starts, by_issue.from_on, by_issue.until_on) == (Start.ISSUE, None, DAYS.dispatch_on)


def place(code, level, parent=None):
    return Jurisdiction(code=code, name=code, level=level, zone="UTC", parent_code=parent, fictional=True)


KNOWN = {
    one.code: one
    for one in (
        place("XU", Level.SUPRANATIONAL),
        place("XR", Level.STATE, "XU"),
        place("XL", Level.STATE, "XU"),
        place("XR-A", Level.SUBDIVISION, "XR"),
        place("XR-B", Level.SUBDIVISION, "XR"),
    )
}
HOLD, BUY = Activity.HOLD, Activity.BUY


@pytest.mark.parametrize(
    ("basis", "sender", "receiver", "expected"),
    [
        (
            TransferBasis.MOVE,
            ("XR-A", "XR", "XU"),
            ("XR-A", "XR", "XU"),
            Ways((Activity.MOVE_WITHIN,), (Activity.MOVE_WITHIN, HOLD)),
        ),
        (
            TransferBasis.MOVE,
            ("XR-A", "XR", "XU"),
            ("XR-B", "XR", "XU"),
            Ways((Activity.MOVE_BETWEEN,), (Activity.MOVE_BETWEEN, HOLD)),
        ),
        (TransferBasis.MOVE, ("XR",), ("XR",), Ways((Activity.MOVE_WITHIN,), (Activity.MOVE_WITHIN, HOLD))),
        (TransferBasis.SALE, ("XR", "XU"), ("XL", "XU"), Ways((Activity.SELL, Activity.EXPORT), (Activity.IMPORT, BUY, HOLD))),
        (TransferBasis.GIFT, ("XR",), ("XL",), Ways((Activity.GIVE, Activity.EXPORT), (Activity.IMPORT, HOLD))),
        (TransferBasis.LOAN, ("XR",), ("XR",), Ways((Activity.LOAN, Activity.MOVE_WITHIN), (Activity.MOVE_WITHIN, HOLD))),
        (TransferBasis.RETURN, ("XR",), ("XR",), Ways((Activity.MOVE_WITHIN,), (Activity.MOVE_WITHIN, HOLD))),
    ],
)
def test_what_the_law_is_asked_comes_of_the_ground_and_of_where_both_ends_are(basis, sender, receiver, expected):
    assert ways(basis, sender, receiver, KNOWN) == expected
