"""The roles that staff were granted beyond the one of their own record."""

from __future__ import annotations

from api.answers import of_record, registered
from api.bodies import accounts as bodies
from api.context import Call, read_one, stated_in, write
from api.doors import Door
from api.errors import Answer
from api.nouns import IDEMPOTENCY_KEY, id_parameter
from api.pages import Listing
from domain.actions.accounts import end_grant, register_grant
from domain.actions.recording import Ending
from domain.records.accounts import RoleGrant, RoleGrantStated
from domain.records.staff import Staff

PATH = "/v1/staff/{staff_id}/grants"
MEMBER, GRANT = id_parameter("staff_id"), id_parameter("grant_id")
NOTHING = b'{"items":[],"next":null}'
_LISTING = Listing(RoleGrant, within="staff_id")


async def list_grants(call: Call) -> Answer:
    """Answer with a page of the roles that a member of staff was granted."""
    answer = await _LISTING.page(call)
    if answer.body == NOTHING:
        await read_one(call, Staff, call.ids[0], subject="member of staff")
    return answer


def grant(call: Call) -> Answer:
    """Grant a role to a member of staff."""
    said = stated_in(call, bodies.NewRoleGrant)
    stated = RoleGrantStated(staff_id=call.ids[0], role=said.role, site_id=said.site_id)
    return write(call, lambda unit: registered(register_grant(unit, stated, record_id=said.id)))


def withdraw(call: Call) -> Answer:
    """End a grant."""
    ending = stated_in(call, Ending)
    return write(call, lambda unit: of_record(end_grant(unit, call.ids[0], call.ids[1], ending)))


DOORS = (
    Door(
        method="GET",
        path=PATH,
        action="list_grants",
        operation_id="list_grants",
        summary="List the roles that a member of staff was granted",
        tag="staff",
        subject="member of staff",
        answers=bodies.RoleGrantPage,
        reads=list_grants,
        query=_LISTING.readers,
        parameters=[MEMBER, *_LISTING.parameters],
        headers=["Link"],
    ),
    Door(
        method="POST",
        path=PATH,
        action="register_grant",
        operation_id="register_grant",
        summary="Grant a role to a member of staff",
        tag="staff",
        subject="member of staff",
        answers=bodies.RoleGrant,
        status=201,
        writes=grant,
        body=bodies.NewRoleGrant,
        parameters=[MEMBER, IDEMPOTENCY_KEY],
        headers=["ETag"],
    ),
    Door(
        method="POST",
        path=f"{PATH}/{{grant_id}}/end",
        action="end_grant",
        operation_id="end_grant",
        summary="End a role that a member of staff was granted",
        tag="staff",
        subject="role grant",
        answers=bodies.RoleGrant,
        writes=withdraw,
        body=Ending,
        parameters=[MEMBER, GRANT, IDEMPOTENCY_KEY],
        headers=["ETag"],
    ),
)
