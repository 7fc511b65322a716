"""What follows an arrival: reports from where the animals went, and closing a transfer when nothing of it is left to be done."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from uuid import UUID

from domain.actions.holdings import holding_on
from domain.actions.recording import Ending, ended, recorded, refuse_later_than
from domain.actions.sites import today_there
from domain.actions.transfers.lines import REPORTS_OF, lines_of, turn_of
from domain.actions.transfers.numbers import not_arrived
from domain.actions.transfers.quarantine import kept_apart
from domain.errors import Conflict, Fault, NotFound, RuleBroken
from domain.records.animals import Animal
from domain.records.enclosures import Enclosure
from domain.records.holdings import HoldingKind
from domain.records.sites import Site
from domain.records.transfers import Transfer, TransferReport, TransferReportStated
from domain.records.unit import Unit
from domain.rules.calendar import date_at_site, in_words
from domain.rules.lives import Status
from domain.rules.transfers import ARRIVED, TransferAct, TransferStage

_BECAME = "escaped, died, departed, or came_back if it came after all"
"""By which events it is put on record what became of an animal that is away."""


def record_transfer_report(unit: Unit, transfer_id: UUID, stated: TransferReportStated, *, record_id: UUID | None = None) -> TransferReport:
    """Put a report from where animals went on record and return it.

    Raises:
        RuleBroken: No report was agreed on for that day, or it has not come yet, or is before the arrival.
        Conflict: The animals have not arrived, or this report is on record already.
    """
    transfer = unit.fetch_reached(Transfer, transfer_id)
    if transfer.stage not in ARRIVED | {TransferStage.CLOSED}:
        raise Conflict(f"This transfer is {transfer.stage.value}; the animals have not arrived.", code="not-arrived")
    if stated.after_days not in transfer.report_after_days:
        agreed = ", ".join(map(str, transfer.report_after_days)) or "none"
        raise RuleBroken(f"No report was agreed on after so many days; agreed on: {agreed}.", code="not-agreed", field="after_days")
    refuse_later_than(today_there(unit, transfer.site_id), field="reported_on", on=stated.reported_on)
    _refuse_before_arrival(unit, transfer, stated.reported_on)
    if any(one.after_days == stated.after_days for one in unit.all(TransferReport, REPORTS_OF, transfer_id=transfer.id)):
        raise Conflict("This report is on record already.", code="already-there", field="after_days")
    return recorded(unit, TransferReport, stated, record_id=record_id, transfer_id=transfer.id)


def _refuse_before_arrival(unit: Unit, transfer: Transfer, reported_on: date) -> None:
    """Refuse a report from before the arrival, by the date of the receiver's site, or of the sender's where others received them."""
    assert transfer.arrived_at is not None, "who has arrived did so at an instant"  # noqa: S101 - both are set at once
    arrived_on = date_at_site(transfer.arrived_at, unit.fetch(Site, transfer.site_id).zone)
    if reported_on < arrived_on:
        raise RuleBroken(f"They arrived on {in_words(arrived_on)}, later than this.", code="before-arrival", field="reported_on")


def end_transfer_report(unit: Unit, transfer_report_id: UUID, ending: Ending, *, owner_id: UUID) -> TransferReport:
    """Take a report that was entered wrongly out of account and return it.

    Raises:
        NotFound: The transfer has no such report.
    """
    transfer = unit.fetch_reached(Transfer, owner_id)
    found = unit.fetch(TransferReport, transfer_report_id)
    if found.transfer_id != transfer.id:
        raise NotFound("There is no such transfer report.")
    return ended(unit, found, ending, today=today_there(unit, transfer.site_id))


def close_transfer(unit: Unit, transfer_id: UUID) -> Transfer:
    """Close a transfer of which nothing is left to be done, and return it.

    Raises:
        RuleBroken: Quarantine lasts, a report is missing, or an animal that did not arrive is not accounted for; each is a fault.
        Conflict: The animals have not arrived.
    """
    found, stage = turn_of(unit, transfer_id, TransferAct.CLOSE)
    faults = tuple(_left_to_do(unit, found))
    if faults:
        raise RuleBroken("Something of this transfer is left to be done.", code="not-done", faults=faults)
    return unit.change(found, {"stage": stage, "closed_on": today_there(unit, found.site_id)}, action="close_transfer")


def _left_to_do(unit: Unit, transfer: Transfer) -> Iterator[Fault]:
    today = today_there(unit, transfer.site_id)
    for tag, until_on in kept_apart(unit, transfer, after=today):
        yield Fault("", "in-quarantine", f"{tag} is kept apart until {in_words(until_on)}; a veterinarian releases it.")
    for line in lines_of(unit, transfer):
        for animal in not_arrived(unit, transfer, line):
            yield from _not_accounted_for(unit, animal, today=today)
    if transfer.stage is TransferStage.RECEIVED:
        reported = {one.after_days for one in unit.all(TransferReport, REPORTS_OF, transfer_id=transfer.id)}
        for days in sorted(set(transfer.report_after_days) - reported):
            yield Fault("", "report-missing", f"The report of {days} days after the arrival is not on record.")


def _not_accounted_for(unit: Unit, animal: Animal, *, today: date) -> Iterator[Fault]:
    if animal.status is not Status.AWAY:
        return
    held = holding_on(unit, animal.id, on=today)
    if held is None or held.kind is not HoldingKind.LOAN_OUT:
        sentence = f"{animal.tag} did not arrive; put on record{_where(unit, animal)} what became of it: {_BECAME}."
        yield Fault("", "not-accounted-for", sentence)


def _where(unit: Unit, animal: Animal) -> str:
    """Return in words at which site an animal is on record: who works there says what became of it."""
    return "" if animal.enclosure_id is None else f" at {unit.fetch(Site, unit.fetch(Enclosure, animal.enclosure_id).site_id).name}"
