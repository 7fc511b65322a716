"""News of any past day, told in any order, corrected and withdrawn: whatever is accepted, every day is as its events and placements say.

``REEDBED_ROUNDS=200`` gives the full figures.
"""

from __future__ import annotations

import os
from collections import Counter
from datetime import timedelta
from itertools import count
from typing import ClassVar

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule, run_state_machine_as_test

from domain.actions.census import Scope, statement
from domain.actions.groups import MergeStated, SplitStated, merge_animal, split_animal
from domain.actions.lives import withdraw_event
from domain.actions.placements import change_placement, end_placement
from domain.actions.recording import Ending
from domain.actions.verify import prove
from domain.errors import Refusal
from domain.records.animals import Animal, AnimalEvent, Placement
from domain.rules.lives import GONE, Grouping, LifeStage, Status
from domain.rules.stock import out_of_balance
from tests import makers
from tests.actions.test_stock_machine import ON_A_DAY, every

USUAL_ROUNDS = 80
ROUNDS = int(os.environ.get("REEDBED_ROUNDS", USUAL_ROUNDS))
STEPS = 30
TODAY = makers.NOON.date()
DAYS = 7
FIRST_WEEKEND = TODAY - timedelta(DAYS - 2)
WRONG = Ending(reason="entered by mistake")
organisations = count(makers.ORGANISATION + 5000)
some = st.integers(0, 10_000)
days = st.integers(0, DAYS - 1).map(lambda back: TODAY - timedelta(back))
few = st.integers(1, 4)
COMING = {"acquired", "born", "hatched", "laid", "split_from", "returned", "joined_by"}
GOING = {
    "died": Status.DEAD,
    "departed": Status.DEPARTED,
    "split_off": Status.MERGED,
    "hatched_out": Status.MERGED,
    "joined": Status.MERGED,
}
TURNING = {"escaped": Status.MISSING, "sent_away": Status.AWAY, "came_back": Status.PRESENT}


class Days:
    """What one record's events say of the end of each day: how many there are, and in which status."""

    def __init__(self, group, events):
        self.by_day = {}
        number, status, opened, escaped_from = 0, None, False, None
        for event in sorted(events, key=lambda one: (one.happened_on, not group and one.kind in GOING, one.created_at, one.id)):
            kind = event.kind.value
            if kind in COMING:
                number += event.number
                status = Status.PRESENT if status is None or status in GONE else status
            elif kind in GOING:
                number -= event.number
                status = GOING[kind] if number == 0 else status
            elif kind in {"counted", "estimated"}:
                number = event.number
            escaped_from = status if kind == "escaped" else escaped_from
            status = escaped_from if kind == "found" else TURNING.get(kind, status)
            assert number >= 0
            assert opened or kind in COMING
            opened = True
            self.by_day[event.happened_on] = (number, status)

    def on(self, day):
        return next((self.by_day[one] for one in sorted(self.by_day, reverse=True) if one <= day), (0, None))

    def place(self, placements, day):
        """Where the last placement put it, if it has been here at the end of every day since."""
        begun = [one for one in placements if one.from_on <= day]
        if not begun:
            return None
        last = max(begun, key=lambda one: one.from_on)
        since = [last.from_on + timedelta(n) for n in range((day - last.from_on).days + 1)]
        return last.enclosure_id if all(self.on(one)[1] is Status.PRESENT for one in since) else None


class LateNews(RuleBasedStateMachine):
    """A collection of which things are told days later."""

    store = None
    accepted: ClassVar[Counter] = Counter()

    def __init__(self):
        super().__init__()
        self.organisation = next(organisations)
        makers.organisation(self.store, organisation_id=self.organisation, name=f"Trust {self.organisation}")
        self.ticks, self.tags, self.known = count(1), count(1), []
        with self.open() as unit:
            site, other = makers.site(unit), makers.site(unit, name="Quillback")
            self.places = [makers.enclosure(unit, at, name=f"A {number}") for number, at in enumerate((site, site, other))]
            self.taxon = makers.taxon(unit)

    def open(self):
        at = makers.NOON + timedelta(milliseconds=next(self.ticks))
        return self.store.transaction(makers.origin(organisation_id=self.organisation, at=at))

    def chosen(self, number):
        return self.known[number % len(self.known)]

    def attempt(self, name, act):
        """Tell something; what cannot be true may be refused, and then changes nothing. Return what it gave."""
        try:
            with self.open() as unit:
                given = act(unit)
        except Refusal:
            return None
        self.accepted[name] += 1
        return given

    @rule(group=st.sampled_from([True, True, False]), number=few, place=st.integers(0, 2), on=days.map(lambda day: min(day, FIRST_WEEKEND)))
    def comes(self, group, number, place, on):
        facts = {"tag": f"T {next(self.tags)}", "enclosure_id": self.places[place].id, "acquired_on": on}
        made = self.attempt(
            "comes",
            lambda unit: makers.group(unit, self.taxon, number, **facts) if group else makers.animal(unit, self.taxon, **facts),
        )
        self.known.append(made.id)

    @precondition(lambda self: self.known)
    @rule(which=some, number=few, on=days, kind=st.sampled_from(["died", "departed", "returned", "born", "counted", "acquired"]))
    def is_told(self, which, number, on, kind):
        one = self.chosen(which)
        number = number if self.is_group(one) else 1
        self.attempt(kind, lambda unit: makers.event(unit, unit.fetch(Animal, one), kind, str(on), number=number))

    @precondition(lambda self: self.known)
    @rule(which=some, on=days, gone=st.integers(0, 2), absence=st.sampled_from([("escaped", "found"), ("sent_away", "came_back")]))
    def was_gone(self, which, on, gone, absence):
        """An absence is told late with its end, or without; it may have ended on the day on which it began."""
        one, (went, came) = self.chosen(which), absence
        told = self.attempt(went, lambda unit: makers.event(unit, unit.fetch(Animal, one), went, str(on)))
        back = on + timedelta(gone)
        if told and back <= TODAY:
            self.attempt(came, lambda unit: makers.event(unit, unit.fetch(Animal, one), came, str(back)))

    @precondition(lambda self: self.known)
    @rule(which=some, to=st.integers(0, 2), on=days)
    def was_moved(self, which, to, on):
        one = self.chosen(which)
        self.attempt("moved", lambda unit: makers.move(unit, unit.fetch(Animal, one), self.places[to], str(on)))

    @precondition(lambda self: self.known)
    @rule(which=some, number=few, single=st.booleans(), to=st.integers(0, 3), on=days)
    def was_split(self, which, number, single, to, on):
        stated = SplitStated(
            happened_on=on,
            number=1 if single else number,
            tag=f"T {next(self.tags)}",
            grouping=Grouping.INDIVIDUAL if single else Grouping.GROUP,
            enclosure_id=self.places[to].id if to < len(self.places) else None,
        )
        made = self.attempt("split", lambda unit: split_animal(unit, self.chosen(which), stated))
        if made:
            self.known.append(made.id)

    @precondition(lambda self: self.known)
    @rule(which=some, into=some, number=st.none() | few, on=days)
    def was_merged(self, which, into, number, on):
        stated = MergeStated(happened_on=on, into_id=self.chosen(into), number=number)
        self.attempt("merged", lambda unit: merge_animal(unit, self.chosen(which), stated))

    @precondition(lambda self: self.known)
    @rule(which=some, stage=st.sampled_from([LifeStage.EGG, LifeStage.ADULT]), on=days)
    def was_staged(self, which, stage, on):
        one = self.chosen(which)
        self.attempt("staged", lambda unit: makers.event(unit, unit.fetch(Animal, one), "staged", str(on), life_stage=stage.value))

    @rule(which=some, to=st.integers(0, 2), on=days)
    def a_placement_is_corrected(self, which, to, on):
        placements = self.every(Placement)
        if placements:
            one = placements[which % len(placements)]
            patch = {"from_on": str(on), "enclosure_id": str(self.places[to].id)}
            self.attempt(
                "corrected", lambda unit: change_placement(unit, one.id, patch, owner_id=one.animal_id, expected_version=one.version)
            )

    @rule(which=some)
    def a_placement_is_withdrawn(self, which):
        placements = self.every(Placement)
        if placements:
            one = placements[which % len(placements)]
            self.attempt("withdrawn placement", lambda unit: end_placement(unit, one.id, WRONG, owner_id=one.animal_id))

    @rule(which=some)
    def an_event_is_withdrawn(self, which):
        events = self.every(AnimalEvent)
        if events:
            one = events[which % len(events)]
            self.attempt("withdrawn event", lambda unit: withdraw_event(unit, one.id, WRONG, owner_id=one.animal_id))

    def every(self, record):
        with self.open() as unit:
            return unit.all(record, every(record))

    def is_group(self, animal_id):
        with self.open() as unit:
            return unit.fetch(Animal, animal_id).grouping is Grouping.GROUP

    @invariant()
    def every_day_is_as_the_events_and_placements_say(self):
        events, placements = self.every(AnimalEvent), self.every(Placement)
        with self.open() as unit:
            animals = {one: unit.fetch(Animal, one) for one in self.known}
            found = {day: {row["id"]: row for row in unit.named(ON_A_DAY, as_of=day)} for day in self.calendar()}
        lives = {
            key: Days(one.grouping is Grouping.GROUP, [event for event in events if event.animal_id == key]) for key, one in animals.items()
        }
        for key, life in lives.items():
            own = [one for one in placements if one.animal_id == key]
            for day in self.calendar():
                number, status = life.on(day)
                row = found[day].get(key)
                assert (row is not None) == (status is not None and status not in GONE)
                if row is not None:
                    assert (row["count"], row["status"]) == (number, status)
                if status is Status.PRESENT:
                    assert row["enclosure_id"] == life.place(own, day)
            number, status = life.on(TODAY)
            assert animals[key].count == number
            assert status is None or animals[key].status is status
            if own:
                assert animals[key].enclosure_id == max(own, key=lambda one: one.from_on).enclosure_id

    def calendar(self):
        return [TODAY - timedelta(back) for back in range(DAYS)]

    @invariant()
    def both_ends_of_a_move_between_records_agree(self):
        events = {one.id: one for one in self.every(AnimalEvent)}
        for one in events.values():
            if one.other_event_id is not None:
                other = events[one.other_event_id]
                assert (other.other_event_id, other.number, other.happened_on) == (one.id, one.number, one.happened_on)
                assert one.change == -other.change

    def teardown(self):
        with self.open() as unit:
            site_id = self.places[0].site_id
            for scope in (Scope(), Scope(site_id=site_id)):
                assert out_of_balance(statement(unit, from_on=TODAY - timedelta(DAYS), until_on=TODAY, scope=scope)) == []
            assert prove(unit).flaws == []


@pytest.mark.timeout(600 if ROUNDS == USUAL_ROUNDS else 7200)
def test_whatever_is_told_late_corrected_or_withdrawn_every_day_stays_true(store):
    machine = type("OnStore", (LateNews,), {"store": store, "accepted": Counter()})

    run_state_machine_as_test(
        machine,
        settings=settings(
            max_examples=ROUNDS,
            stateful_step_count=STEPS,
            deadline=None,
            suppress_health_check=list(HealthCheck),
            derandomize=ROUNDS == USUAL_ROUNDS,
            database=None,
        ),
    )

    told = (
        *({one} for one in ("comes", "moved", "corrected", "withdrawn placement", "withdrawn event")),
        *({"died", "departed"}, {"born", "counted", "acquired"}, {"split", "merged"}, {"escaped", "sent_away"}, {"found", "came_back"}),
    )
    assert [one for one in told if not one & machine.accepted.keys()] == []
