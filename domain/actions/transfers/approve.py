"""Approving transfers, and refusing what is not complete."""

from __future__ import annotations

from uuid import UUID

from domain.actions.approvals import person
from domain.actions.transfers.check import Planned
from domain.actions.transfers.lines import turn_of
from domain.errors import Fault, RuleBroken
from domain.records.transfers import Transfer
from domain.records.unit import Unit
from domain.rules.calendar import in_words
from domain.rules.transfers import Check, TransferAct


def approve_transfer(unit: Unit, transfer_id: UUID) -> Transfer:
    """Approve a transfer that is complete still, and return it.

    Raises:
        RuleBroken: Something is open meanwhile; every item is a fault.
        Conflict: It has not been found complete, or was approved already.
    """
    found, stage = turn_of(unit, transfer_id, TransferAct.APPROVE)
    refuse_open(Planned(unit, found).check())
    return unit.change(found, {"stage": stage, "approved_by": person(unit.origin)}, action="approve_transfer")


def refuse_open(check: Check) -> None:
    """Refuse to let animals leave while anything is open.

    Raises:
        RuleBroken: Something is; every item is a fault, and the sentence says when they might leave at the earliest.
    """
    if check.is_complete:
        return
    faults = tuple(Fault(f"/{one.field}", one.code.value.replace("_", "-"), one.sentence) for one in check.items)
    count = len(faults)
    sentence = f"The animals cannot leave: {count} item{'' if count == 1 else 's'} {'is' if count == 1 else 'are'} open. {_earliest(check)}"
    raise RuleBroken(sentence, code="transfer-blocked", faults=faults)


def _earliest(check: Check) -> str:
    if check.earliest is None:
        return "Other days alone do not settle that within twelve months: the items say what does."
    if check.earliest == check.days:
        return "Other days would not change that."
    return f"The earliest lawful day with the papers on record is {in_words(check.earliest.dispatch_on)}."
