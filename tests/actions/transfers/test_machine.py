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
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule, run_state_machine_as_test

from domain.actions.census import Scope, statement
from domain.actions.recording import Ending
from domain.actions.transfers.approve import approve_transfer
from domain.actions.transfers.check import check_transfer
from domain.actions.transfers.close import close_transfer
from domain.actions.transfers.dispatch import dispatch_transfer
from domain.actions.transfers.lines import lines_of
from domain.actions.transfers.plan import end_transfer
from domain.actions.transfers.receive import receive_transfer, refuse_transfer
from domain.actions.verify import prove
from domain.errors import NotFound, Refusal
from domain.records.animals import Animal
from domain.records.enclosures import Enclosure
from domain.records.transfers import Dispatch, Transfer, TransferRefusal
from domain.rules.law.requirements import Consequence, Entry, Selector
from domain.rules.lives import Status
from domain.rules.stock import out_of_balance
from domain.rules.taxonomy import TaxonRank
from domain.rules.transfers import BEFORE_DISPATCH, TransferStage
from tests import makers
from tests.actions.transfers.of_transfers import TODAY, receipt

USUAL_ROUNDS = 40
ROUNDS = int(os.environ.get("REEDBED_ROUNDS", USUAL_ROUNDS))
STEPS = 40
PERMITTED = 2
"""How many animals the second site may keep."""
ANIMALS, AT_ONCE = 4, 3
organisations = count(makers.ORGANISATION + 9000)
some = st.integers(0, 10_000)


class Moving(RuleBasedStateMachine):
    """Two sites of ours and another party; the second site has a permit for two."""

    store = None
    accepted: ClassVar[Counter] = Counter()

    def __init__(self):
        super().__init__()
        self.organisation = next(organisations)
        makers.organisation(self.store, organisation_id=self.organisation, name=f"Trust {self.organisation}")
        self.ticks, self.references, self.transfers = count(1), count(1), []
        with self.open() as unit:
            self.sites = [makers.site(unit, name=name, jurisdiction="XR") for name in ("Reedmere House", "Tern Point")]
            self.apart = [makers.enclosure(unit, one, name="Q1", quarantine=True) for one in self.sites]
            home, taxon = makers.enclosure(unit, self.sites[0], name="A1"), makers.taxon(unit, hazard="harmless")
            listed = Selector(any_of=(Entry(name="Testudo fictiva", rank=TaxonRank.SPECIES),))
            makers.document_kind(unit)
            makers.requirement(unit, consequence=Consequence.DOCUMENT, selector=listed, documents=("keeping",))
            for number, (site, permitted) in enumerate(zip(self.sites, (None, PERMITTED), strict=True)):
                makers.permit(unit, number=f"P-{number}", site_id=str(site.id), total_number=permitted)
            tags = [f"T-{number}" for number in range(ANIMALS)]
            came = {"enclosure_id": str(home.id), "acquired_on": "2025-01-10", "override_reason": "they were kept apart before"}
            self.animals = [makers.animal(unit, taxon, tag=tag, **came).id for tag in tags]

    def open(self):
        at = makers.NOON + timedelta(milliseconds=next(self.ticks))
        return self.store.transaction(makers.origin(organisation_id=self.organisation, at=at))

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
        said = {"reference": f"T-{next(self.references)}", "dispatch_on": TODAY, "arrive_on": TODAY}
        if go_to is not None:
            said["quarantine_enclosure_id"] = str(self.apart[ends[1]].id)
        if come_from is None:
            said["basis"] = "return"
        elif go_to is None and lends:
            said |= {"basis": "loan", "due_back_on": "2026-09-01", "offspring_split": "half each"}

        def act(unit):
            transfer = makers.transfer(unit, come_from, go_to, **said)
            fit = [one for one in (unit.fetch(Animal, each) for each in self.animals) if self.is_there(unit, one, come_from)]
            if not fit and animal % 8:
                raise NotFound("Nobody is there.")
            chosen = fit[animal % len(fit)] if fit else unit.fetch(Animal, self.animals[animal % ANIMALS])
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

    @rule(number=some, how=st.sampled_from(["go on", "go on", "go on", "refuse", "lose"]))
    def go_on(self, number, how):
        """Take a transfer a stage further, have it be refused or called off, or lose its animal on the way."""
        pending = self.pending()
        if not pending:
            return
        one, stage = pending[number % len(pending)]
        self.further(one, stage, number, how)

    @rule(number=some)
    def go_to_the_end(self, number):
        """Take a transfer through all stages, as far as it gets."""
        for _ in TransferStage:
            pending = dict(self.pending())
            if not pending:
                return
            one = list(pending)[number % len(pending)]
            self.further(one, pending[one], 0, "go on")

    def further(self, one, stage, number, how):
        if how == "refuse" or (stage is TransferStage.DISPATCHED and number % 2):
            self.done("refuse", lambda unit: refuse_transfer(unit, one, TransferRefusal(reason="It coughs.")))
            return
        if how == "lose" and stage in BEFORE_DISPATCH:
            self.done("call off", lambda unit: end_transfer(unit, one, Ending(reason="not now")))
            return
        said = {} if how == "go on" else {"arrived": False, "discrepancy": "not in the crate"}
        acts = {
            TransferStage.DRAFT: lambda unit: check_transfer(unit, one),
            TransferStage.COMPLETE: lambda unit: approve_transfer(unit, one),
            TransferStage.APPROVED: lambda unit: dispatch_transfer(unit, one, Dispatch(temperature_c=22.5)),
            TransferStage.RECEIVED: lambda unit: close_transfer(unit, one),
            TransferStage.RETURNED: lambda unit: close_transfer(unit, one),
        }
        self.done(stage.value, acts.get(stage, lambda unit: self.receive(unit, unit.fetch(Transfer, one), said)))

    @staticmethod
    def receive(unit, transfer, said):
        """Have animals arrive, or be back; those that are back at a site of ours are kept apart there."""
        is_back = transfer.stage is TransferStage.REFUSED and transfer.from_site_id is not None
        receive_transfer(unit, transfer.id, receipt(unit, transfer, apart=14 if is_back else None, **said))

    @invariant()
    def the_permitted_number_is_never_exceeded(self):
        with self.open() as unit:
            there = [one for one in (unit.fetch(Animal, each) for each in self.animals) if one.status is Status.PRESENT]
            at_second = sum(unit.fetch(Enclosure, one.enclosure_id).site_id == self.sites[1].id for one in there)
            coming = sum(
                one.stage is TransferStage.DISPATCHED and one.to_site_id == self.sites[1].id
                for one in (unit.fetch(Transfer, each) for each in self.transfers)
            )
        assert at_second + coming <= PERMITTED

    @invariant()
    def who_is_under_way_is_with_one_transfer_and_away_or_with_another_party(self):
        with self.open() as unit:
            going = Counter()
            for one in (unit.fetch(Transfer, each) for each in self.transfers):
                if one.stage in (TransferStage.DISPATCHED, TransferStage.REFUSED):
                    going.update(line.animal_id for line in lines_of(unit, one))
            assert all(number == 1 for number in going.values())
            assert {unit.fetch(Animal, one).status for one in going} <= {Status.AWAY, Status.DEPARTED}

    def teardown(self):
        with self.open() as unit:
            today = makers.NOON.date()
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

    done = ("plan", "draft", "complete", "approved", "dispatched", "refuse", "refused", "received", "returned", "call off")
    assert [one for one in done if not machine.accepted[one]] == []
