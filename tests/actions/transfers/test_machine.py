"""Transfers in any order, with refusals and returns: permitted numbers are never exceeded, and every animal is where its transfer says.

``REEDBED_ROUNDS=200`` gives the full figures.
"""

from __future__ import annotations

import os
from collections import Counter
from datetime import timedelta
from itertools import count
from typing import ClassVar

import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule, run_state_machine_as_test

from domain.actions.census import Scope, statement
from domain.actions.lives import EVENTS_OF
from domain.actions.recording import Ending
from domain.actions.transfers.approve import approve_transfer
from domain.actions.transfers.check import check_transfer
from domain.actions.transfers.close import close_transfer
from domain.actions.transfers.dispatch import dispatch_transfer
from domain.actions.transfers.lines import lines_of
from domain.actions.transfers.plan import change_transfer, end_transfer
from domain.actions.transfers.receive import receive_transfer, refuse_transfer
from domain.actions.verify import prove
from domain.errors import NotFound, Refusal
from domain.records.animals import Animal, AnimalEvent
from domain.records.base import table_of
from domain.records.enclosures import Enclosure
from domain.records.statements import Statement
from domain.records.transfers import Dispatch, Transfer, TransferRefusal
from domain.rules.law.requirements import Consequence, Entry, Selector
from domain.rules.lives import EventKind, Status
from domain.rules.stock import out_of_balance
from domain.rules.taxonomy import TaxonRank
from domain.rules.transfers import BEFORE_DISPATCH, UNDER_WAY, TransferStage
from tests import makers
from tests.actions.transfers.of_transfers import receipt

USUAL_ROUNDS = 40
ROUNDS = int(os.environ.get("REEDBED_ROUNDS", USUAL_ROUNDS))
STEPS = 40
PERMITTED = 4
"""How many animals the second site may keep."""
ALONE, IN_GROUP, AT_ONCE = 3, 3, 3
LONGEST = timedelta(days=150)
organisations = count(makers.ORGANISATION + 9000)
some = st.sampled_from(range(24))
HOWS = ("go on", "go on", "refuse", "call off", "lose", "fewer", "dead")
"""How a transfer goes on: as it should, or it is refused or called off, or its animals or some of them are lost or die on the way."""


def every(record):
    """Return the statement for all records of a kind, of animals also those that have departed, those made first before the others."""
    table = table_of(record)
    own = table.c.organisation_id == sa.bindparam("organisation_id")
    return Statement(sa.select(table).where(own).order_by(table.c.created_at, table.c.id))


EVERY_ANIMAL, EVERY_EVENT = every(Animal), every(AnimalEvent)


def expected_of(unit, animal):
    """Return how many animals of a record on its way will come: all that are away, or those that departed last."""
    left = [one.number for one in unit.all(AnimalEvent, EVENTS_OF, animal_id=animal.id) if one.kind is EventKind.DEPARTED]
    return animal.count or left[-1]


class Moving(RuleBasedStateMachine):
    """Two sites of ours and another party; the second site has a permit for fewer than there are animals, some of them in a group."""

    store = None
    accepted: ClassVar[Counter] = Counter()

    def __init__(self):
        super().__init__()
        self.organisation = next(organisations)
        makers.organisation(self.store, organisation_id=self.organisation, name=f"Trust {self.organisation}")
        self.ticks, self.references, self.transfers, self.passed = count(1), count(1), [], timedelta()
        with self.open() as unit:
            self.sites = [makers.site(unit, name=name, jurisdiction="XR") for name in ("Reedmere House", "Tern Point")]
            self.apart = [makers.enclosure(unit, one, name="Q1", quarantine=True) for one in self.sites]
            home, taxon = makers.enclosure(unit, self.sites[0], name="A1"), makers.taxon(unit, hazard="harmless")
            listed = Selector(any_of=(Entry(name="Testudo fictiva", rank=TaxonRank.SPECIES),))
            makers.document_kind(unit)
            makers.requirement(unit, consequence=Consequence.DOCUMENT, selector=listed, documents=("keeping",))
            for number, (site, permitted) in enumerate(zip(self.sites, (None, PERMITTED), strict=True)):
                makers.permit(unit, number=f"P-{number}", site_id=str(site.id), total_number=permitted)
            came = {"enclosure_id": str(home.id), "acquired_on": "2025-01-10", "override_reason": "they were kept apart before"}
            for number in range(ALONE):
                makers.animal(unit, taxon, tag=f"T-{number}", **came)
            makers.animal(unit, taxon, tag="G-1", grouping="group", count=IN_GROUP, **came)

    def open(self):
        at = makers.NOON + self.passed + timedelta(milliseconds=next(self.ticks))
        return self.store.transaction(makers.origin(organisation_id=self.organisation, at=at))

    def today(self):
        return (makers.NOON + self.passed).date()

    def done(self, name, act):
        """Do something to a transfer; what is refused changes nothing."""
        try:
            with self.open() as unit:
                act(unit)
        except Refusal:
            return
        self.accepted[name] += 1

    def pending(self):
        """Return the transfers that are neither closed nor called off, with their stages."""
        with self.open() as unit:
            known = [unit.fetch(Transfer, one) for one in self.transfers]
        return [(one.id, one.stage) for one in known if one.stage is not TransferStage.CLOSED and one.ended_on is None]

    @precondition(lambda self: len(self.pending()) < AT_ONCE)
    @rule(animal=some, ends=st.sampled_from([(0, 1), (1, 0), (0, None), (None, 0), (None, 1)]), lends=st.booleans())
    def plan(self, animal, ends, lends):
        come_from, go_to = (None if one is None else self.sites[one] for one in ends)
        today = str(self.today())
        said = {"reference": f"T-{next(self.references)}", "dispatch_on": today, "arrive_on": today}
        if go_to is not None:
            said["quarantine_enclosure_id"] = str(self.apart[ends[1]].id)
        if come_from is None:
            said["basis"] = "return"
        elif go_to is None and lends:
            said |= {"basis": "loan", "due_back_on": "2026-09-01", "offspring_split": "half each"}

        def act(unit):
            transfer = makers.transfer(unit, come_from, go_to, **said)
            known = unit.all(Animal, EVERY_ANIMAL)
            fit = [one for one in known if self.is_there(unit, one, come_from)]
            if not fit and animal % 8:
                raise NotFound("Nobody is there.")
            chosen = (fit or known)[animal % len(fit or known)]
            makers.transfer_animal(unit, transfer, chosen)
            if go_to is None:
                makers.transfer_paper(unit, transfer, title="The other party's permit", kind="keeping")
            self.transfers.append(transfer.id)

        self.done("plan", act)

    def is_there(self, unit, animal, site):
        """Whether an animal can leave a site, or come from another party."""
        if site is None:
            return animal.status in (Status.AWAY, Status.DEPARTED)
        return animal.status is Status.PRESENT and unit.fetch(Enclosure, animal.enclosure_id).site_id == site.id

    @precondition(lambda self: self.passed < LONGEST)
    @rule(days=st.sampled_from([1, 14, 31]))
    def wait(self, days):
        self.passed += timedelta(days)

    @precondition(lambda self: self.pending())
    @rule(number=some, how=st.sampled_from(HOWS))
    def go_on(self, number, how):
        """Take a transfer a stage further, or let something come between."""
        self.further(*self.one_pending(number), how)

    @precondition(lambda self: self.pending())
    @rule(number=some, how=st.sampled_from(HOWS))
    def go_to_the_end(self, number, how):
        """Take a transfer that leaves today through all stages, as far as it gets."""
        one, stage = self.one_pending(number)
        self.leave_today(one, stage)
        for _ in TransferStage:
            self.further(one, dict(self.pending()).get(one), how)

    def one_pending(self, number):
        pending = self.pending()
        return pending[number % len(pending)]

    def leave_today(self, one, stage):
        today = self.today()

        def act(unit):
            change_transfer(unit, one, {"dispatch_on": today, "arrive_on": today}, expected_version=unit.fetch(Transfer, one).version)

        if stage in BEFORE_DISPATCH:
            self.done("another day", act)

    def further(self, one, stage, how):
        said = {
            "lose": {"arrived": False, "discrepancy": "not in the crate"},
            "fewer": {"number": 1, "discrepancy": "one alone"},
            "dead": {"dead": 1, "discrepancy": "one is dead"},
        }.get(how, {})
        acts = {
            TransferStage.DRAFT: lambda unit: check_transfer(unit, one),
            TransferStage.COMPLETE: lambda unit: approve_transfer(unit, one),
            TransferStage.APPROVED: lambda unit: dispatch_transfer(unit, one, Dispatch(temperature_c=22.5)),
            TransferStage.DISPATCHED: lambda unit: self.receive(unit, one, said),
            TransferStage.REFUSED: lambda unit: self.receive(unit, one, said),
            TransferStage.RECEIVED: lambda unit: close_transfer(unit, one),
            TransferStage.RETURNED: lambda unit: close_transfer(unit, one),
        }
        if how == "refuse" and stage is TransferStage.DISPATCHED:
            self.done("refuse", lambda unit: refuse_transfer(unit, one, TransferRefusal(reason="It coughs.")))
        elif how == "call off" and stage in BEFORE_DISPATCH:
            self.done("call off", lambda unit: end_transfer(unit, one, Ending(reason="not now")))
        elif stage in acts:
            self.done(how if said and stage in UNDER_WAY else stage.value, acts[stage])

    @staticmethod
    def receive(unit, transfer_id, said):
        """Have animals arrive, or be back; those that are back at a site of ours are kept apart there."""
        transfer = unit.fetch(Transfer, transfer_id)
        is_back = transfer.stage is TransferStage.REFUSED and transfer.from_site_id is not None
        home = {"apart": 14, "override_reason": "the veterinarian has seen it"} if is_back and said.get("arrived", True) else {}
        receive_transfer(unit, transfer.id, receipt(unit, transfer, **home, **said))

    @invariant()
    def the_permitted_number_is_never_exceeded(self):
        with self.open() as unit:
            there = [one for one in unit.all(Animal, EVERY_ANIMAL) if one.status is Status.PRESENT]
            at_second = sum(one.count for one in there if unit.fetch(Enclosure, one.enclosure_id).site_id == self.sites[1].id)
            coming = [one for one in self.under_way(unit) if one.stage is TransferStage.DISPATCHED and one.to_site_id == self.sites[1].id]
            expected = sum(expected_of(unit, unit.fetch(Animal, line.animal_id)) for one in coming for line in lines_of(unit, one))
        assert at_second + expected <= PERMITTED

    @invariant()
    def who_is_under_way_is_with_one_transfer_and_away_or_with_another_party(self):
        with self.open() as unit:
            going = Counter()
            for one in self.under_way(unit):
                going.update(line.animal_id for line in lines_of(unit, one))
            assert all(number == 1 for number in going.values())
            assert {unit.fetch(Animal, one).status for one in going} <= {Status.AWAY, Status.DEPARTED}

    def under_way(self, unit):
        """Return the transfers whose animals are on the way, to the receiver or back."""
        return [one for one in (unit.fetch(Transfer, each) for each in self.transfers) if one.stage in UNDER_WAY]

    @invariant()
    def nobody_comes_from_nowhere_or_goes_without_a_word(self):
        with self.open() as unit:
            told = Counter(one.kind for one in unit.all(AnimalEvent, EVERY_EVENT) for _ in range(one.number))
            kept = sum(one.count for one in unit.all(Animal, EVERY_ANIMAL))
        assert kept == ALONE + IN_GROUP - told[EventKind.DIED] - told[EventKind.DEPARTED] + told[EventKind.RETURNED]

    def teardown(self):
        with self.open() as unit:
            today = self.today()
            assert out_of_balance(statement(unit, from_on=today - timedelta(1), until_on=today, scope=Scope())) == []
            assert prove(unit).flaws == []


@pytest.mark.timeout(600 if ROUNDS == USUAL_ROUNDS else 7200)
def test_whatever_is_sent_refused_and_returned_numbers_are_kept_and_animals_are_where_they_should_be(store):
    machine = type("OnStore", (Moving,), {"store": store, "accepted": Counter()})

    run_state_machine_as_test(
        machine,
        settings=settings(
            max_examples=ROUNDS,
            stateful_step_count=STEPS,
            deadline=None,
            suppress_health_check=list(HealthCheck),
            phases=(Phase.generate,),
            derandomize=ROUNDS == USUAL_ROUNDS,
            database=None,
        ),
    )

    before = ("plan", "another day", "draft", "complete", "approved", "call off")
    after = ("dispatched", "refuse", "refused", "lose", "fewer", "dead", "received", "returned")
    assert [one for one in (*before, *after) if not machine.accepted[one]] == []
