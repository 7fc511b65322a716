"""Births, moves, splits, merges, departures and deaths at random, held against a count on the fingers.

``REEDBED_ROUNDS=200`` gives the full figures.
"""

from __future__ import annotations

import os
from collections import Counter
from dataclasses import dataclass, replace
from datetime import UTC, datetime, time, timedelta
from itertools import count

import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule, run_state_machine_as_test

from domain.actions.census import Scope, census, movements, statement
from domain.actions.groups import MergeStated, SplitStated, merge_animal, split_animal
from domain.actions.lives import withdraw_event
from domain.actions.recording import Ending
from domain.actions.verify import prove
from domain.errors import Refusal
from domain.records.animals import Animal, AnimalEvent, AnimalState, Placement
from domain.records.base import table_of
from domain.records.enclosures import Enclosure
from domain.records.statements import Statement
from domain.records.stock import animal, animals_on, shown_on
from domain.rules.lives import GONE, Grouping, LifeStage, Sex, Status
from domain.rules.stock import IN, OUT, out_of_balance, total
from tests import makers

USUAL_ROUNDS = 15
ROUNDS = int(os.environ.get("REEDBED_ROUNDS", USUAL_ROUNDS))
STEPS = 30
FIRST_DAY = makers.NOON.date()
organisations = count(makers.ORGANISATION + 500)
some = st.integers(0, 10_000)
_columns = shown_on(sa.bindparam("as_of", type_=sa.Date()))
ON_A_DAY = Statement(
    sa.select(animal.c.id, *(_columns[name].label(name) for name in ("count", "enclosure_id", "status")))
    .select_from(animals_on(sa.bindparam("as_of", type_=sa.Date())))
    .where(animal.c.organisation_id == sa.bindparam("organisation_id"))
)


def every(record):
    """Return the statement for every kept row of a kind of record."""
    table = table_of(record)
    own = table.c.organisation_id == sa.bindparam("organisation_id")
    return Statement(sa.select(table).where(own, table.c.ended_on.is_(None)))


@dataclass(frozen=True)
class Counted:
    """One record as it should stand: how many animals, whether a group, where, in which status, since when there.

    A single animal's end comes last on a day: ``until_then`` is the status that it was in on the day ``ended_on`` before that. ``departed``
    is how many may return, ``escaped_from`` in which status it was when it escaped.
    """

    id: object
    group: bool
    number: int
    place: object
    status: Status = Status.PRESENT
    placed_on: object = None
    until_then: object = None
    ended_on: object = None
    stage: LifeStage = LifeStage.UNKNOWN
    departed: int = 0
    escaped_from: object = None

    @property
    def here(self):
        return self.status is Status.PRESENT

    def gone(self, status, *, on):
        return replace(self, number=0, status=status, until_then=None if self.group else self.status, ended_on=on)

    def status_before_the_end(self, day):
        return self.until_then if self.until_then and self.ended_on == day else self.status


class Stock(RuleBasedStateMachine):
    """A collection, and the same kept in the head."""

    store = None

    def __init__(self):
        super().__init__()
        self.organisation = next(organisations)
        makers.organisation(self.store, organisation_id=self.organisation, name=f"Trust {self.organisation}")
        self.day = FIRST_DAY
        self.known = {}
        self.tags = count(1)
        self.ticks = count(1)
        self.seen = {}
        with self.open() as unit:
            site = makers.site(unit)
            other = makers.site(unit, name="Quillback")
            self.places = [makers.enclosure(unit, at, name=f"A {number}") for number, at in enumerate((site, site, other))]
            self.taxon = makers.taxon(unit)

    def open(self):
        at = datetime.combine(self.day, time(12), tzinfo=UTC) + timedelta(milliseconds=next(self.ticks))
        return self.store.transaction(makers.origin(organisation_id=self.organisation, at=at))

    def chosen(self, number):
        return [*self.known.values()][number % len(self.known)]

    def attempt(self, act, *, expected):
        """Do something; it is to be accepted or refused as the head says. Return what it gave, ``None`` where it was refused."""
        try:
            with self.open() as unit:
                given = act(unit)
        except Refusal as refused:
            if expected:
                raise AssertionError(refused.detail) from refused
            return None
        assert expected
        return given

    @rule()
    def next_day(self):
        self.seen[self.day] = self.picture()
        self.day += timedelta(1)

    @rule(group=st.booleans(), number=st.integers(1, 9), place=st.integers(0, 2))
    def comes(self, group, number, place):
        facts = {"tag": f"T {next(self.tags)}", "enclosure_id": self.places[place].id}
        with self.open() as unit:
            made = makers.group(unit, self.taxon, number, **facts) if group else makers.animal(unit, self.taxon, **facts)
        self.known[made.id] = Counted(made.id, group, number if group else 1, self.places[place].id, placed_on=self.day)

    @precondition(lambda self: self.known)
    @rule(which=some, number=st.integers(1, 9), kind=st.sampled_from(["died", "departed"]))
    def goes(self, which, number, kind):
        one = self.chosen(which)
        number = number if one.group else 1
        told = self.attempt(
            lambda unit: makers.event(unit, one, kind, str(self.day), number=number),
            expected=one.status not in GONE and number <= one.number,
        )
        if told:
            left, status = one.number - number, {"died": Status.DEAD, "departed": Status.DEPARTED}[kind]
            one = replace(one, departed=one.departed + (number if kind == "departed" else 0))
            self.known[one.id] = replace(one, number=left) if left else one.gone(status, on=self.day)

    @precondition(lambda self: self.known)
    @rule(which=some, number=st.integers(1, 4))
    def returns(self, which, number):
        one = self.chosen(which)
        number = number if one.group else 1
        told = self.attempt(lambda unit: makers.event(unit, one, "returned", str(self.day), number=number), expected=self.may(one, number))
        if told:
            there = {"status": Status.PRESENT, "place": None, "until_then": None} if one.status in GONE else {}
            self.known[one.id] = replace(one, number=one.number + number, departed=one.departed - number, **there)

    def may(self, one, number):
        """As many can return as departed; on the day on which the only animal left it is still to leave, as its end comes last on a day."""
        return number <= one.departed and (one.group or one.ended_on < self.day)

    @precondition(lambda self: self.known)
    @rule(which=some, number=st.integers(1, 9))
    def are_born(self, which, number):
        one = self.chosen(which)
        told = self.attempt(
            lambda unit: makers.event(unit, one, "born", str(self.day), number=number), expected=one.group and self.before_its_end(one)
        )
        if told:
            self.known[one.id] = replace(one, number=one.number + number)

    def before_its_end(self, one):
        return one.status not in GONE

    @precondition(lambda self: self.known)
    @rule(which=some, sex=st.sampled_from(Sex), stage=st.sampled_from(LifeStage))
    def is_known_better(self, which, sex, stage):
        one = self.chosen(which)
        here = one.status_before_the_end(self.day) not in GONE
        self.attempt(
            lambda unit: makers.event(unit, one, "sexed", str(self.day), sex=sex.value),
            expected=here and (one.group or sex is not Sex.MIXED),
        )
        if self.attempt(lambda unit: makers.event(unit, one, "staged", str(self.day), life_stage=stage.value), expected=here):
            self.known[one.id] = replace(one, stage=stage)

    @precondition(lambda self: self.known)
    @rule(which=some, number=st.integers(1, 12), kind=st.sampled_from(["counted", "estimated"]))
    def is_counted(self, which, number, kind):
        one = self.chosen(which)
        told = self.attempt(
            lambda unit: makers.event(unit, one, kind, str(self.day), number=number), expected=one.group and one.status not in GONE
        )
        if told:
            self.known[one.id] = replace(one, number=number)

    @precondition(lambda self: self.known)
    @rule(which=some, turn=st.sampled_from(["escaped", "found", "sent_away", "came_back"]))
    def turns(self, which, turn):
        one = self.chosen(which)
        status = one.status_before_the_end(self.day)
        before, after = {
            "escaped": ({Status.PRESENT, Status.AWAY}, Status.MISSING),
            "found": ({Status.MISSING}, one.escaped_from),
            "sent_away": ({Status.PRESENT}, Status.AWAY),
            "came_back": ({Status.AWAY}, Status.PRESENT),
        }[turn]
        told = self.attempt(lambda unit: makers.event(unit, one, turn, str(self.day)), expected=status in before)
        if told and turn == "escaped":
            one = replace(one, escaped_from=status)
        if told and one.status in GONE:
            self.known[one.id] = replace(one, until_then=after)
        elif told:
            self.known[one.id] = replace(one, status=after, place=one.place if after is not Status.PRESENT else None)

    @precondition(lambda self: self.known)
    @rule(which=some, to=st.integers(0, 2))
    def moves(self, which, to):
        one, place = self.chosen(which), self.places[to]
        with self.open() as unit:
            there = [row for row in unit.all(Placement, every(Placement)) if row.animal_id == one.id]
        around = next((row for row in there if row.until_on is None or row.until_on >= self.day), None)
        expected = one.here and (around is None or (around.enclosure_id != place.id and around.from_on != self.day))
        moved = self.attempt(lambda unit: makers.move(unit, one, place, str(self.day)), expected=expected)
        if moved:
            self.known[one.id] = replace(one, place=place.id, placed_on=self.day)

    @precondition(lambda self: self.known)
    @rule(which=some, number=st.integers(1, 9), single=st.booleans(), to=st.integers(0, 2))
    def is_split(self, which, number, single, to):
        one = self.chosen(which)
        number = 1 if single else number
        stated = SplitStated(
            happened_on=self.day,
            number=number,
            tag=f"T {next(self.tags)}",
            grouping=Grouping.INDIVIDUAL if single else Grouping.GROUP,
            enclosure_id=self.places[to].id,
        )
        expected = one.group and one.here and number <= one.number
        made = self.attempt(lambda unit: split_animal(unit, one.id, stated), expected=expected)
        if made:
            left = one.number - number
            self.known[one.id] = replace(one, number=left, status=one.status if left else Status.MERGED)
            self.known[made.id] = Counted(made.id, not single, number, self.places[to].id, placed_on=self.day, stage=one.stage)

    @precondition(lambda self: self.known)
    @rule(which=some, into=some, number=st.integers(1, 9))
    def is_merged(self, which, into, number):
        one, group = self.chosen(which), self.chosen(into)
        number = number if one.group else 1
        stated = MergeStated(happened_on=self.day, into_id=group.id, number=number)
        alike = one.stage is group.stage
        eggs_among_animals = not alike and LifeStage.EGG in {one.stage, group.stage} and LifeStage.UNKNOWN not in {one.stage, group.stage}
        expected = one.id != group.id and group.group and one.here and group.here and number <= one.number and not eggs_among_animals
        if self.attempt(lambda unit: merge_animal(unit, one.id, stated), expected=expected):
            left = one.number - number
            self.known[one.id] = replace(one, number=left) if left else one.gone(Status.MERGED, on=self.day)
            self.known[group.id] = replace(group, number=group.number + number, stage=group.stage if alike else LifeStage.UNKNOWN)

    @precondition(lambda self: self.known)
    @rule(which=some)
    def was_told_wrongly(self, which):
        """What is withdrawn at once leaves everything as it was, in both records."""
        one = self.chosen(which)
        if not one.here:
            return
        before = self.picture()
        with self.open() as unit:
            told = makers.event(unit, one, "died" if not one.group else "counted", str(self.day), number=1)
        with self.open() as unit:
            withdraw_event(unit, told.event.id, Ending(reason="another animal"), owner_id=one.id)
        assert self.picture() == before

    def picture(self):
        """Return what the database says of today: each record's number, place and status."""
        with self.open() as unit:
            return {row["id"]: (row["count"], row["enclosure_id"], row["status"]) for row in unit.named(ON_A_DAY, as_of=self.day)}

    @invariant()
    def the_count_is_that_of_the_fingers(self):
        wanted = {one.id: (one.number, one.place, one.status) for one in self.known.values() if one.status not in GONE}
        found = self.picture()
        assert {key: (number, status) for key, (number, _, status) in found.items()} == {
            key: (number, status) for key, (number, _, status) in wanted.items()
        }
        for key, (_, place, status) in wanted.items():
            if status is Status.PRESENT and place is not None:
                assert found[key][1] == place

    @invariant()
    def nobody_is_in_two_places(self):
        with self.open() as unit:
            for record in (Placement, AnimalState):
                days = Counter()
                for row in unit.all(record, every(record)):
                    last = row.until_on or self.day
                    days.update((row.animal_id, row.from_on + timedelta(n)) for n in range((last - row.from_on).days + 1))
                assert all(times == 1 for times in days.values())

    @invariant()
    def nothing_happens_after_the_end(self):
        with self.open() as unit:
            ended = {one.id: unit.fetch(Animal, one.id).ended_on for one in self.known.values() if one.status in GONE}
            for record, day in ((AnimalEvent, "happened_on"), (Placement, "from_on")):
                for row in unit.all(record, every(record)):
                    assert row.animal_id not in ended or getattr(row, day) <= ended[row.animal_id]

    def teardown(self):
        for day, picture in self.seen.items():
            with self.open() as unit:
                later = {row["id"]: (row["count"], row["enclosure_id"], row["status"]) for row in unit.named(ON_A_DAY, as_of=day)}
            assert later == picture
        with self.open() as unit:
            self.check_statements(unit)
            assert prove(unit).flaws == []

    def check_statements(self, unit):
        """Whatever the period and whoever asks: opening, what came and went, and closing agree, line by line, and so do the movements."""
        days = [*self.seen, self.day]
        site_id = unit.fetch(Enclosure, self.places[0].id).site_id
        scopes = (Scope(), Scope(site_id=site_id), Scope(reached=frozenset((site_id, None))))
        for scope in scopes:
            for from_on, until_on in {(days[0], days[-1]), (days[len(days) // 2], days[-1])}:
                accounts = statement(unit, from_on=from_on, until_on=until_on, scope=scope)
                assert out_of_balance(accounts) == []
                self.check_movements(accounts, [*movements(unit, from_on=from_on, until_on=until_on, scope=scope)])
                self.check_going_on(unit, from_on=from_on, until_on=until_on, scope=scope)
        kept = sum(one.number for one in self.known.values() if one.status not in GONE)
        assert total(statement(unit, from_on=days[0], until_on=days[-1], scope=Scope()).values()).closing == kept
        assert sum(line.number for line in census(unit, on=self.day, scope=Scope())) == kept

    def check_movements(self, accounts, moved):
        """The numbers of the movements, added up by line and column, are the statement's."""
        summed = Counter()
        for one in moved:
            summed.update({(entry.line, entry.column): one.number for entry in one.entries})
        stated = {(line, name): getattr(account, name) for line, account in accounts.items() for name in (*IN, *OUT)}
        assert summed == {place: number for place, number in stated.items() if number}
        assert [one.place.order for one in moved] == sorted({one.place.order for one in moved})

    def check_going_on(self, unit, **asked):
        """Wherever the list of movements is taken up again, it goes on with what came after."""
        moved = [*movements(unit, **asked)]
        for number in range(0, len(moved), 3):
            assert [*movements(unit, **asked, after=moved[number].place)] == moved[number + 1 :]


@pytest.mark.timeout(600 if ROUNDS == USUAL_ROUNDS else 7200)
def test_counts_are_conserved_nobody_is_twice_and_nobody_acts_after_death(store):
    machine = type("OnStore", (Stock,), {"store": store})

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
