"""Which names stand for which animals: accepted names and synonyms, what lies above a taxon, and what a listed name covers."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from uuid import UUID

from domain.rules.fitness import Hazard


class TaxonRank(StrEnum):
    """The rank of a taxon (Darwin Core ``taxonRank``), as far as collections need it."""

    CLASS = "class"
    ORDER = "order"
    SUBORDER = "suborder"
    FAMILY = "family"
    SUBFAMILY = "subfamily"
    GENUS = "genus"
    SPECIES = "species"
    SUBSPECIES = "subspecies"
    HYBRID = "hybrid"


_STEPS: Mapping[TaxonRank, int] = {**{rank: step for step, rank in enumerate(TaxonRank)}, TaxonRank.HYBRID: 7}
"""How far down a rank stands. Nothing lies below a hybrid, as nothing lies below a subspecies."""


CROSS = "×"
_BRACKETS = re.compile(r"[()\[\]{}]")
_IN_FULL = re.compile(r"[A-Z][a-z]+( [a-z]+(-[a-z]+)*){1,2}")
_LEAVE_OPEN = frozenset(("aff", "cf", "sp", "spp", "ssp", "subsp", "var", "x"))
"""Words in names that are no epithets: which taxon is meant, or of which rank, is left open."""


def is_higher(rank: TaxonRank, *, than: TaxonRank) -> bool:
    """Return whether a taxon of one rank may lie above a taxon of another."""
    return _STEPS[rank] < _STEPS[than]


def sides_of(name: str) -> tuple[str, ...]:
    """Return what a cross comes from, each as it is written, whatever was crossed first; nothing where the name is no formula of one.

    Source:
        ICZN, 4th edition, article 1.3.3: hybrids as such have no names of their own; by usage a formula of their parents' names is written.
    """
    sides = tuple(" ".join(side.split()) for side in _BRACKETS.sub(" ", name).split(CROSS))
    return sides if len(sides) > 1 else ()


def ranks_in(name: str) -> Mapping[TaxonRank, str]:
    """Return what the name of a species or subspecies says by itself: its genus, the species, and the subspecies where it is one.

    Nothing is returned where it is not written in full, or leaves open what is meant: an abbreviated genus, an epithet alone, *cf.*

    Source:
        ICZN, 4th edition, article 5: the first word of both is the genus, the first two of a subspecies are its species.
    """
    words = name.split()
    if _IN_FULL.fullmatch(" ".join(words)) is None or not _LEAVE_OPEN.isdisjoint(words):
        return {}
    ranks = (TaxonRank.GENUS, TaxonRank.SPECIES, TaxonRank.SUBSPECIES)
    return {rank: " ".join(words[:number]) for number, rank in enumerate(ranks[: len(words)], start=1)}


@dataclass(frozen=True, slots=True, kw_only=True)
class TaxonRow:
    """A name of a taxon: its rank, the taxon above it, and the accepted taxon whose synonym it is."""

    id: UUID
    rank: TaxonRank
    parent_id: UUID | None = None
    accepted_id: UUID | None = None
    hazard: Hazard | None = None
    name: str = ""

    @property
    def above_id(self) -> UUID | None:
        """The taxon that stands for it, where it is a synonym, and else the one that it lies in. What a synonym lay in counts no more."""
        return self.parent_id if self.accepted_id is None else self.accepted_id


@dataclass(frozen=True, slots=True, kw_only=True)
class Member:
    """That a name, as lists mean it, also covers another taxon: from a day on, or always."""

    taxon_id: UUID
    member_id: UUID
    from_on: date | None = None


class Taxonomy:
    """Taxa and what their names cover.

    All names of one accepted taxon mean the same. A taxon above some that is not among the rows is taken to be the highest there. What is
    held is the rows and nothing for each pair of them, so that fifty thousand taxa are no burden.
    """

    def __init__(self, taxa: Iterable[TaxonRow], members: Iterable[Member] = ()) -> None:
        """Hold the rows.

        Raises:
            ValueError: A taxon lies above itself, or is its own synonym.
        """
        self._taxa = {row.id: row for row in taxa}
        self._refuse_circles()
        self._owners: dict[UUID, list[Member]] = {}
        for member in members:
            self._owners.setdefault(self.accepted(member.member_id), []).append(member)

    def accepted(self, taxon_id: UUID) -> UUID:
        """Return the accepted taxon of a name: itself, unless it is a synonym."""
        row = self._taxa.get(taxon_id)
        while row is not None and row.accepted_id is not None:
            taxon_id = row.accepted_id
            row = self._taxa.get(taxon_id)
        return taxon_id

    def name(self, taxon_id: UUID) -> str:
        """Return how a name is written, empty where it is not among the rows."""
        row = self._taxa.get(taxon_id)
        return "" if row is None else row.name

    def rank(self, taxon_id: UUID) -> TaxonRank | None:
        """Return the rank of a name, ``None`` where it is not among the rows."""
        row = self._taxa.get(taxon_id)
        return None if row is None else row.rank

    def lineage(self, taxon_id: UUID) -> tuple[UUID, ...]:
        """Return the accepted taxon of a name and what it lies in, upwards."""
        return tuple(self._upwards(self.accepted(taxon_id)))

    def covering(self, taxon_id: UUID, *, on: date) -> frozenset[UUID]:
        """Return the accepted taxa whose names cover a taxon on a day.

        They are the taxon itself, what it lies in, the taxa whose concept it or one of these is a member of, and so on from there.
        """
        found: set[UUID] = set()
        waiting = [self.accepted(taxon_id)]
        while waiting:
            for above in self._upwards(waiting.pop()):
                if above in found:
                    break
                found.add(above)
                owners = self._owners.get(above, ())
                waiting += [self.accepted(one.taxon_id) for one in owners if one.from_on is None or one.from_on <= on]
        return frozenset(found)

    def turning_days(self) -> Iterator[date]:
        """Yield the days from which a member of a concept counts."""
        yield from (one.from_on for owners in self._owners.values() for one in owners if one.from_on is not None)

    def covers(self, named: UUID, taxon_id: UUID, *, on: date) -> bool:
        """Return whether a listed name covers a taxon on a day.

        It covers the taxon that it stands for with all its names, what lies in that, the members of its concept, and what these cover.
        """
        return self.accepted(named) in self.covering(taxon_id, on=on)

    def is_circular(self, taxon_id: UUID, *, on: date) -> bool:
        """Return whether another taxon covers a taxon and is covered by it as well on a day; then the two names would mean the same."""
        own = self.accepted(taxon_id)
        return any(own in self.covering(other, on=on) for other in self.covering(own, on=on) - {own})

    def hazard(self, taxon_id: UUID) -> Hazard | None:
        """Return the hazard class of a taxon: its own or that of the nearest above it; ``None`` where none is on record."""
        rows = (self._taxa.get(one) for one in self.lineage(taxon_id))
        return next((row.hazard for row in rows if row is not None and row.hazard is not None), None)

    def _upwards(self, accepted_id: UUID) -> Iterator[UUID]:
        here: UUID | None = accepted_id
        while here is not None:
            yield here
            row = self._taxa.get(here)
            here = None if row is None or row.parent_id is None else self.accepted(row.parent_id)

    def _refuse_circles(self) -> None:
        sound: set[UUID] = set()
        for taxon_id in self._taxa:
            passed: set[UUID] = set()
            here: UUID | None = taxon_id
            while here is not None and here not in sound:
                if here in passed:
                    raise ValueError(f"the taxon {here} lies above itself")
                passed.add(here)
                row = self._taxa.get(here)
                here = None if row is None else row.above_id
            sound |= passed
