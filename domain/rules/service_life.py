"""When an item's service life ends: by age, running hours, shelf date, measured output or a check, whichever binds first.

There is one implementation, over columns of n items; a single item is n = 1. Dates are ``datetime64[D]`` at the item's site, NaT where
not known. Months, days and intervals are integers with 0 for "no such rule"; hours, minima and shares are floats with NaN for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from functools import reduce
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from domain.rules.calendar import NO_DAY, Days, as_days, months_after
from domain.rules.output import OutputReadings, OutputSummary, summarise
from domain.rules.run_hours import Pieces, RunPeriod, days_until_used, hours_run, laid_out

Integers: TypeAlias = npt.NDArray[np.int64]
Numbers: TypeAlias = npt.NDArray[np.float64]
Truths: TypeAlias = npt.NDArray[np.bool_]

DUE_SOON_DAYS = 14
"""Warning time where a model states none [days]."""


class RuleKind(StrEnum):
    """What may end a service life, in the order in which a tie is decided."""

    AGE = "age"
    HOURS = "hours"
    SHELF = "shelf"
    OUTPUT = "output"
    CHECK = "check"


class Standing(StrEnum):
    """How an item stands on a day. Unknown is never good."""

    OVERDUE = "overdue"
    DUE = "due"
    DUE_SOON = "due_soon"
    GOOD = "good"
    UNKNOWN = "unknown"


class CheckKind(StrEnum):
    """A periodic check whose failure, or absence, ends an item's service."""

    RESIDUAL_CURRENT = "residual-current-test"
    ELECTRICAL = "electrical-inspection"
    CALIBRATION = "calibration"


RULE_KINDS = tuple(RuleKind)
CHECK_KINDS = tuple(CheckKind)


@dataclass(frozen=True, slots=True)
class ServiceColumns:
    """The facts of n items, one array each; check columns are (n, 3) in the order of ``CHECK_KINDS``."""

    installed_on: Days
    life_months: Integers
    life_days: Integers
    life_hours: Numbers
    counted_on: Days
    """Date of the latest hour-counter reading."""
    counted_h: Numbers
    """Hours run by then."""
    passed_on: Days
    """Date on which the limit of hours was reached, by readings that have gone above it."""
    pieces: Pieces
    expires_on: Days
    manufactured_on: Days
    shelf_months: Integers
    opened_on: Days
    opened_days: Integers
    output_minimum: Numbers
    output_share: Numbers
    burn_in_hours: Numbers
    readings: OutputReadings
    check_months: Integers
    check_days: Integers
    checked_on: Days
    """Date of the latest result of each check."""
    failed_on: Days
    """Date since which a check has been failing, NaT where the latest result is a pass."""

    def __len__(self) -> int:
        return len(self.installed_on)


@dataclass(frozen=True, slots=True)
class RuleDates:
    """What the rules say of n items, (n, 5) in the order of ``RULE_KINDS``.

    ``applies``: the item has such a rule. ``decided``: everything it needs is on record. ``due``: its date, NaT where nothing is due by it.
    ``check_due`` is (n, 3), the date of each check alone.
    """

    due: Days
    applies: Truths
    decided: Truths
    output: OutputSummary
    check_due: Days

    @property
    def first_due(self) -> Days:
        """The earliest date that is known, NaT where there is none."""
        return _earliest(self.due)

    @property
    def binding(self) -> Integers:
        """Index into ``RULE_KINDS`` of the rule that binds first; meaningless where ``first_due`` is NaT."""
        result: Integers = np.argmin(np.where(np.isnat(self.due), _FAR, self.due), axis=1).astype(np.int64)
        return result

    @property
    def undecided(self) -> Truths:
        """Whether a rule that applies cannot be decided, or none applies at all."""
        return _any(self.applies & ~self.decided) | ~_any(self.applies)


_FAR = np.datetime64("9999-12-31", "D")


def rule_dates(facts: ServiceColumns) -> RuleDates:
    """Return each rule's own date for each item."""
    output = summarise(
        facts.readings,
        burnt_in_on=_burnt_in_on(facts),
        minimum=facts.output_minimum,
        share=facts.output_share,
    )
    check_due, check_applies, check_decided = _check_dates(facts)
    answers = (
        _age_dates(facts),
        _hours_dates(facts),
        _shelf_dates(facts),
        _output_dates(facts, output),
        (_earliest(check_due), _any(check_applies), ~_any(check_applies & ~check_decided)),
    )
    due, applies, decided = (np.stack(columns, axis=1) for columns in zip(*answers, strict=True))
    return RuleDates(due, applies, decided, output, check_due)


def standings(dates: RuleDates, *, today: npt.NDArray[np.datetime64] | np.datetime64, warn_days: Integers) -> npt.NDArray[np.int64]:
    """Return each item's standing on ``today`` as an index into ``tuple(Standing)``.

    The due date itself still counts as within life: an item is overdue from the day after. An item that is already due stays so whatever
    else is missing; any other item with an undecided rule is unknown.
    """
    first = dates.first_due
    order = list(Standing)
    conditions = (
        first < today,
        first == today,
        dates.undecided,
        first - warn_days.astype("timedelta64[D]") <= today,
    )
    choices = (Standing.OVERDUE, Standing.DUE, Standing.UNKNOWN, Standing.DUE_SOON)
    result: npt.NDArray[np.int64] = np.select(conditions, [order.index(one) for one in choices], order.index(Standing.GOOD))
    return result


def replacement_due(dates: RuleDates, facts: ServiceColumns) -> Days:
    """Return the earliest date by which a part must be at hand: every rule's but that of a check that is merely to be made."""
    others = dates.due[:, : RULE_KINDS.index(RuleKind.CHECK)]
    return _earlier(_earliest(others), _earliest(facts.failed_on))


def hours_run_by(facts: ServiceColumns, today: np.datetime64) -> Numbers:
    """Return the hours each item has run by the beginning of ``today`` [h]; NaN where that is not known."""
    counted = ~np.isnat(facts.counted_on)
    starts = np.where(counted, facts.counted_on, facts.installed_on)
    since = hours_run(starts, today, facts.pieces)
    result: Numbers = np.where(counted, facts.counted_h + np.nan_to_num(since), since)
    return result


@dataclass(frozen=True, slots=True)
class CheckFacts:
    """One kind of check on one item: its interval, the latest result's date, and since when it has been failing."""

    kind: CheckKind
    interval_months: int = 0
    interval_days: int = 0
    checked_on: date | None = None
    failed_on: date | None = None


def one_item(
    *,
    installed_on: date | None = None,
    life_months: int = 0,
    life_days: int = 0,
    life_hours: float | None = None,
    counted: tuple[date, float] | None = None,
    passed_on: date | None = None,
    schedule: Sequence[RunPeriod] = (),
    expires_on: date | None = None,
    manufactured_on: date | None = None,
    shelf_months: int = 0,
    opened_on: date | None = None,
    opened_days: int = 0,
    output_minimum: float | None = None,
    output_share: float | None = None,
    burn_in_hours: float | None = None,
    readings: Sequence[tuple[date, float]] = (),
    checks: Sequence[CheckFacts] = (),
) -> ServiceColumns:
    """Return a single item's facts as columns of length 1; what is left out is not on record, or is no rule of this item."""
    by_kind = {one.kind: one for one in checks}
    planned = [by_kind.get(kind, CheckFacts(kind)) for kind in CHECK_KINDS]
    return ServiceColumns(
        installed_on=as_days([installed_on]),
        life_months=np.array([life_months]),
        life_days=np.array([life_days]),
        life_hours=_number(life_hours),
        counted_on=as_days([counted[0] if counted else None]),
        counted_h=_number(counted[1] if counted else None),
        passed_on=as_days([passed_on]),
        pieces=laid_out([schedule], [counted[0] if counted and installed_on is None else installed_on]),
        expires_on=as_days([expires_on]),
        manufactured_on=as_days([manufactured_on]),
        shelf_months=np.array([shelf_months]),
        opened_on=as_days([opened_on]),
        opened_days=np.array([opened_days]),
        output_minimum=_number(output_minimum),
        output_share=_number(output_share),
        burn_in_hours=_number(burn_in_hours),
        readings=OutputReadings(
            np.zeros(len(readings), dtype=np.int64),
            as_days([on for on, _ in readings]),
            np.array([value for _, value in readings], dtype=np.float64),
        ),
        check_months=np.array([[one.interval_months for one in planned]]),
        check_days=np.array([[one.interval_days for one in planned]]),
        checked_on=as_days([one.checked_on for one in planned])[np.newaxis],
        failed_on=as_days([one.failed_on for one in planned])[np.newaxis],
    )


def due_on(facts: ServiceColumns) -> date | None:
    """Return the due date of a single item, ``None`` where no rule gives one or one cannot be decided."""
    dates = rule_dates(facts)
    found = dates.first_due[0].item()
    return None if dates.undecided[0] or not isinstance(found, date) else found


Answer: TypeAlias = tuple[Days, Truths, Truths]
"""One rule's dates, whether it applies, whether it is decided."""


def _number(value: float | None) -> Numbers:
    return np.array([value], dtype=np.float64)


def _age_dates(facts: ServiceColumns) -> Answer:
    due = _earlier(_after_months(facts.installed_on, facts.life_months), _after_days(facts.installed_on, facts.life_days))
    return due, (facts.life_months > 0) | (facts.life_days > 0), ~np.isnat(facts.installed_on)


def _hours_dates(facts: ServiceColumns) -> Answer:
    counted = ~np.isnat(facts.counted_on)
    starts = np.where(counted, facts.counted_on, facts.installed_on)
    remaining = facts.life_hours - np.where(counted, facts.counted_h, 0.0)
    by_schedule = days_until_used(starts, remaining, facts.pieces)
    passed = ~np.isnat(facts.passed_on)
    due = np.where(passed, facts.passed_on, by_schedule)
    applies = ~np.isnan(facts.life_hours)
    decided = passed | schedule_reaches(starts, facts.pieces)
    return np.where(applies, due, NO_DAY), applies, decided


def schedule_reaches(starts: Days, pieces: Pieces) -> Truths:
    """Return whether the run schedule is known from ``starts`` on."""
    return _any(pieces.starts <= starts[:, None])


def _shelf_dates(facts: ServiceColumns) -> Answer:
    made = _after_months(facts.manufactured_on, facts.shelf_months)
    printed = np.where(np.isnat(facts.expires_on), made, facts.expires_on)
    due = _earlier(printed, _after_days(facts.opened_on, facts.opened_days))
    return due, (facts.shelf_months > 0) | ~np.isnat(due), (facts.shelf_months == 0) | ~np.isnat(printed)


def _output_dates(facts: ServiceColumns, output: OutputSummary) -> Answer:
    applies = ~(np.isnan(facts.output_minimum) & np.isnan(facts.output_share))
    decided = (output.count > 0) & (np.isnan(facts.output_share) | ~np.isnan(output.first) | ~np.isnat(output.below_since))
    return np.where(applies, output.below_since, NO_DAY), applies, decided


def _check_dates(facts: ServiceColumns) -> Answer:
    """Return (n, 3) dates: that of a failure, else the interval after the latest result or, before any, after installation."""
    has_interval = (facts.check_months > 0) | (facts.check_days > 0)
    failed = ~np.isnat(facts.failed_on)
    if not (has_interval.any() or failed.any()):
        return np.full(failed.shape, NO_DAY), has_interval, failed
    counted_from = np.where(np.isnat(facts.checked_on), facts.installed_on[:, None], facts.checked_on)
    planned = _earlier(_after_months(counted_from, facts.check_months), _after_days(counted_from, facts.check_days))
    return np.where(failed, facts.failed_on, planned), has_interval | failed, failed | ~np.isnat(planned)


def _burnt_in_on(facts: ServiceColumns) -> Days:
    """Return the first date after the burn-in hours; the day of installation where the model asks for none."""
    burn_in = np.nan_to_num(facts.burn_in_hours)
    if not burn_in.any():
        return facts.installed_on
    last_day_within = days_until_used(facts.installed_on, burn_in, facts.pieces)
    return np.where(burn_in > 0, last_day_within + np.timedelta64(1, "D"), facts.installed_on)


def _after_months(starts: Days, months: Integers) -> Days:
    """Return each start's date that many months later, NaT where there are none; only the others are computed."""
    due, some = np.full(starts.shape, NO_DAY), months > 0
    due[some] = months_after(starts[some], months[some])
    return due


def _after_days(starts: Days, days: Integers) -> Days:
    return np.where(days > 0, starts + days.astype("timedelta64[D]"), NO_DAY)


def _earliest(days: Days) -> Days:
    """Return the earliest date of each row, NaT where a row has none."""
    result: Days = reduce(_earlier, days.T)
    return result


def _earlier(one: Days, other: Days) -> Days:
    result: Days = np.fmin(one, other)
    return result


def _any(truths: Truths) -> Truths:
    """Return whether any in each row is true. Rows are short, and column by column is many times faster than row by row."""
    result: Truths = reduce(np.logical_or, truths.T, np.zeros(len(truths), dtype=bool))
    return result
