"""The smallest requirements, animals and permits; a test states only what matters to it."""

from __future__ import annotations

from datetime import date
from uuid import UUID, uuid5

from domain.rules.law.facts import Premises, Subject, TaxonFacts, key_of
from domain.rules.law.requirements import Activity, Consequence, Entry, Requirement, Selector
from domain.rules.permits import DocumentKind, Permit
from domain.rules.taxonomy import TaxonRank

SITE = UUID(int=7)
ON_RECORD = frozenset(("XR-LOW", "XR"))
"""The jurisdictions that are known."""
DAY = date(2026, 3, 1)


def identified(name: str) -> UUID:
    """Return an id that follows from a name."""
    return uuid5(UUID(int=1), name)


def taxon(name: str, *, rank: TaxonRank = TaxonRank.SPECIES, also: tuple[str, ...] = (), **lineage: str) -> TaxonFacts:
    """Return a taxon that lies in what is named by rank; ``also`` are further names that cover it."""
    above = {TaxonRank(one): key_of(said) for one, said in lineage.items()}
    if rank in (TaxonRank.SPECIES, TaxonRank.SUBSPECIES):
        above.setdefault(TaxonRank.GENUS, key_of(name.split(maxsplit=1)[0]))
    names = frozenset((key_of(name), *map(key_of, also), *above.values()))
    return TaxonFacts(id=identified(name), name=name, rank=rank, names=names, lineage={**above, rank: key_of(name)})


def animal(tag: str = "A-1", of: TaxonFacts | None = None, **known: object) -> Subject:
    """Return an animal at the site."""
    return Subject(id=identified(tag), tag=tag, taxon=of or taxon("Testudo ficta"), **{"site_id": SITE, **known})


def premises(*jurisdictions: str, **known: object) -> Premises:
    """Return the site's premises."""
    return Premises(site_id=SITE, jurisdictions=jurisdictions or ("XR-LOW", "XR"), **known)


def listing(name: str, *, rank: TaxonRank = TaxonRank.SPECIES, **rest: object) -> Entry:
    """Return a listed taxon."""
    return Entry(name=name, rank=rank, **rest)


def requirement(code: str = "XR-1", *entries: Entry, **said: object) -> Requirement:
    """Return a prohibition of keeping what is listed, or of what is said otherwise."""
    selector = said.pop("selector", None) or Selector(any_of=entries)
    basic = {
        "version": "1",
        "pack": "fiction",
        "jurisdiction": "XR",
        "instrument": "Invented Act",
        "title": "An invented rule",
        "citation": "s. 1 (fictional)",
        "consequence": Consequence.PROHIBITED,
        "applies_from": date(2020, 1, 1),
        "activities": frozenset((Activity.HOLD,)),
    }
    return Requirement(code=code, selector=selector, **{**basic, **said})


def kind(code: str = "keeping", **said: object) -> DocumentKind:
    """Return a kind of document."""
    return DocumentKind(code=code, jurisdiction="XR", title="Permit to keep", **said)


def permit(name: str = "P-1", **said: object) -> Permit:
    """Return a permit that began before the day and has no end."""
    basic = {"kind": "keeping", "jurisdiction": "XR", "number_text": name, "issued_on": date(2025, 1, 1), "valid_from": date(2025, 1, 1)}
    return Permit(id=identified(name), **{**basic, **said})
