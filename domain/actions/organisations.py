"""Creating organisations, and the keys of their programs."""

from __future__ import annotations

from dataclasses import dataclass
from hashlib import sha256

import sqlalchemy as sa

from domain.actions.recording import recorded
from domain.records import journal
from domain.records.base import row_of, table_of
from domain.records.engine import Store
from domain.records.organisations import (
    SERVER_BITS,
    ApiKey,
    ApiKeyStated,
    Organisation,
    OrganisationStated,
    organisation_subject,
)
from domain.records.statements import Statement
from domain.records.unit import Unit

_organisation = table_of(Organisation)
ADD_ORGANISATION = Statement(sa.insert(_organisation))
ORGANISATION = Statement(sa.select(_organisation).where(_organisation.c.id == sa.bindparam("organisation_id")))


@dataclass(frozen=True, slots=True)
class MadeKey:
    """A key just made; ``secret`` is shown once and never stored."""

    key: ApiKey
    secret: str


def next_organisation_id(store: Store, *, server_number: int) -> int:
    """Return the number of the next organisation made on this server."""
    first = (server_number << SERVER_BITS) + 1
    here = [row[0] for row in store.organisations() if row[0] >> SERVER_BITS == server_number]
    return max(here, default=first - 1) + 1


def create_organisation(unit: Unit, stated: OrganisationStated) -> Organisation:
    """Create the organisation that the unit is opened for, with an empty journal, and return it."""
    made = Organisation(**stated.model_dump(), id=unit.organisation_id, created_at=unit.origin.at)
    unit.run(ADD_ORGANISATION, **row_of(made))
    unit.run(journal.START_HEAD, position=0, hash=journal.NO_HASH)
    after = stated.model_dump()
    unit.note(journal.Change("create_organisation", "organisation", organisation_subject(made.id), 1, before={}, after=after))
    return made


def create_key(unit: Unit, stated: ApiKeyStated, *, public_id: str, secret: str) -> MadeKey:
    """Create a key of ``public_id`` and ``secret``, both made at random by the door, and return it."""
    key = recorded(
        unit,
        ApiKey,
        stated,
        record_id=None,
        public_id=public_id,
        secret_sha256=sha256(secret.encode()).hexdigest(),
    )
    return MadeKey(key, secret)
