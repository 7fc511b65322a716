"""What is known of animals, premises and taxa on a day, as the law asks for it. What is not on record is ``None`` or missing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import lru_cache
from uuid import UUID

from domain.rules.lives import LifeStage, Origin, Sex
from domain.rules.measures import Measured, MeasureKind
from domain.rules.taxonomy import TaxonRank


@lru_cache(maxsize=65_536)
def key_of(name: str) -> str:
    """Return the form in which two spellings of a scientific name are equal."""
    return " ".join(name.casefold().split())


@dataclass(frozen=True, slots=True, kw_only=True)
class Side:
    """What is known of a taxon that a hybrid comes from: names and lineage as of ``TaxonFacts``, nothing where it cannot be told."""

    names: frozenset[str] = frozenset()
    lineage: Mapping[TaxonRank, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class TaxonFacts:
    """What is known of a taxon on a day.

    ``names`` are the keys of all names that cover it: its own, its synonyms', those of what it lies in and of the concepts that it is a
    member of. ``lineage`` is the key of the accepted name at each rank that is on record. ``sides`` are, of a hybrid, all taxa that it
    comes from, and none where these are not said.
    """

    id: UUID
    name: str
    rank: TaxonRank
    names: frozenset[str]
    lineage: Mapping[TaxonRank, str]
    sides: tuple[Side, ...] = ()

    @property
    def is_hybrid(self) -> bool:
        """Whether it is a cross of taxa."""
        return self.rank is TaxonRank.HYBRID


@dataclass(frozen=True, slots=True, kw_only=True)
class Subject:
    """An animal or group as it stood at the end of a day.

    ``born_from`` and ``born_until`` are the first and last day on which it can have hatched or been born, ``acquired_from`` and
    ``acquired_until`` those on which it can have been acquired: of a group, on which any of its animals can. ``is_marked`` is unknown
    (``None``) of a group of which some animal bears a mark.
    """

    id: UUID
    tag: str
    taxon: TaxonFacts
    site_id: UUID | None = None
    number: int = 1
    sex: Sex = Sex.UNKNOWN
    life_stage: LifeStage = LifeStage.UNKNOWN
    origin: Origin = Origin.UNKNOWN
    born_from: date | None = None
    born_until: date | None = None
    acquired_from: date | None = None
    acquired_until: date | None = None
    is_marked: bool | None = False
    measured: Mapping[MeasureKind, Measured] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Premises:
    """The place where something is done, and who does it.

    ``jurisdictions`` are the codes of those that apply there, from the local one up. ``kinds`` are what the premises are registered as.
    """

    site_id: UUID | None = None
    jurisdictions: tuple[str, ...] = ()
    holder_kind: str | None = None
    kinds: frozenset[str] | None = None
    public_days: int | None = None
