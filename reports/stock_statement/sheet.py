"""The frozen sheet behind the stock statement."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Final

from domain.rules.lives import EventKind, LifeStage, Sex
from domain.rules.stock import Account

MOST_MOVEMENTS: Final = 400
"""Movements that the paper prints one by one; where there are more, it says how many it leaves out and where they are listed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StockLine:
    """A line of stock: animals of one taxon, sex and stage of life, with its account over the period."""

    scientific_name: str
    rank: str
    common_name: str | None
    sex: Sex
    life_stage: LifeStage
    account: Account


@dataclass(frozen=True, slots=True, kw_only=True)
class MovementEntry:
    """A number as it is entered in a column of an account, on the line of a sex and stage."""

    sex: Sex
    life_stage: LifeStage
    column: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MovementLine:
    """How many animals of a record came to a line, left one, or went from one to another on a day.

    ``happening`` is ``event`` with its kind, ``came`` to the site, ``left`` it for no enclosure, or ``turned`` in sex or stage.
    """

    number: int
    on: date
    tag: str
    scientific_name: str
    rank: str
    happening: str
    event_kind: EventKind | None
    animals: int
    entries: tuple[MovementEntry, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class StockStatementSheet:
    """What the paper states of a site: its lines by taxon, and the movements behind them by day.

    ``movements_in_all`` counts those that are not listed too. ``estimated`` is how many animals of the closing number are in groups whose
    number was estimated when it was last looked at.
    """

    paper_id: str
    organisation: str
    site: str
    address: str
    zone: str
    today: date
    data_as_of: datetime
    generated_at: datetime
    from_on: date
    until_on: date
    lines: tuple[StockLine, ...]
    movements: tuple[MovementLine, ...]
    movements_in_all: int
    estimated: int
