"""Animals as the law asks for them on any day of a period, made from what is on record of the whole period at once."""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from uuid import UUID

from domain.actions.taxonomy import taxa_named, taxonomy_above
from domain.records.animals import Basis, DatePrecision
from domain.records.marks import MarkKind
from domain.records.statements import Row
from domain.records.subjects import ANIMALS_KNOWN, CHANGES, MARKS, PLACES, SIZES, STATES, SYNONYMS
from domain.records.unit import Unit
from domain.rules.calendar import add_months
from domain.rules.law.facts import Side, Subject, TaxonFacts, key_of
from domain.rules.law.provenance import Change, Provenance, provenances
from domain.rules.lives import Grouping, LifeStage, Sex
from domain.rules.measures import Measured, MeasureKind
from domain.rules.taxonomy import Taxonomy, TaxonRank, ranks_in, sides_of
from domain.rules.text import same_name
from domain.rules.transponders import read_code

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
    """What is on record of one animal or group over the period; sizes and changes of number in the order of their days.

    ``own`` is what the record itself says of whence its animals come; ``provenances`` what is known of that from some days on.
    """

    tag: str
    taxon_id: UUID
    grouping: Grouping
    own: Provenance
    provenances: Sequence[tuple[date, Provenance]] = ()
    states: list[_State] = field(default_factory=list)
    places: list[_Place] = field(default_factory=list)
    marks: list[_Interval] = field(default_factory=list)
    changes: dict[date, int] = field(default_factory=dict)
    sizes: list[tuple[MeasureKind, Measured]] = field(default_factory=list)

    def is_marked(self, on: date) -> bool | None:
        """Return whether the animal bears a mark on a day; of a group that bears one it is unknown whether each of its animals does."""
        if not any(one.holds(on) for one in self.marks):
            return False
        return True if self.grouping is Grouping.INDIVIDUAL else None

    def provenance(self, on: date) -> Provenance:
        """Return what is known on a day of whence the animals come."""
        later = bisect_right(self.provenances, on, key=lambda one: one[0])
        return self.provenances[later - 1][1] if later else self.own


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
        for animal_id, first, last, kind, code in self._of_known(unit.rows(MARKS, **period)):
            if kind is not MarkKind.TRANSPONDER or read_code(code).is_legal_mark:
                self._courses[animal_id].marks.append(_Interval(first, last))
        self._take_changes([*map(_change, self._of_known(unit.rows(CHANGES, **_only(period, "until_on"))))])
        for animal_id, kind, value, on in self._of_known(unit.rows(SIZES, **_only(period, "until_on"))):
            self._courses[animal_id].sizes.append((kind, Measured(value, on)))
        self._courses = {key: one for key, one in self._courses.items() if one.states}
        self._taxa = Taxa(unit, {one.taxon_id for one in self._courses.values()})

    def _take_changes(self, found: Sequence[Change]) -> None:
        for one in found:
            changes = self._courses[one.animal_id].changes
            changes[one.on] = changes.get(one.on, 0) + one.change
        own = {key: one.own for key, one in self._courses.items()}
        for animal_id, known in provenances(own, found).items():
            self._courses[animal_id].provenances = known

    def _of_known(self, rows: Iterable[Row]) -> Iterator[Row]:
        """Yield the rows of animals that had come by the end of the period; marks and sizes may be older than that."""
        return (row for row in rows if row[0] in self._courses)

    def on(self, day: date, *, site_ids: frozenset[UUID] | None = None) -> Sequence[Subject]:
        """Return the animals in keeping at the end of a day, at some sites or (``None``) anywhere, the longest kept first."""
        found = (self._subject(key, one, day) for key, one in self._courses.items())
        chosen = [one for one in found if one is not None and (site_ids is None or one.site_id in site_ids)]
        return sorted(chosen, key=lambda one: (one.acquired_from or date.min, one.tag, one.id))

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

    def last_at(self, site_id: UUID) -> Sequence[Subject]:
        """Return the animals that were at a site on some day of the period, each as it stood when it was kept there last."""
        found: list[Subject] = []
        for key, one in self._courses.items():
            days = [min(place.until_on or self.until_on, self.until_on) for place in one.places if place.site_id == site_id]
            # On the day on which it died or left it was there still, but not at its end.
            stood = (self._subject(key, one, day) for last in days[-1:] for day in (last, last - _DAY))
            found += [subject for subject in stood if subject is not None][:1]
        return found

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
            for known in (one.own, *(known for _, known in one.provenances)):
                yield from (day for day in (known.born_from, known.born_until) if day is not None)

    def measured_days(self) -> Iterator[date]:
        """Yield the days of measurements, from which their age is counted."""
        for one in self._courses.values():
            yield from (measured.on for _, measured in one.sizes)

    def _subject(self, animal_id: UUID, course: _Course, day: date) -> Subject | None:
        state = next((one for one in course.states if one.holds(day)), None)
        if state is None:
            return None
        place = next((one for one in course.places if one.holds(day)), None)
        whence = course.provenance(day)
        return Subject(
            id=animal_id,
            tag=course.tag,
            taxon=self._taxa.facts(course.taxon_id, on=day),
            site_id=None if place is None else place.site_id,
            number=1 if course.grouping is Grouping.INDIVIDUAL else sum(n for on, n in course.changes.items() if on <= day),
            sex=state.sex,
            life_stage=state.life_stage,
            origin=whence.origin,
            born_from=whence.born_from,
            born_until=whence.born_until,
            acquired_from=whence.acquired_from,
            acquired_until=whence.acquired_until,
            is_marked=course.is_marked(day),
            measured={kind: measured for kind, measured in course.sizes if measured.on <= day},
        )


class Taxa:
    """What is known of the animals' taxa, found once for each stretch of days between which no concept changes."""

    def __init__(self, unit: Unit, taxon_ids: Iterable[UUID]) -> None:
        """Read the taxa with all that they lie in and all their names; with hybrids, what they come from as well."""
        wanted = set(taxon_ids)
        self._taxonomy: Taxonomy = taxonomy_above(unit, wanted)
        self._named = taxa_named(unit, self._names_of_sides(wanted))
        if self._named:
            self._taxonomy = taxonomy_above(unit, wanted.union(self._named.values()))
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

    def _names_of_sides(self, taxon_ids: Iterable[UUID]) -> Iterator[str]:
        """Yield the names under which the taxa may be on record that hybrids among some taxa come from."""
        for accepted in map(self._taxonomy.accepted, taxon_ids):
            for side in sides_of(self._taxonomy.name(accepted)) if self._taxonomy.rank(accepted) is TaxonRank.HYBRID else ():
                yield side
                yield from ranks_in(side).values()

    def _facts(self, taxon_id: UUID, *, on: date) -> TaxonFacts:
        accepted = self._taxonomy.accepted(taxon_id)
        name, rank = self._taxonomy.name(accepted), self._taxonomy.rank(accepted)
        assert rank is not None, "an animal's taxon is on record"  # noqa: S101 - its foreign key says so
        known = self._on_record(accepted, on=on)
        sides = tuple(self._side(side, on=on) for side in sides_of(name)) if rank is TaxonRank.HYBRID else ()
        return TaxonFacts(id=accepted, name=name, rank=rank, names=known.names, lineage=known.lineage, sides=sides)

    def _on_record(self, taxon_id: UUID, *, on: date) -> Side:
        """Return the names that cover a taxon on a day, and its lineage; what its own name says of these fills the gaps."""
        accepted = self._taxonomy.accepted(taxon_id)
        name, rank = self._taxonomy.name(accepted), self._taxonomy.rank(accepted)
        lineage = {self._taxonomy.rank(one): key_of(self._taxonomy.name(one)) for one in self._taxonomy.lineage(accepted)}
        ranks = {rank: key for rank, key in lineage.items() if rank is not None}
        names = {one for taxon in self._taxonomy.covering(accepted, on=on) for one in self._names(taxon)}
        if rank in _BINOMIAL:
            said = {TaxonRank.GENUS: name.split()[0], **ranks_in(name)}
            ranks = {**{one: key_of(word) for one, word in said.items()}, **ranks}
            names.update(ranks[one] for one in said)
        return Side(names=frozenset(names), lineage=ranks)

    def _side(self, name: str, *, on: date) -> Side:
        """Return what is known of a side of a cross: of the taxon of that name, else of its species or genus with what the name adds."""
        if (taxon_id := self._named.get(same_name(name))) is not None:
            return self._on_record(taxon_id, on=on)
        known = Side()
        for rank, word in ranks_in(name).items():
            if (taxon_id := self._named.get(same_name(word))) is not None:
                known = self._on_record(taxon_id, on=on)
            else:
                known = Side(names=known.names | {key_of(word)}, lineage={**known.lineage, rank: key_of(word)})
        return known

    def _names(self, taxon_id: UUID) -> Iterator[str]:
        yield key_of(self._taxonomy.name(taxon_id))
        yield from map(key_of, self._synonyms.get(taxon_id, ()))


def _course(row: Row) -> _Course:
    tag, taxon_id, grouping, origin, hatched_on, precision, came_on = row
    last = None
    if hatched_on is not None:
        last = hatched_on if precision is DatePrecision.DAY else add_months(hatched_on, _MONTHS_OF[precision]) - _DAY
    own = Provenance(acquired_from=came_on, acquired_until=came_on, origin=origin, born_from=hatched_on, born_until=last)
    return _Course(tag, taxon_id, grouping, own)


def _change(row: Row) -> Change:
    animal_id, on, kind, change, other_id, basis = row
    return Change(animal_id=animal_id, on=on, kind=kind, change=change, other_id=other_id, ends_loan=basis is Basis.LOAN_RETURN)


def _only(period: Mapping[str, date], name: str) -> Mapping[str, date]:
    return {name: period[name]}
