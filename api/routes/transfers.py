"""Transfers: the plan with its animals and papers, looking whether they may leave, and what takes them from stage to stage."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

from pydantic import BaseModel

from api.answers import encode, etag, of_record
from api.bodies import transfers as bodies
from api.bodies.records import with_disclaimer
from api.context import Call, stated_in, write
from api.doors import Door
from api.errors import Answer
from api.nouns import IDEMPOTENCY_KEY, Noun, id_parameter
from api.parts import Part
from domain.actions.transfers.approve import approve_transfer
from domain.actions.transfers.check import check_transfer
from domain.actions.transfers.close import close_transfer, end_transfer_report, record_transfer_report
from domain.actions.transfers.dispatch import dispatch_transfer
from domain.actions.transfers.plan import (
    change_transfer,
    change_transfer_paper,
    end_transfer,
    end_transfer_animal,
    end_transfer_paper,
    record_transfer_animal,
    record_transfer_paper,
    register_transfer,
)
from domain.actions.transfers.receive import receive_transfer, refuse_transfer
from domain.records import transfers as records
from domain.records.unit import Unit
from domain.rules.law.decision import DISCLAIMER, Finding
from domain.rules.transfers import Check, Days, OpenItem

NOUN = Noun(
    path="/v1/transfers",
    singular="transfer",
    plural="transfers",
    parameter="transfer_id",
    record=records.Transfer,
    new=bodies.NewTransfer,
    changed=bodies.ChangedTransfer,
    kept=bodies.Transfer,
    page=bodies.TransferPage,
    register=register_transfer,
    change=change_transfer,
    end=end_transfer,
    filters=("site_id", "from_site_id", "to_site_id", "stage", "basis", "reference"),
)
_part = partial(Part, owner=records.Transfer, owner_path="/v1/transfers", owner_parameter="transfer_id", within="transfer_id")
PARTS = (
    _part(
        path="animals",
        parameter="transfer_animal_id",
        singular="transfer_animal",
        plural="transfer_animals",
        record=records.TransferAnimal,
        new=bodies.NewTransferAnimal,
        kept=bodies.TransferAnimal,
        page=bodies.TransferAnimalPage,
        make=record_transfer_animal,
        end=end_transfer_animal,
        filters=("animal_id",),
    ),
    _part(
        path="papers",
        parameter="transfer_paper_id",
        singular="transfer_paper",
        plural="transfer_papers",
        record=records.TransferPaper,
        new=bodies.NewTransferPaper,
        changed=bodies.ChangedTransferPaper,
        kept=bodies.TransferPaper,
        page=bodies.TransferPaperPage,
        make=record_transfer_paper,
        change=change_transfer_paper,
        end=end_transfer_paper,
    ),
    _part(
        path="reports",
        parameter="transfer_report_id",
        singular="transfer_report",
        plural="transfer_reports",
        record=records.TransferReport,
        new=bodies.NewTransferReport,
        kept=bodies.TransferReport,
        page=bodies.TransferReportPage,
        make=record_transfer_report,
        end=end_transfer_report,
    ),
)


def _check(call: Call) -> Answer:
    stated_in(call, records.Go)

    def looked_at(unit: Unit) -> Answer:
        transfer, check = check_transfer(unit, call.ids[0])
        return Answer(encode(_shown(transfer, check)), headers=[etag(transfer.version)])

    return write(call, looked_at)


def _shown(transfer: records.Transfer, check: Check) -> dict[str, Any]:
    return {
        "disclaimer": DISCLAIMER,
        "transfer_id": transfer.id,
        "stage": transfer.stage,
        "planned": _days(check.days),
        "good_through": check.through,
        "items": [_item(one) for one in check.items],
        "earliest": None if check.earliest is None else _days(check.earliest),
        "renewals": [
            {
                "paper_id": one.paper.id,
                "title": one.paper.title,
                "starts": one.starts,
                "from_on": one.from_on,
                "until_on": one.until_on,
            }
            for one in check.renewals
        ],
    }


def _days(days: Days) -> dict[str, Any]:
    return {"dispatch_on": days.dispatch_on, "arrive_on": days.arrive_on}


def _item(one: OpenItem) -> dict[str, Any]:
    return {
        "code": one.code,
        "sentence": one.sentence,
        "field": one.field,
        "animal_ids": one.animal_ids,
        "paper_id": one.paper_id,
        "rule": None if one.finding is None else _rule(one.finding),
        "day_settles": one.turns,
    }


def _rule(finding: Finding) -> dict[str, Any]:
    rule = finding.requirement
    return {
        "code": rule.code,
        "edition": rule.version,
        "title": rule.title,
        "citation": rule.citation,
        "missing": sorted(finding.missing),
    }


def _act(verb: str, summary: str, body: type[BaseModel], act: Callable[[Unit, Call, Any], records.Transfer]) -> Door:
    def writes(call: Call) -> Answer:
        said = stated_in(call, body)
        return write(call, lambda unit: of_record(act(unit, call, said)))

    return _door(verb, summary, body, writes=writes, answers=with_disclaimer(bodies.Transfer))


def _door(verb: str, summary: str, body: type[BaseModel], *, writes: Callable[[Call], Answer], answers: type[BaseModel]) -> Door:
    return Door(
        method="POST",
        path=f"{NOUN.one_path}/{verb}",
        action=f"{verb}_transfer",
        operation_id=f"{verb}_transfer",
        summary=summary,
        tag="transfers",
        subject="transfer",
        answers=answers,
        writes=writes,
        body=body,
        parameters=[id_parameter("transfer_id"), IDEMPOTENCY_KEY],
        headers=["ETag"],
    )


ACTS = (
    _door("check", "Look whether the animals may leave as planned", records.Go, writes=_check, answers=bodies.TransferCheck),
    _act("approve", "Approve a transfer that is complete", records.Go, lambda unit, call, _: approve_transfer(unit, call.ids[0])),
    _act(
        "dispatch",
        "Have the animals leave now, their marks read back",
        records.Dispatch,
        lambda unit, call, said: dispatch_transfer(unit, call.ids[0], said),
    ),
    _act(
        "receive",
        "Have the animals arrive now, each accounted for",
        records.Receipt,
        lambda unit, call, said: receive_transfer(unit, call.ids[0], said),
    ),
    _act(
        "refuse",
        "Put on record that the receiver does not take the animals",
        records.TransferRefusal,
        lambda unit, call, said: refuse_transfer(unit, call.ids[0], said),
    ),
    _act(
        "close", "Close a transfer of which nothing is left to be done", records.Go, lambda unit, call, _: close_transfer(unit, call.ids[0])
    ),
)
DOORS = (*NOUN.doors(), *(door for part in PARTS for door in part.doors()), *ACTS)
