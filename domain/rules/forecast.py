"""The answer for one item: its standing, its due date, what each rule says by itself, what is missing, and why, in a sentence."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from enum import StrEnum
from functools import cached_property

import numpy as np

from domain.rules.calendar import Days, as_date, as_date_or_none, as_days, full_months_between, in_words
from domain.rules.output import limit_of
from domain.rules.run_hours import RunPeriod, schedule_in_words
from domain.rules.service_life import (
    CHECK_KINDS,
    RULE_KINDS,
    CheckKind,
    Integers,
    Numbers,
    RuleDates,
    RuleKind,
    ServiceColumns,
    Standing,
    hours_run_by,
    replacement_due,
    rule_dates,
    schedule_reaches,
    standings,
)


class Need(StrEnum):
    """What the due date asks for."""

    REPLACEMENT = "replacement"
    CHECK = "check"


MISSING_WORDS = {
    "installed_on": "the installation date is not on record",
    "run_schedule": "no hours a day are on record",
    "expires_on": "neither an expiry date nor a date of manufacture is on record",
    "output_readings": "its output has not been measured",
    "first_output_reading": "no output reading after burn-in is on record to compare with",
    "life_rules": "its model has no life rule",
}
"""What each missing fact is called in a sentence."""

FACT_WORDS = {
    "installed_on": "date of installation",
    "run_schedule": "hours a day",
    "expires_on": "expiry date or date of manufacture",
    "output_readings": "an output reading",
    "first_output_reading": "an output reading after burn-in",
    "life_rules": "a life rule for the model",
}
"""What somebody has to find out."""

_STANDINGS = tuple(Standing)


@dataclass(frozen=True, slots=True)
class RuleAnswer:
    """What one rule says by itself; only the facts that it used are filled. ``sentence`` is for a person.

    ``short`` is the reason that a list gives where this rule binds; a rule without a date binds nothing and has none.
    """

    kind: RuleKind
    due_on: date | None
    sentence: str
    short: str = ""
    missing: tuple[str, ...] = ()
    limit_months: int | None = None
    limit_days: int | None = None
    limit_h: float | None = None
    limit: float | None = None
    unit: str | None = None
    counted_from: date | None = None
    run_h: float | None = None
    schedule: str | None = None
    readings: int | None = None
    latest: float | None = None
    latest_on: date | None = None
    first: float | None = None
    check: CheckKind | None = None
    failed_on: date | None = None


@dataclass(frozen=True, slots=True)
class Forecast:
    """An item's outlook on ``as_of``; see the contract of standings in ``service_life``."""

    as_of: date
    standing: Standing
    due_on: date | None
    no_later_than: date | None
    binding: RuleKind | None
    needs: Need | None
    order_by: date | None
    missing: tuple[str, ...]
    rules: tuple[RuleAnswer, ...]
    because: str
    reason: str


@dataclass(frozen=True, slots=True)
class ItemWords:
    """What an item's facts are called: its run schedule and the unit of its output."""

    schedule: Sequence[RunPeriod] = field(default=())
    output_unit: str = ""


@dataclass(frozen=True)
class Outlook:
    """All items' dates and standings on a day, computed in one pass; ``forecast`` words one of them."""

    facts: ServiceColumns
    today: date
    dates: RuleDates
    standing: Integers
    first_due: Days
    binding: Integers

    @cached_property
    def replace_by(self) -> Days:
        """The dates by which a part must be at hand."""
        return replacement_due(self.dates, self.facts)

    @cached_property
    def run_h(self) -> Numbers:
        """The hours run by the beginning of the day [h]."""
        return hours_run_by(self.facts, as_days([self.today])[0])

    def standing_of(self, i: int) -> Standing:
        """Return the standing of item ``i``."""
        return _STANDINGS[int(self.standing[i])]


def outlook(facts: ServiceColumns, *, today: date, warn_days: Integers) -> Outlook:
    """Return the outlook of all items on ``today`` [date at the site]."""
    day = as_days([today])[0]
    dates = rule_dates(facts)
    return Outlook(
        facts=facts,
        today=today,
        dates=dates,
        standing=standings(dates, today=day, warn_days=warn_days),
        first_due=dates.first_due,
        binding=dates.binding,
    )


def forecast(view: Outlook, i: int, *, words: ItemWords, lead_days: int | None) -> Forecast:
    """Return the worded forecast of item ``i``; ``lead_days`` is the supplier's lead time, ``None`` where not known."""
    answers = tuple(_WORDED[kind](view, i, words) for k, kind in enumerate(RULE_KINDS) if view.dates.applies[i, k])
    standing = view.standing_of(i)
    first = as_date_or_none(view.first_due[i])
    binding = RULE_KINDS[int(view.binding[i])] if first else None
    missing = tuple(dict.fromkeys(fact for one in answers for fact in one.missing)) if answers else ("life_rules",)
    bound = next((one for one in answers if one.kind is binding), None)
    known = standing is not Standing.UNKNOWN
    part_by = as_date_or_none(view.replace_by[i])
    return Forecast(
        as_of=view.today,
        standing=standing,
        due_on=first if known else None,
        no_later_than=None if known else first,
        binding=binding,
        needs=_need(view, i, binding),
        order_by=part_by - timedelta(days=lead_days) if part_by and lead_days is not None else None,
        missing=missing,
        rules=answers,
        because=_because(bound, answers, missing),
        reason=bound.short if bound else _missing_in_words(missing) or "no limit reached",
    )


def _need(view: Outlook, i: int, binding: RuleKind | None) -> Need | None:
    if binding is None:
        return None
    if binding is RuleKind.CHECK and np.isnat(view.facts.failed_on[i, _binding_check(view, i)]):
        return Need.CHECK
    return Need.REPLACEMENT


def _because(bound: RuleAnswer | None, answers: Sequence[RuleAnswer], missing: Sequence[str]) -> str:
    sentences: list[str] = []
    if bound:
        sentences.append(bound.sentence)
        later = [one for one in answers if one is not bound and one.due_on and bound.due_on and one.due_on >= bound.due_on]
        if later:
            following = min(later, key=lambda one: one.due_on or date.max)
            sentences.append(f"The {_RULE_WORDS[following.kind]} would allow until {in_words(following.due_on or date.max)}.")
    elif not missing and answers:
        sentences.append(" ".join(one.sentence for one in answers))
    if missing:
        sentences.append(f"It cannot be dated for certain: {_missing_in_words(missing)}.")
    return " ".join(sentences)


def _missing_in_words(missing: Sequence[str]) -> str:
    return " and ".join(MISSING_WORDS[fact] for fact in missing)


_RULE_WORDS = {
    RuleKind.AGE: "age limit",
    RuleKind.HOURS: "limit of running hours",
    RuleKind.SHELF: "shelf date",
    RuleKind.OUTPUT: "output",
    RuleKind.CHECK: "next check",
}


def _age(view: Outlook, i: int, _words: ItemWords) -> RuleAnswer:
    installed = as_date_or_none(view.facts.installed_on[i])
    due = as_date_or_none(view.dates.due[i, 0])
    months, days = int(view.facts.life_months[i]), int(view.facts.life_days[i])
    limit = " or ".join(_counted(n, unit) for n, unit in ((months, "month"), (days, "day")) if n)
    if installed is None or due is None:
        return RuleAnswer(
            RuleKind.AGE,
            None,
            sentence=f"Its age limit is {limit}, but the installation date is not on record.",
            missing=("installed_on",),
            limit_months=months or None,
            limit_days=days or None,
        )
    old = (
        _counted(full_months_between(installed, view.today), "month") if months else _counted(max(0, (view.today - installed).days), "day")
    )
    verb = "reached" if due < view.today else "reaches"
    return RuleAnswer(
        RuleKind.AGE,
        due,
        sentence=f"It {verb} its age limit of {limit} on {in_words(due)} (installed {in_words(installed)}).",
        short=f"{old} old, limit {limit}",
        limit_months=months or None,
        limit_days=days or None,
        counted_from=installed,
    )


def _hours(view: Outlook, i: int, words: ItemWords) -> RuleAnswer:
    facts = view.facts
    limit = float(facts.life_hours[i])
    due = as_date_or_none(view.dates.due[i, 1])
    counted = as_date_or_none(facts.counted_on[i])
    start = counted or as_date_or_none(facts.installed_on[i])
    run_h = round(float(view.run_h[i]), 1)
    missing = () if view.dates.decided[i, 1] else _hours_missing(view, i)
    passed = as_date_or_none(facts.passed_on[i])
    in_use = schedule_in_words(words.schedule, view.today) if words.schedule else None
    if passed:
        so_far = f"by its hour counter ({_thousands(run_h)} h so far)"
        sentence = f"It reached its limit of {_thousands(limit)} h by {in_words(passed)}, {so_far}."
    elif missing:
        sentence = f"Its limit is {_thousands(limit)} running hours, but {_missing_in_words(missing)}."
    elif due is None:
        sentence = f"Its limit of {_thousands(limit)} running hours is never reached on the present schedule ({in_use})."
    else:
        verb = "had run" if due < view.today else "will have run"
        sentence = f"It {verb} its {_thousands(limit)} h by {in_words(due)} ({_thousands(run_h)} h so far, {in_use})."
    return RuleAnswer(
        RuleKind.HOURS,
        due,
        sentence,
        f"run {_thousands(run_h)} h of {_thousands(limit)} h" if due else "",
        missing=missing,
        limit_h=limit,
        counted_from=start,
        run_h=None if np.isnan(run_h) else run_h,
        schedule=in_use,
    )


def _hours_missing(view: Outlook, i: int) -> tuple[str, ...]:
    started = not (np.isnat(view.facts.counted_on[i]) and np.isnat(view.facts.installed_on[i]))
    scheduled = not np.isnat(view.facts.pieces.starts[i]).all()
    if started:
        return ("run_schedule",)
    return ("installed_on",) if scheduled else ("installed_on", "run_schedule")


def _shelf(view: Outlook, i: int, _words: ItemWords) -> RuleAnswer:
    due = as_date_or_none(view.dates.due[i, 2])
    missing = () if view.dates.decided[i, 2] else ("expires_on",)
    if due is None:
        return RuleAnswer(
            RuleKind.SHELF,
            None,
            f"It has a shelf life, but {_missing_in_words(missing)}.",
            missing=missing,
        )
    verb = "ended" if due < view.today else "ends"
    return RuleAnswer(
        RuleKind.SHELF,
        due,
        f"Its shelf life {verb} on {in_words(due)}.",
        f"shelf life to {in_words(due)}",
        missing=missing,
    )


def _output(view: Outlook, i: int, words: ItemWords) -> RuleAnswer:
    facts, seen = view.facts, view.dates.output
    due = as_date_or_none(view.dates.due[i, 3])
    limit = float(limit_of(minimum=facts.output_minimum[[i]], share=facts.output_share[[i]], first=seen.first[[i]])[0])
    known = None if np.isnan(limit) else round(limit, 6)
    first = None if np.isnan(seen.first[i]) else float(seen.first[i])
    missing = () if view.dates.decided[i, 3] else _output_missing(view, i)
    if not seen.count[i] or known is None:
        sentence = f"Its output has a minimum, but {_missing_in_words(missing)}."
        return RuleAnswer(
            RuleKind.OUTPUT,
            None,
            sentence,
            missing=missing,
            limit=known,
            unit=words.output_unit or None,
            readings=int(seen.count[i]),
        )
    latest, latest_on = float(seen.latest[i]), as_date(seen.latest_on[i])
    unit = f" {words.output_unit}" if words.output_unit else ""
    side = "below" if due else "not below"
    sentence = f"Output was {latest:g}{unit} on {in_words(latest_on)}, {side} the minimum of {known:g}{unit}."
    short = (
        f"output {latest / first:.0%} of first reading, limit {facts.output_share[i]:.0%}"
        if first and limit == facts.output_share[i] * first
        else f"output {latest:g}{unit}, limit {known:g}{unit}"
    )
    return RuleAnswer(
        RuleKind.OUTPUT, due, sentence, short if due else "", missing=missing, limit=known, unit=words.output_unit or None,
        readings=int(seen.count[i]), latest=latest, latest_on=latest_on, first=first,
    )  # fmt: skip


def _output_missing(view: Outlook, i: int) -> tuple[str, ...]:
    if not view.dates.output.count[i]:
        return ("output_readings",)
    if np.isnat(view.facts.installed_on[i]):
        return ("installed_on",)
    burns_in = np.nan_to_num(view.facts.burn_in_hours[i]) > 0
    reached = schedule_reaches(view.facts.installed_on, view.facts.pieces)[i]
    return ("run_schedule",) if burns_in and not reached else ("first_output_reading",)


def _binding_check(view: Outlook, i: int) -> int:
    """Return the index of the check that is due first, of the first that is planned where none has a date."""
    dates = view.dates.check_due[i]
    if np.isnat(dates).all():
        return int(np.argmax((view.facts.check_months[i] > 0) | (view.facts.check_days[i] > 0)))
    return int(np.argmin(np.where(np.isnat(dates), np.datetime64("9999-12-31"), dates)))


def _check(view: Outlook, i: int, _words: ItemWords) -> RuleAnswer:
    c = _binding_check(view, i)
    kind = CHECK_KINDS[c]
    due = as_date_or_none(view.dates.check_due[i, c])
    name = kind.value.replace("-", " ").replace("residual current", "residual-current")
    missing = () if view.dates.decided[i, 4] else ("installed_on",)
    failed = as_date_or_none(view.facts.failed_on[i, c])
    if due is None:
        return RuleAnswer(
            RuleKind.CHECK,
            None,
            f"Its {name} has never been done and {_missing_in_words(missing)}.",
            missing=missing,
        )
    if failed:
        return RuleAnswer(
            RuleKind.CHECK,
            due,
            f"Its {name} failed on {in_words(failed)}.",
            f"{name} failed {in_words(failed)}",
            missing=missing,
            check=kind,
            failed_on=failed,
        )
    done = as_date_or_none(view.facts.checked_on[i, c])
    last = f"last done {in_words(done)}" if done else "never done"
    verb = "was" if due < view.today else "is"
    return RuleAnswer(
        RuleKind.CHECK, due, f"Its {name} {verb} due by {in_words(due)} ({last}).", f"{name} due, {last}",
        missing=missing, check=kind, counted_from=done or as_date_or_none(view.facts.installed_on[i]),
    )  # fmt: skip


_WORDED = {
    RuleKind.AGE: _age,
    RuleKind.HOURS: _hours,
    RuleKind.SHELF: _shelf,
    RuleKind.OUTPUT: _output,
    RuleKind.CHECK: _check,
}


def _counted(number: int, unit: str) -> str:
    return f"{number} {unit}" if number == 1 else f"{number} {unit}s"


def _thousands(hours: float) -> str:
    """Return hours with a no-break space between thousands: ``9 180``."""
    return f"{hours:,.1f}".removesuffix(".0").replace(",", "\u00a0")
