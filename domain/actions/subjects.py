"""Animals as the law asks for them on any day of a period, made from what is on record of the whole period at once."""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from uuid import UUID

from domain.actions.taxonomy import taxonomy_above
from domain.records.animals import DatePrecision
from domain.records.statements import Row
from domain.records.subjects import ANIMALS_KNOWN, CHANGES_OF_GROUPS, MARKS, PLACES, SIZES, STATES, SYNONYMS
from domain.records.unit import Unit
from domain.rules.calendar import add_months
from domain.rules.law.facts import Subject, TaxonFacts, key_of
from domain.rules.lives import Grouping, LifeStage, Origin, Sex
from domain.rules.measures import Measured, MeasureKind
from domain.rules.taxonomy import Taxonomy, TaxonRank

CROSS = "×"
_DAY = timedelta(days=1)
_MONTHS_OF = {DatePrecision.MONTH: 1, DatePrecision.YEAR: 12}
_BINOMIAL = frozenset((TaxonRank.SPECIES, TaxonRank.SUBSPECIES))


@dataclass(frozen=True, slots=True)
class _Interval:
    from_on: date
    until_on: date | None

    def holds(self, on: date) -> bool:
        return self.from_on <= on and (self.until_on is None or on <= self.until_on)


@dataclass(frozen=True, slots=True)
class _State(_Interval):
    sex: Sex
    life_stage: LifeStage


@dataclass(frozen=True, slots=True)
class _Place(_Interval):
    site_id: UUID


@dataclass(slots=True)
class _Course:
    """What is on record of one animal or group over the period; sizes and changes of number in the order of their days."""

    tag: str
    taxon_id: UUID
    grouping: Grouping
    origin: Origin
    born_from: date | None
    born_until: date | None
    came_on: date
    states: list[_State] = field(default_factory=list)
    places: list[_Place] = field(default_factory=list)
    marks: list[_Interval] = field(default_factory=list)
    changes: dict[date, int] = field(default_factory=dict)
    sizes: list[tuple[MeasureKind, Measured]] = field(default_factory=list)


class Chronicle:
    """The animals that were in keeping on some day of a period, with all that changes about them in it."""

    def __init__(self, unit: Unit, *, from_on: date, until_on: date) -> None:
        """Read what is on record; every question is then answered from memory."""
        self.from_on, self.until_on = from_on, until_on
        period = {"from_on": from_on, "until_on": until_on}
        self._courses = {row[0]: _course(row[1:]) for row in unit.rows(ANIMALS_KNOWN, **_only(period, "until_on"))}
        for animal_id, *state in unit.rows(STATES, **period):
            self._courses[animal_id].states.append(_State(*state))
        for animal_id, *place in unit.rows(PLACES, **period):
            self._courses[animal_id].places.append(_Place(*place))
        for animal_id, first, last in self._of_known(unit.rows(MARKS, **period)):
            self._courses[animal_id].marks.append(_Interval(first, last))
        for animal_id, on, change in unit.rows(CHANGES_OF_GROUPS, **_only(period, "until_on")):
            changes = self._courses[animal_id].changes
            changes[on] = changes.get(on, 0) + change
        for animal_id, kind, value, on in self._of_known(unit.rows(SIZES, **_only(period, "until_on"))):
            self._courses[animal_id].sizes.append((kind, Measured(value, on)))
        self._courses = {key: one for key, one in self._courses.items() if one.states}
        self._taxa = Taxa(unit, {one.taxon_id for one in self._courses.values()})

    def _of_known(self, rows: Iterable[Row]) -> Iterator[Row]:
        """Yield the rows of animals that had come by the end of the period; marks and sizes may be older than that."""
        return (row for row in rows if row[0] in self._courses)

    def on(self, day: date, *, site_ids: frozenset[UUID] | None = None) -> Sequence[Subject]:
        """Return the animals in keeping at the end of a day, at some sites or (``None``) anywhere, the longest kept first."""
        found = (self._subject(key, one, day) for key, one in self._courses.items())
        chosen = [one for one in found if one is not None and (site_ids is None or one.site_id in site_ids)]
        return sorted(chosen, key=lambda one: (one.acquired_on or date.min, one.tag, one.id))

    def of(self, animal_id: UUID, *, on: date) -> Subject | None:
        """Return an animal as it stood at the end of a day, ``None`` where it was not in keeping."""
        course = self._courses.get(animal_id)
        return None if course is None else self._subject(animal_id, course, on)

    def at_site(self, site_id: UUID) -> Mapping[UUID, frozenset[UUID]]:
        """Return the animals that were at a site on some day of the period, by their accepted taxon."""
        found: defaultdict[UUID, set[UUID]] = defaultdict(set)
        for key, one in self._courses.items():
            if any(place.site_id == site_id for place in one.places):
                found[self._taxa.facts(one.taxon_id, on=self.until_on).id].add(key)
        return {taxon_id: frozenset(animals) for taxon_id, animals in found.items()}

    def turning_days(self) -> Iterator[date]:
        """Yield the days of the period on which something about an animal became another, some more than once."""
        for one in self._courses.values():
            for interval in (*one.states, *one.places, *one.marks):
                yield interval.from_on
                if interval.until_on is not None:
                    yield interval.until_on + _DAY
            yield from one.changes
            yield from (measured.on for _, measured in one.sizes)
        yield from self._taxa.turning_days()

    def births(self) -> Iterator[date]:
        """Yield the first and last possible days of birth, from which ages are counted."""
        for one in self._courses.values():
            yield from (day for day in (one.born_from, one.born_until) if day is not None)

    def measured_days(self) -> Iterator[date]:
        """Yield the days of measurements, from which their age is counted."""
        for one in self._courses.values():
            yield from (measured.on for _, measured in one.sizes)

    def _subject(self, animal_id: UUID, course: _Course, day: date) -> Subject | None:
        state = next((one for one in course.states if one.holds(day)), None)
        if state is None:
            return None
        place = next((one for one in course.places if one.holds(day)), None)
        return Subject(
            id=animal_id,
            tag=course.tag,
            taxon=self._taxa.facts(course.taxon_id, on=day),
            site_id=None if place is None else place.site_id,
            number=1 if course.grouping is Grouping.INDIVIDUAL else sum(n for on, n in course.changes.items() if on <= day),
            sex=state.sex,
            life_stage=state.life_stage,
            origin=course.origin,
            born_from=course.born_from,
            born_until=course.born_until,
            acquired_on=course.came_on,
            is_marked=any(one.holds(day) for one in course.marks),
            measured={kind: measured for kind, measured in course.sizes if measured.on <= day},
        )


class Taxa:
    """What is known of the animals' taxa, found once for each stretch of days between which no concept changes."""

    def __init__(self, unit: Unit, taxon_ids: Iterable[UUID]) -> None:
        """Read the taxa with all that they lie in and all their names."""
        self._taxonomy: Taxonomy = taxonomy_above(unit, taxon_ids)
        self._synonyms: defaultdict[UUID, list[str]] = defaultdict(list)
        for name, accepted_id in unit.rows(SYNONYMS):
            self._synonyms[self._taxonomy.accepted(accepted_id)].append(name)
        self._turning = sorted(set(self._taxonomy.turning_days()))
        self._known: dict[tuple[UUID, int], TaxonFacts] = {}

    def turning_days(self) -> Sequence[date]:
        """Return the days from which concepts cover other taxa than on their eve."""
        return self._turning

    def facts(self, taxon_id: UUID, *, on: date) -> TaxonFacts:
        """Return what is known of a taxon, under its accepted name, on a day."""
        key = (taxon_id, bisect_right(self._turning, on))
        if key not in self._known:
            self._known[key] = self._facts(taxon_id, on=on)
        return self._known[key]

    def _facts(self, taxon_id: UUID, *, on: date) -> TaxonFacts:
        accepted = self._taxonomy.accepted(taxon_id)
        name, rank = self._taxonomy.name(accepted), self._taxonomy.rank(accepted)
        assert rank is not None, "an animal's taxon is on record"  # noqa: S101 - its foreign key says so
        lineage = {self._taxonomy.rank(one): key_of(self._taxonomy.name(one)) for one in self._taxonomy.lineage(accepted)}
        ranks = {rank: key for rank, key in lineage.items() if rank is not None}
        names = {one for taxon in self._taxonomy.covering(accepted, on=on) for one in self._names(taxon)}
        if rank in _BINOMIAL:
            genus = key_of(name.split()[0])
            ranks.setdefault(TaxonRank.GENUS, genus)
            names.add(ranks[TaxonRank.GENUS])
        return TaxonFacts(id=accepted, name=name, rank=rank, names=frozenset(names), lineage=ranks, parent_names=_sides(name, rank))

    def _names(self, taxon_id: UUID) -> Iterator[str]:
        yield key_of(self._taxonomy.name(taxon_id))
        yield from map(key_of, self._synonyms.get(taxon_id, ()))


def _sides(name: str, rank: TaxonRank) -> tuple[frozenset[str], ...]:
    """Return the names that cover each side of a cross that is written with both names in full; none for any other."""
    if rank is not TaxonRank.HYBRID or CROSS not in name:
        return ()
    sides = [side.split() for side in name.split(CROSS)]
    full = [side for side in sides if len(side) > 1 and not side[0].endswith(".")]
    return tuple(frozenset((key_of(" ".join(side)), key_of(side[0]))) for side in full)


def _course(row: Row) -> _Course:
    tag, taxon_id, grouping, origin, hatched_on, precision, came_on = row
    last = None
    if hatched_on is not None:
        last = hatched_on if precision is DatePrecision.DAY else add_months(hatched_on, _MONTHS_OF[precision]) - _DAY
    return _Course(tag, taxon_id, grouping, origin, hatched_on, last, came_on)


def _only(period: Mapping[str, date], name: str) -> Mapping[str, date]:
    return {name: period[name]}
