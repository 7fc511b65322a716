"""What follows a transfer: late arrivals, ends of loans, reports of the receiver, quarantine. Who the other party is is left out."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from domain.actions.duties.wording import at_site, occurrence
from domain.actions.transfers.lines import days_back_of, days_of
from domain.actions.transfers.quarantine import KEPT_APART_UNTIL
from domain.records.animals import Animal
from domain.records.base import table_of
from domain.records.enclosures import Enclosure
from domain.records.holdings import Holding, HoldingKind
from domain.records.sites import Site
from domain.records.statements import Statement
from domain.records.transfers import Transfer, TransferReport
from domain.records.unit import Unit
from domain.rules.calendar import date_at_site, in_words
from domain.rules.reminders import Duty, ReminderKind
from domain.rules.transfers import ARRIVED, UNDER_WAY, TransferStage

LOAN_TOLD_DAYS = 60
"""How long before its end a loan is told of."""
QUARANTINE_TOLD_DAYS = 7
"""How long before its least time is over quarantine is told of."""

_holding, _animal, _enclosure, _transfer, _report = (table_of(one) for one in (Holding, Animal, Enclosure, Transfer, TransferReport))
_organisation_id: sa.BindParameter[Any] = sa.bindparam("organisation_id")
_OWNED = sa.literal(HoldingKind.OWNED.value, type_=sa.String())


def _same(one: sa.Table, other: sa.Table, column: str) -> sa.ColumnElement[bool]:
    return sa.and_(other.c.organisation_id == one.c.organisation_id, other.c.id == one.c[column])


LOANS = Statement(
    sa.select(_holding.c.id, _holding.c.kind, _holding.c.due_back_on, _animal.c.tag)
    .join(_animal, _same(_holding, _animal, "animal_id"))
    .outerjoin(_enclosure, _same(_animal, _enclosure, "enclosure_id"))
    .where(
        _holding.c.organisation_id == _organisation_id,
        _holding.c.ended_on.is_(None),
        _holding.c.until_on.is_(None),
        _holding.c.kind != _OWNED,
        _holding.c.due_back_on <= sa.bindparam("until_on", type_=sa.Date()),
        _animal.c.ended_on.is_(None),
        at_site(_enclosure.c.site_id),
    )
    .order_by(_holding.c.id)
)


def _at(stages: Iterable[TransferStage]) -> Statement:
    """Return the statement for the transfers of a site that have come to one of some stages."""
    return Statement(
        sa.select(_transfer)
        .where(
            _transfer.c.organisation_id == _organisation_id,
            _transfer.c.ended_on.is_(None),
            _transfer.c.stage.in_([sa.literal(one.value, type_=sa.String()) for one in sorted(stages)]),
            at_site(_transfer.c.site_id),
        )
        .order_by(_transfer.c.id)
    )


TO_CLOSE, TO_ARRIVE = _at(ARRIVED), _at(UNDER_WAY)
REPORTED = Statement(
    sa.select(_report.c.transfer_id, _report.c.after_days).where(
        _report.c.organisation_id == _organisation_id, _report.c.ended_on.is_(None)
    )
)


def loans(unit: Unit, *, site_id: UUID | None, today: date) -> Iterator[Duty]:
    """Yield the loans, out and in, of a site's animals, or of those of no site, that end soon or have ended."""
    for holding_id, kind, due_back_on, tag in unit.rows(LOANS, site_id=site_id, until_on=today + timedelta(days=LOAN_TOLD_DAYS)):
        act = "have it back" if kind is HoldingKind.LOAN_OUT else "give it back"
        yield Duty(
            subject=Holding.noun,
            subject_id=holding_id,
            kind=ReminderKind.LOAN,
            occurrence=occurrence(site_id=site_id),
            due_on=due_back_on,
            tell_from=due_back_on - timedelta(days=LOAN_TOLD_DAYS),
            sentence=f"The loan of {tag} ends: {act}, or agree on a later day and put that on record.",
            site_id=site_id,
        )


def late_arrivals(unit: Unit, *, site: Site, today: date) -> Iterator[Duty]:
    """Yield the transfers of a site whose animals should have arrived, or be back, on a day before today, and of which nobody said it."""
    for transfer in unit.all(Transfer, TO_ARRIVE, site_id=site.id):
        refused = transfer.stage is TransferStage.REFUSED
        days = days_back_of(unit, transfer) if refused else days_of(unit, transfer)
        if today <= days.arrive_on:
            continue
        since, by = in_words(days.dispatch_on), in_words(days.arrive_on)
        how = (
            f"were refused on {since} and should have been back on {by}" if refused else f"left on {since} and should have arrived on {by}"
        )
        sentence = (
            f"The animals of transfer {transfer.reference} {how}; nobody has said that they are there, so they may be on the road still. "
            "Ask whoever carries them at once, then put on record how they arrived, or that they did not."
        )
        told = days.arrive_on + timedelta(days=1)
        yield _after(
            transfer,
            ReminderKind.ARRIVAL,
            due_on=days.arrive_on,
            tell_from=told,
            sentence=sentence,
            site_id=site.id,
            which=(transfer.stage.value,),
        )


def after_arrivals(unit: Unit, *, site: Site) -> Iterator[Duty]:
    """Yield the reports that were agreed on and have not come, and the quarantine that is to be looked at, of a site's transfers."""
    arrived = unit.all(Transfer, TO_CLOSE, site_id=site.id)
    if not arrived:
        return
    reported = {(transfer_id, days) for transfer_id, days in unit.rows(REPORTED)}
    until = {transfer_id: last for transfer_id, last in unit.rows(KEPT_APART_UNTIL)}  # noqa: C416 - rows are no pairs
    for transfer in arrived:
        arrived_on = date_at_site(_instant(transfer), site.zone)
        for days in transfer.report_after_days if transfer.stage is TransferStage.RECEIVED else ():
            if (transfer.id, days) not in reported:
                sentence = f"Have the report of {days} days after the arrival of transfer {transfer.reference}."
                due_on = arrived_on + timedelta(days=days)
                yield _after(
                    transfer,
                    ReminderKind.REPORT,
                    due_on=due_on,
                    tell_from=arrived_on,
                    sentence=sentence,
                    site_id=site.id,
                    which=(days,),
                )
        if transfer.id in until:
            last = until[transfer.id]
            sentence = f"Quarantine after transfer {transfer.reference} has lasted as long as planned: a veterinarian releases the animals."
            told = last - timedelta(days=QUARANTINE_TOLD_DAYS)
            yield _after(transfer, ReminderKind.QUARANTINE, due_on=last, tell_from=told, sentence=sentence, site_id=site.id)


def _instant(transfer: Transfer) -> datetime:
    assert transfer.arrived_at is not None, "what was received has arrived"  # noqa: S101 - both are set at once
    return transfer.arrived_at


def _after(
    transfer: Transfer, kind: ReminderKind, *, due_on: date, tell_from: date, sentence: str, site_id: UUID, which: tuple[object, ...] = ()
) -> Duty:
    return Duty(
        subject=Transfer.noun,
        subject_id=transfer.id,
        kind=kind,
        occurrence=occurrence(*which, site_id=site_id),
        due_on=due_on,
        tell_from=tell_from,
        sentence=sentence,
        site_id=site_id,
    )
