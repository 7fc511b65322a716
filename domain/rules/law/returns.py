"""Periodic returns: of which periods they tell, by when they are due, and what the fields are that a rule may list for them.

Every field is computed from the stock statement of the period or from what is on record beside it. A field that is not here cannot be
stated by a rule pack, so no return is short of what its rule asks for.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from domain.rules.calendar import add_months
from domain.rules.law.requirements import Duty, Obligation, Period, Requirement
from domain.rules.stock import Account

MONTHS_OF: Mapping[Period, int] = {Period.CALENDAR_YEAR: 12, Period.CALENDAR_QUARTER: 3}
_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class ReturnField:
    """A field of a return: its heading, what it says, and, where it is a number, which columns of an account it adds and takes away."""

    heading: str
    meaning: str
    adds: tuple[str, ...] = ()
    takes: tuple[str, ...] = ()

    @property
    def is_number(self) -> bool:
        """Whether it is a number of the account."""
        return bool(self.adds)

    def entry(self, account: Account) -> int:
        """Return the number that an account enters in it."""
        added, taken = (sum(int(getattr(account, column)) for column in columns) for columns in (self.adds, self.takes))
        return added - taken


_COMING = ("arrivals", "moved_in")
_GOING = ("departures", "moved_out")
FIELDS: Mapping[str, ReturnField] = {
    "taxon": ReturnField("taxon", "the accepted scientific name; eggs are a row of their own"),
    "common_name": ReturnField("common name", "as it is on record"),
    "group": ReturnField("group", "the class that the taxon lies in, or its order where no class is on record"),
    "sex": ReturnField("sex", "a row for each sex"),
    "life_stage": ReturnField("life stage", "a row for each stage of life"),
    "stock_at_start": ReturnField("stock at start", "animals before the first day", ("opening",)),
    "births": ReturnField("births", "born, hatched or laid here", ("births",)),
    "arrivals": ReturnField("arrivals", "acquired, returned, or moved here from another site", _COMING),
    "acquisitions": ReturnField("acquisitions", "acquired, returned, or moved here from another site", _COMING),
    "deaths": ReturnField("deaths", "died here", ("deaths",)),
    "departures": ReturnField("departures", "left the collection, or moved to another site or to no enclosure", _GOING),
    "dispositions": ReturnField("dispositions", "left the collection, or moved to another site or to no enclosure", _GOING),
    "otherwise": ReturnField(
        "otherwise",
        "found more or fewer in counts, hatched out, or known as something else since",
        ("changed_in", "counted_more"),
        ("changed_out", "counted_fewer", "hatched_out"),
    ),
    "stock_at_end": ReturnField("stock at end", "animals at the end of the last day", ("closing",)),
    "number": ReturnField("number", "animals at the end of the last day", ("closing",)),
    "estimated": ReturnField("of these estimated", "how many at the end are in groups that were estimated and not counted"),
    "permit_numbers": ReturnField("permit numbers", "permits that were good for such animals here on a day of the period"),
    "transponders": ReturnField("transponders", "codes of the transponders that animals bore here at the end of the last day"),
}
"""The fields that a rule may list, by name."""


def return_of(requirement: Requirement) -> Obligation | None:
    """Return what a requirement has returned for each period, ``None`` where it asks for no such return."""
    return next((one for one in requirement.obligations if one.duty is Duty.REPORT and one.period is not None), None)


def period_from(period: Period, first: date) -> tuple[date, date] | None:
    """Return the first and the last day of the period that begins on a day, ``None`` where none does."""
    months = MONTHS_OF[period]
    if first.day != 1 or (first.month - 1) % months:
        return None
    return first, add_months(first, months) - _DAY


def due_on(obligation: Obligation, until_on: date) -> date:
    """Return the day by which the return of a period is due that ends on a day.

    Months are counted from the end of the period, the first being 1; a day that a month does not have is its last.

    Raises:
        ValueError: The obligation is no periodic return.
    """
    if obligation.due_month is None or obligation.due_day is None:
        raise ValueError("this is no periodic return")
    month = add_months(until_on.replace(day=1), obligation.due_month)
    last = add_months(month, 1) - _DAY
    return month.replace(day=min(obligation.due_day, last.day))
