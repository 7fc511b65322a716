"""The stock of a day and the statement of a period: opening, what came and went, closing, and whether the sum is right.

A line is of one site, taxon, sex and stage of life. What comes to a line and what leaves it is said in columns of its own, so that

    opening + births + arrivals + moved_in + changed_in + counted_more
            - deaths - departures - moved_out - changed_out - counted_fewer - hatched_out = closing

holds for every line and for every sum of lines. Opening and closing are counted from where animals stand on a day, the columns between
from what happened; that both agree is a check and no definition.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from domain.rules.lives import BIRTHS, COUNTING, EventKind, LifeStage, Sex

IN = ("births", "arrivals", "moved_in", "changed_in", "counted_more")
OUT = ("deaths", "departures", "moved_out", "changed_out", "counted_fewer", "hatched_out")
COLUMNS = ("opening", *IN, *OUT, "closing")
_COLUMN_OF: Mapping[EventKind, str] = {
    **dict.fromkeys(BIRTHS, "births"),
    EventKind.ACQUIRED: "arrivals",
    EventKind.RETURNED: "arrivals",
    EventKind.DIED: "deaths",
    EventKind.DEPARTED: "departures",
    EventKind.HATCHED_OUT: "hatched_out",
    EventKind.SPLIT_FROM: "changed_in",
    EventKind.JOINED_BY: "changed_in",
    EventKind.SPLIT_OFF: "changed_out",
    EventKind.JOINED: "changed_out",
}


LONGEST_YEARS = 10
"""How long the period of a statement may be: until the day before the same day so many years later."""


def is_too_long(from_on: date, until_on: date) -> bool:
    """Return whether a period, both days included, is longer than a statement may be."""
    return (until_on.year - LONGEST_YEARS, until_on.month, until_on.day) >= (from_on.year, from_on.month, from_on.day)


@dataclass(frozen=True, slots=True)
class Line:
    """What is counted together. Without ``site_id`` the animals were in no enclosure: away, missing, or not placed yet."""

    site_id: UUID | None
    taxon_id: UUID
    sex: Sex
    life_stage: LifeStage


@dataclass(slots=True)
class Account:
    """The numbers of a line, or of a sum of lines, over a period."""

    opening: int = 0
    births: int = 0
    arrivals: int = 0
    moved_in: int = 0
    changed_in: int = 0
    counted_more: int = 0
    deaths: int = 0
    departures: int = 0
    moved_out: int = 0
    changed_out: int = 0
    counted_fewer: int = 0
    hatched_out: int = 0
    closing: int = 0

    @property
    def reckoned(self) -> int:
        """What there should be at the end by what came and went."""
        came, went = (sum(int(getattr(self, name)) for name in names) for names in (IN, OUT))
        return self.opening + came - went

    @property
    def balances(self) -> bool:
        """Whether what was counted at the end is what there should be."""
        return self.reckoned == self.closing

    @property
    def is_empty(self) -> bool:
        """Whether nothing was there and nothing happened."""
        return not any(getattr(self, name) for name in COLUMNS)

    def take(self, other: Account) -> None:
        """Add another account to this one."""
        for name in COLUMNS:
            self.enter(name, getattr(other, name))

    def enter(self, column: str, number: int) -> None:
        """Add a number of animals to a column."""
        setattr(self, column, getattr(self, column) + number)


@dataclass(frozen=True, slots=True)
class Passage:
    """Animals that went from one line to another on a day without coming or leaving; ``moved`` from place to place, or known otherwise."""

    before: Line
    since: Line
    number: int
    moved: bool

    @property
    def columns(self) -> tuple[str, str]:
        """The column that it is entered in on the line before, and that on the line since."""
        return ("moved_out", "moved_in") if self.moved else ("changed_out", "changed_in")


def accounts_of(
    *,
    opening: Iterable[tuple[Line, int]],
    closing: Iterable[tuple[Line, int]],
    events: Iterable[tuple[Line, EventKind, int]],
    passages: Iterable[Passage],
) -> dict[Line, Account]:
    """Return the account of every line in which something was or happened. ``events`` bear what they changed the number by."""
    accounts: defaultdict[Line, Account] = defaultdict(Account)
    for line, number in opening:
        accounts[line].opening += number
    for line, number in closing:
        accounts[line].closing += number
    for line, kind, change in events:
        accounts[line].enter(column_of(kind, change=change), abs(change))
    for one in passages:
        for line, column in zip((one.before, one.since), one.columns, strict=True):
            accounts[line].enter(column, one.number)
    return {line: account for line, account in accounts.items() if not account.is_empty}


def total(accounts: Iterable[Account]) -> Account:
    """Return the sum of accounts."""
    summed = Account()
    for one in accounts:
        summed.take(one)
    return summed


def out_of_balance(accounts: Mapping[Line, Account]) -> Sequence[Line]:
    """Return the lines whose sum is wrong."""
    return [line for line, account in accounts.items() if not account.balances]


def column_of(kind: EventKind, *, change: int) -> str:
    """Return the column that an event is entered in which changed a number by ``change``."""
    if kind in COUNTING:
        return "counted_more" if change > 0 else "counted_fewer"
    return _COLUMN_OF[kind]
