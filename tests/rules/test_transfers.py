"""In which order transfers go, and what is open of a journey and its papers."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from itertools import product
from uuid import UUID

import pytest

from domain.rules.law.jurisdictions import Jurisdiction, Level
from domain.rules.law.requirements import Activity
from domain.rules.law.spans import Span, Unit, WorkingDays
from domain.rules.permits import DocumentKind, Permit, Start
from domain.rules.transfers import (
    Days,
    ItemCode,
    Journey,
    OpenItem,
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


def paper(*, kind=HEALTH, inspected_on=date(2026, 2, 20), last_day=None, used_on=None):
    permit = Permit(
        id=UUID(int=1),
        kind="health",
        jurisdiction="XR",
        issued_on=date(2026, 2, 21),
        valid_from=date(2026, 2, 21),
        inspected_on=inspected_on,
        last_day=last_day,
        used_on=used_on,
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


@pytest.mark.parametrize(
    ("on", "from_us", "expected"),
    [
        (date(2026, 3, 23), False, DAYS),
        (date(2026, 3, 24), False, DAYS),
        (date(2026, 3, 25), False, Days(date(2026, 3, 25), date(2026, 3, 26))),
        (date(2026, 3, 22), False, Days(date(2026, 3, 22), date(2026, 3, 23))),
        (date(2026, 3, 24), True, Days(date(2026, 3, 24), date(2026, 3, 25))),
    ],
)
def test_what_another_party_sent_may_have_left_since_the_planned_day(on, from_us, expected):
    assert DAYS.left(on, from_us=from_us) == expected


def test_of_a_journey_that_has_everything_nothing_is_open():
    assert list(journey_items(WHOLE, DAYS, through=THROUGH, today=DAYS.dispatch_on)) == []


NEEDED = "it is needed until 26 March 2026."
LACKS = [
    ({"carrier": None}, ItemCode.CARRIER_MISSING, "carrier", "Say who carries them."),
    (
        {"carrier_authorisation": None},
        ItemCode.CARRIER_UNAUTHORISED,
        "carrier_authorisation",
        "Say under which authorisation Fen Carriers carries live animals; where none is needed, say so in words.",
    ),
    (
        {"container": None},
        ItemCode.CONTAINER_MISSING,
        "container",
        "Say in which container they travel, and how it is marked; carriers have rules for each kind of animal.",
    ),
    (
        {"least_c": None},
        ItemCode.TEMPERATURE_MISSING,
        "least_c",
        "Say between which temperatures they travel; outside them the journey waits.",
    ),
    (
        {"most_c": None},
        ItemCode.TEMPERATURE_MISSING,
        "most_c",
        "Say between which temperatures they travel; outside them the journey waits.",
    ),
    (
        {"party_licence": None},
        ItemCode.LICENCE_MISSING,
        "party_licence",
        "Say under which licence the other party keeps them; where none is needed, say so in words.",
    ),
    (
        {"quarantine_place": None},
        ItemCode.QUARANTINE_PLACE_MISSING,
        "quarantine_enclosure_id",
        "Say in which enclosure they are kept apart on arrival.",
    ),
    (
        {"quarantine_days": None},
        ItemCode.QUARANTINE_PLAN_MISSING,
        "quarantine_days",
        "Say for how many days they are kept apart; a veterinarian decides for the species and where they come from.",
    ),
]
LAPSES = [
    (
        {"due_back_on": DAYS.arrive_on},
        ItemCode.LOAN_OVER,
        "due_back_on",
        "The loan is until 24 March 2026, and they arrive on 24 March 2026; agree on a later end.",
    ),
    (
        {"carrier_until": date(2026, 3, 25)},
        ItemCode.CARRIER_LAPSES,
        "carrier_until",
        f"Fen Carriers is authorised until 25 March 2026; {NEEDED}",
    ),
    (
        {"party_licence_until": date(2026, 3, 25)},
        ItemCode.LICENCE_LAPSES,
        "party_licence_until",
        f"The other party's licence L-7 is good until 25 March 2026; {NEEDED}",
    ),
]


@pytest.mark.parametrize(
    ("said", "code", "field", "sentence", "turns"), [*((*one, False) for one in LACKS), *((*one, True) for one in LAPSES)]
)
def test_what_a_journey_lacks_is_open_and_days_settle_only_what_lapses(said, code, field, sentence, turns):
    found = list(journey_items(replace(WHOLE, **said), DAYS, through=THROUGH, today=TODAY))

    assert found == [OpenItem(code=code, sentence=sentence, field=field, turns=turns)]


def test_of_a_journey_that_has_nothing_each_thing_is_open_once():
    bare = Journey(needs_quarantine=True, has_party=True)

    assert [one.field for one in journey_items(bare, DAYS, through=THROUGH, today=TODAY)] == [
        *("carrier", "container", "least_c", "party_licence"),
        *("quarantine_enclosure_id", "quarantine_days"),
    ]


def test_what_is_good_on_the_last_day_that_counts_is_good_enough():
    until = {"carrier_until": THROUGH, "party_licence_until": THROUGH, "due_back_on": DAYS.arrive_on + timedelta(days=1)}

    assert list(journey_items(replace(WHOLE, **until), DAYS, through=THROUGH, today=TODAY)) == []


def test_what_is_not_needed_is_not_asked_for():
    alone = Journey(needs_carrier=False, container="crate", least_c=18.0, most_c=28.0)

    assert list(journey_items(alone, DAYS, through=THROUGH, today=TODAY)) == []


def test_a_day_that_has_passed_is_open():
    sentence = "The day of dispatch, 23 March 2026, has passed; set another."

    assert list(journey_items(WHOLE, DAYS, through=THROUGH, today=date(2026, 3, 24))) == [
        OpenItem(code=ItemCode.DAY_PASSED, sentence=sentence, field="dispatch_on", turns=True)
    ]


def test_of_what_another_party_sends_only_the_arrival_can_have_passed():
    coming = replace(WHOLE, leaves_us=False)

    assert list(journey_items(coming, DAYS, through=THROUGH, today=DAYS.arrive_on)) == []
    sentence = "The day of arrival, 24 March 2026, has passed; set another."
    assert list(journey_items(coming, DAYS, through=THROUGH, today=DAYS.arrive_on + timedelta(days=1))) == [
        OpenItem(code=ItemCode.DAY_PASSED, sentence=sentence, field="arrive_on", turns=True)
    ]


@pytest.mark.parametrize(
    ("one", "until"),
    [
        (paper(), "it is good until 22 March 2026"),
        (paper(inspected_on=date(2026, 2, 24)), None),
        (paper(inspected_on=None), "it rests on no inspection that is on record"),
        (paper(kind=None), None),
        (paper(kind=None, last_day=date(2026, 3, 25)), "it is good until 25 March 2026"),
        (paper(kind=None, last_day=THROUGH), None),
    ],
)
def test_a_paper_is_good_through_the_buffer_or_open(one, until):
    sentence = f"Certificate H-1 lapses too early: {until}, and is needed until 26 March 2026."
    lapses = OpenItem(code=ItemCode.PAPER_LAPSES, sentence=sentence, field="papers", paper_id=one.id, turns=True)

    assert list(paper_items([one], through=THROUGH)) == ([] if until is None else [lapses])
    assert [each.paper for each in renewals([one], DAYS, through=THROUGH)] == ([] if until is None else [one])


def test_a_paper_for_one_consignment_goes_with_no_second_one_and_hides_none_after_it():
    once = replace(HEALTH, for_one_consignment=True)
    used, unused = paper(kind=once, used_on=date(2026, 3, 1)), paper(kind=once, inspected_on=date(2026, 2, 24))
    lapsed = paper(used_on=date(2026, 3, 1))
    sentence = "Certificate H-1 was for one consignment, and was used on 1 March 2026; have one issued for this one."

    found = list(paper_items([used, unused, lapsed], through=THROUGH))

    assert found[0] == OpenItem(code=ItemCode.PAPER_USED, sentence=sentence, field="papers", paper_id=used.id)
    assert [one.code for one in found[1:]] == [ItemCode.PAPER_LAPSES]


def test_a_paper_that_lasts_for_working_days_is_had_anew_by_those_of_its_jurisdiction():
    easter = WorkingDays(holidays=frozenset((date(2026, 4, 3), date(2026, 4, 6))))
    short = replace(paper(kind=replace(HEALTH, lasts=Span(1, Unit.WORKING_DAYS))), working=easter)

    (found,) = renewals([short], DAYS, through=date(2026, 4, 7))

    assert found.from_on == date(2026, 4, 2)


def test_what_is_good_long_enough_is_not_had_anew_and_hides_nothing_after_it():
    good, lapsed = paper(inspected_on=date(2026, 2, 24)), paper(kind=None, last_day=date(2026, 3, 2))

    assert [one.paper for one in renewals([good, paper(kind=None), lapsed], DAYS, through=THROUGH)] == [lapsed]


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
