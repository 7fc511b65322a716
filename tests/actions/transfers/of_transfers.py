"""What is done with transfers in their tests, step by step."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from domain.actions.transfers.approve import approve_transfer
from domain.actions.transfers.check import check_transfer
from domain.actions.transfers.dispatch import dispatch_transfer
from domain.actions.transfers.lines import lines_of
from domain.actions.transfers.receive import receive_transfer
from domain.errors import Refusal
from domain.records.animals import Animal
from domain.records.enclosures import Enclosure
from domain.records.sites import Site
from domain.records.stated import read_stated
from domain.records.statements import json_text
from domain.records.transfers import Dispatch, Receipt, Transfer
from domain.records.unit import Unit
from domain.rules.transfers import Check, TransferStage
from tests import makers

TODAY = "2026-03-01"
KNOWN = "they were kept there before"
"""Why animals are in an enclosure that does not suit who comes to it."""


def planned(
    unit: Unit, come_from: Site | None, go_to: Site | None, *animals: Animal, to: Enclosure | None = None, **stated: Any
) -> Transfer:
    """Plan a transfer for today, with all that a journey needs, and put animals on it."""
    where = {} if to is None else {"quarantine_enclosure_id": str(to.id)}
    made = makers.transfer(unit, come_from, go_to, **{"dispatch_on": TODAY, "arrive_on": TODAY, **where, **stated})
    for one in animals:
        makers.transfer_animal(unit, made, one)
    return made


def checked(unit: Unit, transfer: Transfer) -> Check:
    """Return what came of looking at a transfer."""
    return check_transfer(unit, transfer.id)[1]


def approved(unit: Unit, transfer: Transfer) -> Transfer:
    """Find a transfer complete, and approve it."""
    found, check = check_transfer(unit, transfer.id)
    assert [one.sentence for one in check.items] == []
    assert found.stage is TransferStage.COMPLETE
    return approve_transfer(unit, transfer.id)


def dispatched(unit: Unit, transfer: Transfer, *, mark: str | None = None) -> Transfer:
    """Have animals leave, each with one mark read back."""
    readings = [{"transfer_animal_id": str(line.id), "mark": mark} for line in lines_of(unit, transfer)]
    return dispatch_transfer(unit, transfer.id, read_stated(Dispatch, json_text({"readings": readings, "temperature_c": 22.5})))


def receipt(unit: Unit, transfer: Transfer, *, apart: int | None = None, **said: Any) -> Receipt:
    """Return a receipt that says the same of every animal of a transfer; ``apart`` is for how many days who is back is kept apart."""
    arrivals = [{"transfer_animal_id": str(line.id), "condition": "lively", **said} for line in lines_of(unit, transfer)]
    return read_stated(Receipt, json_text({"arrivals": arrivals, "temperature_c": 21.0, "quarantine_days": apart}))


def received(unit: Unit, transfer: Transfer, **said: Any) -> Transfer:
    """Have animals arrive, all alike."""
    return receive_transfer(unit, transfer.id, receipt(unit, transfer, **said))


def under_way(unit: Unit, transfer: Transfer, *, mark: str | None = None) -> Transfer:
    """Find a transfer complete, approve it, and have its animals leave."""
    return dispatched(unit, approved(unit, transfer), mark=mark)


def later(unit: Unit, *, days: int) -> str:
    """Let days pass, and return the date that it is then."""
    unit.origin = replace(unit.origin, at=unit.origin.at + timedelta(days=days))
    return unit.origin.at.date().isoformat()


def told_faults(act: Any, *given: Any, **named: Any) -> list[tuple[str, str, str]]:
    """Return the pointers, codes and sentences of the faults for which an act is refused."""
    with pytest.raises(Refusal) as refused:
        act(*given, **named)
    return [(one.pointer, one.code, one.detail) for one in refused.value.faults]


def codes(act: Any, *given: Any, **named: Any) -> list[str]:
    """Return the codes of the faults for which an act is refused."""
    with pytest.raises(Refusal) as refused:
        act(*given, **named)
    return [one.code for one in refused.value.faults] or [refused.value.code]
