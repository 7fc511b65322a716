"""Since when the animals of a record are kept, where they come from and when they were born, followed through all that happened to them.

What is said of a record need not be true of each of its animals: others join a group, some come back, and those that are split off take
with them what was known of the group. What differs among a record's animals is kept as far as it can be told, and unknown beyond that.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from uuid import UUID

from domain.rules.lives import OPENING, EventKind, Origin

HATCHED_OR_BORN = frozenset((EventKind.BORN, EventKind.HATCHED))
BORN_HERE = HATCHED_OR_BORN | {EventKind.LAID}


@dataclass(frozen=True, slots=True, kw_only=True)
class Provenance:
    """What is known of each of some animals: the first and last day on which it can have been acquired, and born; and where it comes from.

    Without days of birth these are not known of all of them.
    """

    acquired_from: date
    acquired_until: date
    origin: Origin = Origin.UNKNOWN
    born_from: date | None = None
    born_until: date | None = None

    def together_with(self, other: Provenance) -> Provenance:
        """Return what is known of each of these animals and of the others."""
        born = self.born_from, self.born_until, other.born_from, other.born_until
        return Provenance(
            acquired_from=min(self.acquired_from, other.acquired_from),
            acquired_until=max(self.acquired_until, other.acquired_until),
            origin=self.origin if self.origin is other.origin else Origin.UNKNOWN,
            born_from=None if None in born else min(day for day in born if day is not None),
            born_until=None if None in born else max(day for day in born if day is not None),
        )

    def acquired(self, on: date) -> Provenance:
        """Return what is known of them where they were acquired on a day."""
        return replace(self, acquired_from=on, acquired_until=on)


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """That the number of animals of a record changed on a day. ``other_id`` is the record that they came from or went to.

    ``ends_loan`` says that they came back from a loan: they had been acquired all along.
    """

    animal_id: UUID
    on: date
    kind: EventKind
    change: int
    other_id: UUID | None = None
    ends_loan: bool = False


def provenances(own: Mapping[UUID, Provenance], changes: Iterable[Change]) -> Mapping[UUID, Sequence[tuple[date, Provenance]]]:
    """Return from which day on what is known of the animals of each record, where that is not simply what its record says.

    ``own`` is what the records say, of animals that were acquired on the day on which each record begins. ``changes`` come in the order in
    which they were told within each day; of single animals their coming may be left out, unless they came from another record.
    """
    telling = _Telling(own)
    for one in sorted(changes, key=lambda change: (change.on, change.kind not in OPENING or change.other_id is not None)):
        telling.take(one)
    return telling.found


class _Telling:
    """What is known of the animals that are there, and of those that have departed, as far as the changes have been told."""

    def __init__(self, own: Mapping[UUID, Provenance]) -> None:
        self.found: defaultdict[UUID, list[tuple[date, Provenance]]] = defaultdict(list)
        self._own = own
        self._there: dict[UUID, Provenance] = {}
        self._departed: dict[UUID, Provenance] = {}
        self._numbers: dict[UUID, int] = {}

    def take(self, one: Change) -> None:
        """Take in a change."""
        number = self._numbers.get(one.animal_id, 0 if one.kind in OPENING else 1)
        self._numbers[one.animal_id] = number + one.change
        there = self._of(one.animal_id)
        if one.change > 0:
            coming = self._coming(one, is_first=number == 0)
            self._there[one.animal_id] = there.together_with(coming) if number else coming
            self.found[one.animal_id].append((one.on, self._there[one.animal_id]))
        elif one.kind is EventKind.DEPARTED:
            others = self._departed.get(one.animal_id, there)
            self._departed[one.animal_id] = others.together_with(there)

    def _of(self, animal_id: UUID) -> Provenance:
        return self._there.get(animal_id, self._own[animal_id])

    def _coming(self, one: Change, *, is_first: bool) -> Provenance:
        """Return what is known of the animals that come with a change; those that a count finds besides came by its day at the latest."""
        own = self._own[one.animal_id]
        if one.kind is EventKind.RETURNED:
            back = self._departed.get(one.animal_id, own)
            return back if one.ends_loan else back.acquired(one.on)
        from_id = one.other_id if one.other_id is not None and one.other_id in self._own else None
        if from_id is not None:
            return self._taken_along(own, one, from_id=from_id) if is_first else self._of(from_id)
        if is_first:
            return own
        return _born_into(own, one) if one.kind in BORN_HERE else own.acquired(one.on)

    def _taken_along(self, own: Provenance, one: Change, *, from_id: UUID) -> Provenance:
        """Return what is known of animals that go on in a record of their own; what that says otherwise than the other record is believed.

        What hatches has been acquired between its clutch and its hatching.
        """
        source, said = self._of(from_id), self._own[from_id]
        born = source if (own.born_from, own.born_until) == (said.born_from, said.born_until) else own
        return Provenance(
            acquired_from=source.acquired_from,
            acquired_until=one.on if one.kind is EventKind.HATCHED else source.acquired_until,
            origin=source.origin if own.origin is said.origin else own.origin,
            born_from=born.born_from,
            born_until=born.born_until,
        )


def _born_into(own: Provenance, one: Change) -> Provenance:
    """Return what is known of young that are born into a group: they are not known to be of its origin, unless that is being bred here."""
    origin = own.origin if own.origin is Origin.CAPTIVE_BRED else Origin.UNKNOWN
    born = one.on if own.born_from is not None and one.kind in HATCHED_OR_BORN else None
    return replace(own.acquired(one.on), origin=origin, born_from=born, born_until=born)
