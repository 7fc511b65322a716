"""Where all animals are, and where those under way are heading for, as the law asks for them when others are to leave."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from uuid import UUID

from domain.actions.lives import MARKS_OF
from domain.actions.subjects import Chronicle, Taxa
from domain.actions.transfers.lines import LINES_UNDER_WAY, heading_for
from domain.records.animals import Animal, DatePrecision
from domain.records.marks import TRANSPONDERS, Mark
from domain.records.transfers import Transfer, TransferAnimal
from domain.records.unit import Unit
from domain.rules.calendar import add_months
from domain.rules.law.facts import Subject
from domain.rules.lives import Grouping, Status
from domain.rules.measures import Measured, MeasureKind

_DAY = timedelta(days=1)
_MONTHS_OF: Mapping[DatePrecision, int] = {DatePrecision.MONTH: 1, DatePrecision.YEAR: 12}


@dataclass(frozen=True, slots=True)
class Whereabouts:
    """The animals of a transfer, in the order of its lines, and all others, those under way at the site that they are heading for.

    ``expected`` are by enclosure those of the others that are under way to it.
    """

    going: Sequence[Subject]
    others: Sequence[Subject]
    expected: Mapping[UUID, Sequence[Subject]]


def whereabouts(unit: Unit, transfer: Transfer, lines: Sequence[TransferAnimal], *, today: date) -> Whereabouts:
    """Return where all animals are today; what another party sends is told of as its papers say."""
    there = {one.id: one for one in Chronicle(unit, from_on=today, until_on=today).on(today)}
    under_way = unit.all(TransferAnimal, LINES_UNDER_WAY)
    taxa = Taxa(unit, {line.taxon_id for line in (*lines, *under_way) if line.taxon_id is not None})
    expected: defaultdict[UUID, list[Subject]] = defaultdict(list)
    for line, other, heading in _heading(unit, under_way, but=transfer):
        coming = there[line.animal_id] if line.animal_id in there else _comes(unit, other, line, taxa, today=today)
        there[coming.id] = replace(coming, site_id=heading)
        if other.quarantine_enclosure_id is not None and heading == other.to_site_id:
            expected[other.quarantine_enclosure_id].append(coming)
    going = [there[line.animal_id] if line.animal_id in there else _comes(unit, transfer, line, taxa, today=today) for line in lines]
    own = {line.animal_id for line in lines}
    return Whereabouts(going, [one for key, one in there.items() if key not in own], expected)


def _heading(unit: Unit, lines: Sequence[TransferAnimal], *, but: Transfer) -> Iterator[tuple[TransferAnimal, Transfer, UUID]]:
    """Yield the lines of other transfers whose animals are on their way to a site of ours, with the transfer and that site.

    Who is on record as having died on the way is not.
    """
    for line in lines:
        transfer = unit.fetch(Transfer, line.transfer_id)
        heading = heading_for(transfer)
        has_died = line.animal_id is not None and unit.fetch(Animal, line.animal_id).status is Status.DEAD
        if heading is not None and transfer.id != but.id and not has_died:
            yield line, transfer, heading


def _comes(unit: Unit, transfer: Transfer, line: TransferAnimal, taxa: Taxa, *, today: date) -> Subject:
    """Return an animal that is not kept today: one that comes for the first time, or one that left and comes again."""
    if line.animal_id is None:
        return _coming(line, taxa, on=today)
    animal = unit.fetch(Animal, line.animal_id)
    borne = [one for one in unit.all(Mark, MARKS_OF, animal_id=animal.id) if one.until_on is None or one.closed_by_id is not None]
    return Subject(
        id=animal.id,
        tag=animal.tag,
        taxon=Taxa(unit, {animal.taxon_id}).facts(animal.taxon_id, on=today),
        number=animal.count or line.number,
        sex=animal.sex,
        life_stage=animal.life_stage,
        origin=animal.origin,
        born_from=animal.hatched_on,
        born_until=_last_birthday(animal.hatched_on, animal.hatched_precision),
        acquired_from=transfer.arrive_on,
        acquired_until=transfer.arrive_on,
        is_marked=any(one.kind in TRANSPONDERS and one.warning is None for one in borne) or None,
    )


def _coming(line: TransferAnimal, taxa: Taxa, *, on: date) -> Subject:
    """Return an animal that comes for the first time, as its papers tell of it."""
    assert line.taxon_id is not None and line.tag is not None, "what comes has a taxon and a tag"  # noqa: S101, PT018 - its shape says so
    return Subject(
        id=line.id,
        tag=line.tag,
        taxon=taxa.facts(line.taxon_id, on=on),
        number=line.number if line.grouping is Grouping.GROUP else 1,
        sex=line.sex,
        life_stage=line.life_stage,
        origin=line.origin,
        born_from=line.hatched_on,
        born_until=_last_birthday(line.hatched_on, line.hatched_precision),
        acquired_from=on,
        acquired_until=on,
        is_marked=line.transponder is not None or line.other_mark is not None,
        measured={} if line.mass_g is None else {MeasureKind.MASS: Measured(line.mass_g, on)},
    )


def _last_birthday(hatched_on: date | None, precision: DatePrecision) -> date | None:
    """Return the last day on which it may have hatched."""
    if hatched_on is None or precision is DatePrecision.DAY:
        return hatched_on
    return add_months(hatched_on, _MONTHS_OF[precision]) - _DAY
