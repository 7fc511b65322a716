"""The frozen sheet behind the draft of a periodic return."""

from dataclasses import dataclass
from datetime import date, datetime

from domain.rules.law.requirements import Period
from domain.rules.lives import LifeStage, Sex
from domain.rules.stock import Account


@dataclass(frozen=True, slots=True, kw_only=True)
class ReturnLine:
    """A row of the return: a taxon, its eggs or its animals, with its account over the period.

    ``sex`` and ``life_stage`` are there where the rule tells animals apart by them. ``taxon_ids`` are the records of the names under which
    the animals are on record. ``without_transponder`` counts the single animals at the end that bear none.
    """

    scientific_name: str
    rank: str
    common_name: str | None
    group: str | None
    are_eggs: bool
    sex: Sex | None
    life_stage: LifeStage | None
    account: Account
    estimated: int
    permit_numbers: tuple[str, ...]
    transponders: tuple[str, ...]
    without_transponder: int
    taxon_ids: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class UnsureLine:
    """A taxon that the rule may or may not be about, and what would have to be known."""

    scientific_name: str
    missing: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PeriodicReturnSheet:
    """What a site returns of a period, both days included, to ``requirement`` in the ``edition`` that applied in it.

    ``fields`` are those that the rule lists, in its order. ``asked_of`` is how many animals the requirement concerns on the last day;
    ``missing`` are facts without which that cannot be said of some.
    """

    paper_id: str
    organisation: str
    site: str
    site_id: str
    address: str
    zone: str
    today: date
    data_as_of: datetime
    generated_at: datetime
    requirement: str
    edition: str
    title: str
    instrument: str
    citation: str
    jurisdiction: str
    obligation: str
    applies_from: date
    applies_until: date | None
    period: Period
    from_on: date
    until_on: date
    due_on: date
    fields: tuple[str, ...]
    lines: tuple[ReturnLine, ...]
    asked_of: int
    missing: tuple[str, ...]
    unsure: tuple[UnsureLine, ...]
    permits_on_record: int
