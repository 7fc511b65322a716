"""Until when the records of animals that died or left have to be kept, by the law of where they were and by the house's own rules."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from uuid import UUID

import sqlalchemy as sa

from domain.actions.duties.law import BINDS_NOTHING, activities_at
from domain.actions.duties.wording import cited
from domain.actions.law import Law
from domain.actions.premises import PremisesHistory
from domain.actions.retention import HOLDS, hold_on, longest_periods
from domain.actions.subjects import Chronicle
from domain.records.animals import Animal, AnimalState
from domain.records.base import table_of
from domain.records.retention import LegalHold
from domain.records.statements import Statement
from domain.records.unit import Unit
from domain.rules.calendar import add_months, in_words
from domain.rules.law import spans
from domain.rules.law.book import Book
from domain.rules.law.facts import Subject
from domain.rules.law.requirements import Duty as LegalDuty
from domain.rules.law.requirements import Occasion
from domain.rules.law.spans import Span, day_after, day_before
from domain.rules.lives import Status
from domain.rules.reminders import Duty, ReminderKind

TOLD_DAYS = 30
"""How long before its last day, and how long after it, the end of keeping is told of."""
_SLACK = timedelta(days=31)
"""By how much a day may be off that is reckoned backwards, past ends of months and holidays."""
_DAY = timedelta(days=1)
_OCCASIONS = {Status.DEAD: Occasion.DEATH, Status.DEPARTED: Occasion.DEPARTURE}

_animal, _state = table_of(Animal), table_of(AnimalState)
_from_on, _until_on = (sa.bindparam(name, type_=sa.Date()) for name in ("from_on", "until_on"))
GONE_BETWEEN = Statement(
    sa.select(_state.c.animal_id, _state.c.from_on, _state.c.status, _animal.c.tag)
    .join(_animal, sa.and_(_animal.c.organisation_id == _state.c.organisation_id, _animal.c.id == _state.c.animal_id))
    .where(
        _state.c.organisation_id == sa.bindparam("organisation_id"),
        _state.c.ended_on.is_(None),
        _state.c.until_on.is_(None),
        _state.c.status.in_([sa.literal(one.value, type_=sa.String()) for one in _OCCASIONS]),
        _state.c.from_on >= _from_on,
        _state.c.from_on <= _until_on,
    )
    .order_by(_state.c.from_on, _state.c.animal_id)
)
"""The animals that died or left between two days and did not come back."""


@dataclass(frozen=True, slots=True)
class _Gone:
    animal_id: UUID
    on: date
    status: Status
    tag: str


def retention_ends(unit: Unit, law: Law, *, today: date) -> Iterator[Duty]:
    """Yield the animals whose records need not be kept much longer, or since lately, by whichever rule keeps them longest.

    What a requirement asks for whose facts are not known is kept all the same. What a legal hold keeps is passed over, and so is what
    nothing says how long to keep: that is kept.
    """
    months = longest_periods(unit, today=today).get(Animal.noun)
    holds = unit.all(LegalHold, HOLDS)
    premises = PremisesHistory(unit, law)
    seen: set[UUID] = set()
    for span in _spans(law, months):
        gone = [one for one in _gone(unit, span, today=today) if one.animal_id not in seen]
        seen.update(one.animal_id for one in gone)
        for one, until_on, why in _kept_until(unit, law, gone, premises=premises, months=months):
            is_told = abs((until_on - today).days) <= TOLD_DAYS
            if is_told and hold_on(unit, holds, unit.fetch(Animal, one.animal_id)) is None:
                yield _duty(one, until_on, why=why)


def _spans(law: Law, months: int | None) -> Iterable[Span]:
    of_law = (each.within for one in law.requirements for each in one.obligations if each.duty is LegalDuty.RETAIN)
    own = None if months is None else Span(months, spans.Unit.MONTHS)
    return dict.fromkeys(span for span in (*of_law, own) if span is not None)


def _gone(unit: Unit, span: Span, *, today: date) -> list[_Gone]:
    """Return the animals whose records have been kept for about a span by now."""
    first = day_before(today - timedelta(days=TOLD_DAYS), span) - _SLACK
    last = day_before(today + timedelta(days=TOLD_DAYS), span) + _SLACK
    return [_Gone(*row) for row in unit.rows(GONE_BETWEEN, from_on=first, until_on=last)]


def _kept_until(
    unit: Unit, law: Law, gone: list[_Gone], *, premises: PremisesHistory, months: int | None
) -> Iterator[tuple[_Gone, date, str]]:
    """Yield until when the records of each animal are kept, and by what."""
    if not gone:
        return
    chronicle = Chronicle(unit, from_on=gone[0].on - _DAY, until_on=gone[-1].on)
    for one in gone:
        found = {add_months(one.on, months): "by the house's own rule"} if months is not None else {}
        subject = chronicle.of(one.animal_id, on=one.on - _DAY)
        if subject is not None:
            found |= _by_law(law, subject, one, premises=premises)
        if found:
            until_on = max(found)
            yield one, until_on, found[until_on]


def _by_law(law: Law, subject: Subject, one: _Gone, *, premises: PremisesHistory) -> Mapping[date, str]:
    place = premises.on(one.on).get(subject.site_id)
    if place is None:
        return {}
    book = Book(law.requirements, known=law.jurisdictions, on=one.on)
    found: dict[date, str] = {}
    for activity, _ in activities_at(place):
        for finding in book.decide(subject, activity=activity, premises=place).findings:
            rule = finding.requirement
            for each in rule.obligations if finding.bearing not in BINDS_NOTHING else ():
                if each.duty is LegalDuty.RETAIN and each.occasion is _OCCASIONS[one.status] and each.within is not None:
                    found[day_after(one.on, each.within, working=law.working_days(rule.jurisdiction))] = f"by {cited(rule)}"
    return found


def _duty(one: _Gone, until_on: date, *, why: str) -> Duty:
    how = "died" if one.status is Status.DEAD else "left"
    return Duty(
        subject=Animal.noun,
        subject_id=one.animal_id,
        kind=ReminderKind.RETENTION_END,
        occurrence=one.on.isoformat(),
        due_on=until_on,
        tell_from=until_on - timedelta(days=TOLD_DAYS),
        sentence=f"The records of {one.tag}, which {how} on {in_words(one.on)}, are to be kept until this day, {why}. "
        "After it they may be let go of, unless another rule or a hold keeps them.",
    )
