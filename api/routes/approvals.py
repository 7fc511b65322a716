"""Approvals of what needs two people."""

from __future__ import annotations

from api.answers import created, of_record
from api.bodies.approvals import Approval, ApprovalPage, Giving, NewApproval
from api.context import Call, stated_in, write
from api.doors import Door
from api.errors import Answer
from api.nouns import IDEMPOTENCY_KEY, id_parameter
from api.pages import Listing
from domain.actions.approvals import ActNamed, ActOfTwo, ask_for_approval, give_approval
from domain.records import approvals as records
from domain.records.base import all_records

PATH = "/v1/approvals"
_LISTING = Listing(records.Approval, ("subject_id", "action"))


def ask(call: Call) -> Answer:
    """Ask a second person for an approval."""
    stated = stated_in(call, NewApproval)
    act_named = acts_of(call)
    return write(call, lambda unit: created(ask_for_approval(unit, stated, act_named=act_named, record_id=stated.id), at=PATH))


def give(call: Call) -> Answer:
    """Give an approval that another person asked for."""
    stated_in(call, Giving)
    act_named = acts_of(call)
    return write(call, lambda unit: of_record(give_approval(unit, call.ids[0], act_named=act_named)))


def acts_of(call: Call) -> ActNamed:
    """Return what the acts of two are for a call's caller."""
    matrix, caller = call.house.permissions.matrix, call.caller
    by_noun = {record.noun: record for record in all_records()}

    def named(action: str) -> ActOfTwo | None:
        row = matrix.actions.get(action)
        if row is None or row.two_person is None:
            return None
        return ActOfTwo(by_noun[row.two_person], matrix.reach_for(caller.powers, caller.for_powers, action))

    return named


DOORS = (
    Door(
        method="GET",
        path=PATH,
        action="list_approvals",
        operation_id="list_approvals",
        summary="List approvals",
        tag="approvals",
        subject="approval",
        answers=ApprovalPage,
        reads=_LISTING.page,
        query=_LISTING.readers,
        parameters=_LISTING.parameters,
        headers=["Link"],
    ),
    Door(
        method="POST",
        path=PATH,
        action="ask_for_approval",
        operation_id="ask_for_approval",
        summary="Ask a second person for an approval",
        tag="approvals",
        subject="approval",
        answers=Approval,
        status=201,
        writes=ask,
        body=NewApproval,
        parameters=[IDEMPOTENCY_KEY],
        headers=["ETag", "Location"],
    ),
    Door(
        method="POST",
        path=f"{PATH}/{{approval_id}}/give",
        action="give_approval",
        operation_id="give_approval",
        summary="Give an approval that another person asked for",
        tag="approvals",
        subject="approval",
        answers=Approval,
        writes=give,
        body=Giving,
        parameters=[id_parameter("approval_id"), IDEMPOTENCY_KEY],
        headers=["ETag"],
    ),
)
