"""When the filter media lots of one life-support system may be changed: never two within the least gap.

A biological filter lives on its media. Changed all at once it stops working, and the water turns toxic about two days later.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import pairwise

from domain.rules.calendar import in_words


@dataclass(frozen=True, slots=True)
class MediaLot:
    """A lot of filter media: its tag and the date that its own rules say."""

    tag: str
    due_on: date


@dataclass(frozen=True, slots=True)
class LotVisit:
    """The day proposed for a lot; ``conflict`` says why its own date cannot be kept, ``early`` why it is done before it, if so."""

    tag: str
    do_on: date
    conflict: str | None
    early: str | None = None


def spaced_visits(lots: Sequence[MediaLot], *, least_gap_days: int, today: date, last_changed_on: date | None = None) -> list[LotVisit]:
    """Return one visit a lot, in the order in which they are to be done, any two at least ``least_gap_days`` apart.

    ``last_changed_on`` is when a lot of the system was last changed; the first visit keeps the gap from it too.
    The lot due first is done earlier, today at the earliest. Where that is not early enough the later lot waits, past its own date
    if it must, and the conflict is said: a lot a little too old does less harm than a filter with nothing left alive in it.
    """
    ordered = sorted(lots, key=lambda lot: (lot.due_on, lot.tag))
    gap = timedelta(days=least_gap_days)
    first_day = max(today, last_changed_on + gap) if last_changed_on else today
    wished = _moved_earlier(ordered, gap=gap, first_day=first_day)
    visits: list[LotVisit] = []
    for lot, wish in zip(ordered, wished, strict=True):
        do_on = max(wish, visits[-1].do_on + gap) if visits else wish
        before, changed_on = (visits[-1].tag, visits[-1].do_on) if visits else ("the last change", last_changed_on or today)
        waits_for = f"{before} ({in_words(changed_on)})"
        conflict = _conflict(lot, do_on=do_on, waits_for=waits_for, gap_days=least_gap_days) if do_on > max(lot.due_on, today) else None
        visits.append(LotVisit(lot.tag, do_on, conflict))
    return [_with_cause(visit, lot) for visit, lot in zip(_said_on_both_sides(visits, least_gap_days=least_gap_days), ordered, strict=True)]


def _with_cause(visit: LotVisit, lot: MediaLot) -> LotVisit:
    if visit.do_on >= lot.due_on:
        return visit
    return replace(
        visit,
        early=f"It is to be changed on {in_words(visit.do_on)}, before its own date, to keep the filter media lots of one system apart.",
    )


def _moved_earlier(ordered: Sequence[MediaLot], *, gap: timedelta, first_day: date) -> list[date]:
    wished: list[date] = []
    for lot in reversed(ordered):
        latest = wished[-1] - gap if wished else lot.due_on
        wished.append(max(first_day, min(lot.due_on, latest)))
    return wished[::-1]


def _conflict(lot: MediaLot, *, do_on: date, waits_for: str, gap_days: int) -> str:
    return (
        f"{lot.tag} is due on {in_words(lot.due_on)} but may not be changed within {gap_days} days of {waits_for} in the same system; "
        f"change {lot.tag} not before {in_words(do_on)}, and watch ammonia and nitrite."
    )


def _said_on_both_sides(visits: list[LotVisit], *, least_gap_days: int) -> list[LotVisit]:
    """Give a lot whose successor has to wait for it the same sentence, so that neither row hides the conflict."""
    said = list(visits)
    for i, (visit, following) in enumerate(pairwise(visits)):
        if following.conflict and not visit.conflict and (following.do_on - visit.do_on).days == least_gap_days:
            said[i] = replace(visit, conflict=following.conflict)
    return said
