"""How many animals of a transfer were expected, how many arrived, and what becomes of those of a group that did not."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from itertools import count
from uuid import UUID

from domain.actions.animal_parts import stated_of
from domain.actions.holdings import holding_on, record_holding
from domain.actions.lives import EVENTS_OF, add_event, come_to_life, relived
from domain.actions.transfers.taken import bearer_of
from domain.errors import RuleBroken
from domain.records.animals import Animal, AnimalEvent, AnimalEventStated, AnimalFacts
from domain.records.columns import NAME_LENGTH
from domain.records.holdings import HoldingStated
from domain.records.transfers import Arrival, Transfer, TransferAnimal
from domain.records.unit import Unit
from domain.rules.lives import EventKind, Status
from domain.rules.text import fitted


@dataclass(frozen=True, slots=True, kw_only=True)
class Numbers:
    """How many animals of a line were expected, how many may be received with it, how many arrived, and how many of these dead."""

    expected: int
    most: int
    arrived: int
    dead: int

    @property
    def alive(self) -> int:
        """How many arrived alive."""
        return self.arrived - self.dead

    @property
    def missing(self) -> int:
        """How many of those expected did not arrive."""
        return max(self.expected - self.arrived, 0)

    @property
    def agree(self) -> bool:
        """Whether all that were expected arrived, alive, and nobody else."""
        return self.arrived == self.expected and not self.dead


def numbers_of(unit: Unit, line: TransferAnimal, arrival: Arrival) -> Numbers:
    """Return how many animals of a line arrived, all that were expected where that is not said.

    Of a record that has departed all may be received that have, if more come than was said: there is no other way in for them.
    """
    animal = None if line.animal_id is None else unit.fetch(Animal, line.animal_id)
    expected = line.number if animal is None else animal.count or line.number
    most = expected if animal is None or animal.count else max(expected, sum(_departed(unit, animal)))
    arrived = (arrival.number or expected) if arrival.arrived else 0
    return Numbers(expected=expected, most=most, arrived=arrived, dead=arrival.dead)


def _departed(unit: Unit, animal: Animal) -> list[int]:
    """Return how many animals of a record departed each time, less, in the end, those that have returned."""
    events = unit.all(AnimalEvent, EVENTS_OF, animal_id=animal.id)
    told = ((one.kind, one.number) for one in events)
    return [-number if kind is EventKind.RETURNED else number for kind, number in told if kind in (EventKind.DEPARTED, EventKind.RETURNED)]


def number_going(unit: Unit, animal: Animal, *, said: int | None) -> int:
    """Return how many animals of a record go with a transfer: all that are kept; of one whose animals have all departed as many as is said.

    Where that is not said, those that left last come.

    Raises:
        RuleBroken: Fewer or more are said than are kept, or more than have departed.
    """
    if animal.count:
        if said not in (None, animal.count):
            part = "Take part of a group out of it first." if animal.status is Status.PRESENT else "How many arrive is said on arrival."
            sentence = f"All {animal.count} of this record go. {part}"
            raise RuleBroken(sentence, code="whole-record", field="number")
        return animal.count
    departed = _departed(unit, animal)
    gone = sum(departed)
    if said is not None and said > gone:
        raise RuleBroken(f"Only {gone} of this record have departed and can come back.", code="too-many", field="number")
    return said or departed[-1]


def without_missing(unit: Unit, transfer: Transfer, group: Animal, number: int, *, on: date) -> Animal:
    """Have those of a group that did not arrive go on in a record of their own, away until they are accounted for; return the group.

    They are held as the group is, and are where it was last.
    """
    if not number:
        return group
    leaving, coming, made_id = unit.new_id(), unit.new_id(), unit.new_id()
    told = AnimalEventStated(kind=EventKind.SPLIT_OFF, happened_on=on, number=number, reference=transfer.reference, note="Did not arrive.")
    parted = told.model_copy(update={"kind": EventKind.SPLIT_FROM, "sex": group.sex, "life_stage": group.life_stage})
    missing = come_to_life(
        unit,
        _facts_of(unit, group, transfer),
        parted,
        record_id=made_id,
        event_id=coming,
        other=(group.id, leaving),
        enclosure_id=group.enclosure_id,
    )
    sent = told.model_copy(update={"kind": EventKind.SENT_AWAY})
    relived(unit, missing, latest=add_event(unit, missing, sent))
    held = holding_on(unit, group.id, on=on)
    if held is not None:
        record_holding(unit, made_id, stated_of(HoldingStated, held, from_on=on))
    return relived(unit, group, latest=add_event(unit, group, told, record_id=leaving, other=(made_id, coming)))


def _facts_of(unit: Unit, group: Animal, transfer: Transfer) -> AnimalFacts:
    names = ("taxon_id", "grouping", "hatched_on", "hatched_precision", "origin", "locality", "name_as_printed")
    facts = {name: getattr(group, name) for name in names}
    note = f"Of {group.tag}; did not arrive with transfer {transfer.reference}."
    return AnimalFacts.model_construct(**facts, tag=_tag_for(unit, f"{group.tag}, missing"), note=note)


def _tag_for(unit: Unit, wanted: str) -> str:
    """Return the wanted tag where nobody bears it, else the first number of it that nobody does."""
    tags = (fitted(wanted, NAME_LENGTH - 8) + ("" if number == 1 else f" {number}") for number in count(1))
    return next(tag for tag in tags if bearer_of(unit, tag) is None)


def not_arrived(unit: Unit, transfer: Transfer, line: TransferAnimal) -> Iterator[Animal]:
    """Yield who is on record of a line and did not arrive: the whole record, or the one of those that are missing of a group."""
    if line.animal_id is None:
        return
    if line.arrived is False:
        yield unit.fetch(Animal, line.animal_id)
    for other_id in _parted(unit, transfer, line.animal_id):
        yield unit.fetch(Animal, other_id)


def _parted(unit: Unit, transfer: Transfer, animal_id: UUID) -> Iterator[UUID]:
    for one in unit.all(AnimalEvent, EVENTS_OF, animal_id=animal_id):
        if one.kind is EventKind.SPLIT_OFF and one.reference == transfer.reference and one.other_animal_id is not None:
            yield one.other_animal_id
