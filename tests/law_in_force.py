"""What small rule packs, read as any other, say of an act on a day: for published values of dated law."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from uuid import UUID

from api.law import read_pack
from domain.rules.law.decision import Decision, decide
from domain.rules.law.facts import Premises, Subject, TaxonFacts, key_of
from domain.rules.law.packs import OnRecord
from domain.rules.law.requirements import Activity
from domain.rules.measures import Measured, MeasureKind
from domain.rules.taxonomy import TaxonRank

DAY = date(2026, 3, 1)
HEAD = """
[pack]
format = 1
name = "vectors"
version = "1"
title = "Rows of a vector (fictional)"
fictional = true
[[jurisdiction]]
code = "XR"
name = "Arvenne (fictional)"
level = "state"
zone = "UTC"
fictional = true
[[instrument]]
code = "act"
title = "Invented Act (fictional)"
[[requirement]]
code = "XR-1"
version = "1"
jurisdiction = "XR"
instrument = "act"
title = "An invented rule (fictional)"
citation = "s. 1 (fictional)"
consequence = "prohibited"
reviewed_on = 2026-01-10
"""


def decided(
    rows: str,
    *,
    on: date = DAY,
    activity: Activity = Activity.HOLD,
    taxon: str = "Testudo ficta",
    acquired_on: date | None = None,
    length_mm: float | None = None,
    premises: Premises | None = None,
) -> Decision:
    """Return what the one requirement of a pack, which goes on with ``rows``, says of an act on a day."""
    read = read_pack(HEAD + rows, file="vector")
    read.check(OnRecord(), today=DAY)
    measured = {} if length_mm is None else {MeasureKind.STRAIGHT_CARAPACE_LENGTH: Measured(length_mm, DAY)}
    genus, species = key_of(taxon.split(maxsplit=1)[0]), key_of(taxon)
    facts = TaxonFacts(
        id=UUID(int=1),
        name=taxon,
        rank=TaxonRank.SPECIES,
        names=frozenset((genus, species)),
        lineage={TaxonRank.GENUS: genus, TaxonRank.SPECIES: species},
    )
    subject = Subject(id=UUID(int=2), tag="A-1", taxon=facts, acquired_from=acquired_on, acquired_until=acquired_on, measured=measured)
    place = premises or Premises(jurisdictions=("XR",), holder_kind="commercial", public_days=0)
    return decide(read.pack.requirements, subject, activity=activity, premises=place, known=("XR",), on=on)


def last_day_permitted(rows: str, *, activity: Activity, acquired_on: date, from_on: date, most_days: int = 2000) -> date:
    """Return the last day, of many from a day on, on which an act is permitted."""
    days = (from_on + timedelta(days=number) for number in range(most_days))
    permitted = [day for day in days if decided(rows, on=day, activity=activity, acquired_on=acquired_on).outcome == "permitted"]
    return permitted[-1]


def millimetres(quantity: dict[str, object]) -> float:
    """Return a length of a vector [mm]."""
    factors = {"cm": Decimal(10), "[in_i]": Decimal("25.4")}
    return float(Decimal(repr(quantity["value"])) * factors[str(quantity["unit"])])
