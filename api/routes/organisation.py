"""The caller's organisation."""

from __future__ import annotations

from api.answers import encode, shown_row
from api.bodies.organisations import OwnOrganisation
from api.context import Call, read
from api.doors import Door
from api.errors import Answer
from domain.errors import NotFound
from domain.records.lists import OWN_ORGANISATION


async def get_organisation(call: Call) -> Answer:
    """Return the organisation whose key the caller holds."""
    rows = await read(call, OWN_ORGANISATION)
    if not rows:
        raise NotFound("There is no such organisation.")
    return Answer(encode(shown_row(OWN_ORGANISATION.on(call.house.store.dialect), rows[0])))


DOORS = [
    Door(
        method="GET",
        path="/v1/organisation",
        action="get_organisation",
        operation_id="get_organisation",
        summary="Get the own organisation",
        tag="organisation",
        subject="organisation",
        answers=OwnOrganisation,
        reads=get_organisation,
    )
]
