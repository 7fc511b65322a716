"""Who the caller is, and what the caller may do."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any
from uuid import UUID

from api.answers import encode
from api.bodies.me import Me
from api.context import Call, read
from api.doors import Door
from api.errors import Answer
from api.permissions import closed_fields
from api.signin import Caller
from domain.records.lists import OWN_ORGANISATION
from domain.rules.permissions import Matrix, Powers, Reach


async def get_me(call: Call) -> Answer:
    """Answer with who asks, and what whoever asks may do where."""
    rows = await read(call, OWN_ORGANISATION)
    own = dict(zip(OWN_ORGANISATION.on(call.house.store.dialect).keys, rows[0], strict=True))
    caller, known = call.caller, call.house.permissions
    may = dict(_may(known.matrix, caller))
    closed = {action: closed_fields(known, caller, action) for action in may if action in known.matrix.fields}
    return Answer(
        encode(
            {
                "organisation": {"id": own["id"], "name": own["name"]},
                "who": _who(caller),
                **_powers(caller.powers),
                "may": {action: _where(reach) for action, reach in may.items()},
                "fields_closed": {action: found for action, found in closed.items() if found},
            }
        )
    )


def _may(matrix: Matrix, caller: Caller) -> Iterator[tuple[str, Reach]]:
    for action, row in sorted(matrix.actions.items()):
        if row.command or row.coming:
            continue
        reach = matrix.reach_for(caller.powers, caller.for_powers, action)
        if reach is not None:
            yield action, reach


def _where(reach: Reach) -> dict[str, Any]:
    return {"everywhere": True} if reach.site_ids is None else {"site_ids": sorted(reach.site_ids)}


def _who(caller: Caller) -> dict[str, Any]:
    kind, _, own_id = caller.actor.partition(":")
    return {"kind": kind, "id": UUID(own_id), "name": caller.name, "on_behalf_of": caller.on_behalf_of}


def _powers(powers: Powers) -> dict[str, Any]:
    return {
        "roles": [{"role": grant.role, "site_id": grant.site_id} for grant in powers.grants],
        "scopes": None if powers.scopes is None else sorted(powers.scopes),
        "site_ids": None if powers.site_ids is None else sorted(powers.site_ids),
    }


DOORS = (
    Door(
        method="GET",
        path="/v1/me",
        action="get_me",
        operation_id="get_me",
        summary="Get who one is and what one may do",
        tag="me",
        subject="caller",
        answers=Me,
        reads=get_me,
    ),
)
