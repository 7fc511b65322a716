"""Which animals a requirement is about: listed taxa with all that they cover, less what is left out, by stage and origin.

A name that matches settles it. Where none does, an animal is left out only if what is on record of it tells it apart from the listed taxon
at some rank; an animal of which not enough is known is never taken to be unlisted. A hybrid is unlisted where each of its sides is.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from functools import lru_cache

from domain.rules.law.facts import Subject, TaxonFacts, key_of
from domain.rules.law.requirements import Entry, Selector
from domain.rules.law.truth import NO, YES, Truth, all_of, any_of, known, unknown
from domain.rules.lives import LifeStage, Origin
from domain.rules.taxonomy import TaxonRank

BELOW_GENUS = frozenset((TaxonRank.SPECIES, TaxonRank.SUBSPECIES))


def selects(selector: Selector, subject: Subject, *, on: date) -> Truth:
    """Return whether a requirement's selector takes an animal on a day, as far as entries apply by then."""
    return all_of((selects_taxon(selector, subject.taxon, on=on), _stage(selector, subject.life_stage), _origin(selector, subject.origin)))


def selects_taxon(selector: Selector, taxon: TaxonFacts, *, on: date) -> Truth:
    """Return whether a selector's lists take a taxon on a day, whatever its stage or origin."""
    if not selector.any_of:
        listed = YES
    else:
        in_force = (entry for entry in selector.any_of if entry.applies_from is None or entry.applies_from <= on)
        listed = any_of(covers(entry, taxon, with_hybrids=selector.with_hybrids) for entry in in_force)
    left_out = any_of(covers(entry, taxon, with_hybrids=False) for entry in selector.but_not)
    return all_of((listed, ~left_out))


def delayed_until(selector: Selector, taxon: TaxonFacts, *, on: date) -> date | None:
    """Return the first later day on which an entry that covers, or may cover, a taxon begins to apply."""
    later = (
        entry.applies_from
        for entry in selector.any_of
        if entry.applies_from is not None
        and entry.applies_from > on
        and not covers(entry, taxon, with_hybrids=selector.with_hybrids).is_false
    )
    return min(later, default=None)


def covers(entry: Entry, taxon: TaxonFacts, *, with_hybrids: bool) -> Truth:
    """Return whether a listed taxon covers a taxon: by its name or a member's, under any synonym, or by what the taxon lies in."""
    listed = _keys(entry.name, entry.members)
    if not listed.isdisjoint(taxon.names):
        return YES
    if taxon.is_hybrid:
        return _covers_hybrid(entry, listed, taxon) if with_hybrids else NO
    return _told_apart(entry, taxon.lineage)


@lru_cache(maxsize=65_536)
def _keys(name: str, members: tuple[str, ...]) -> frozenset[str]:
    """Return the keys of a listed name and of its members."""
    return frozenset(map(key_of, (name, *members)))


def _covers_hybrid(entry: Entry, listed: frozenset[str], taxon: TaxonFacts) -> Truth:
    found = any_of(YES if listed & side.names else _told_apart(entry, side.lineage) for side in taxon.sides)
    return found if found.is_true or (found.is_false and taxon.sides) else unknown("hybrid_parents")


def _told_apart(entry: Entry, lineage: Mapping[TaxonRank, str]) -> Truth:
    """Return no where a taxon is known at the entry's rank, or at a rank above it lies elsewhere; else what would have to be known."""
    if entry.rank in lineage:
        return NO
    for rank, name in _higher(entry):
        if rank in lineage and lineage[rank] != key_of(name):
            return NO
    return unknown(f"taxon_{entry.rank.value}")


def _higher(entry: Entry) -> tuple[tuple[TaxonRank, str], ...]:
    genus = ((TaxonRank.GENUS, entry.name.split()[0]),) if entry.rank in BELOW_GENUS else ()
    return (*entry.higher, *genus)


def _stage(selector: Selector, stage: LifeStage) -> Truth:
    if not selector.life_stages:
        return YES
    return unknown("life_stage") if stage is LifeStage.UNKNOWN else known(stage in selector.life_stages)


def _origin(selector: Selector, origin: Origin) -> Truth:
    if not selector.origins:
        return YES
    return unknown("origin") if origin is Origin.UNKNOWN else known(origin in selector.origins)
