"""Creating organisations, and the keys of their programs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from hashlib import sha256
from uuid import UUID

import sqlalchemy as sa

from domain.actions.recording import Ending, ended, recorded, referred
from domain.errors import Conflict
from domain.records import journal
from domain.records.base import row_of, table_of
from domain.records.engine import Store
from domain.records.organisations import (
    SERVER_BITS,
    ApiKey,
    ApiKeyStated,
    KeyUse,
    Organisation,
    OrganisationStated,
    organisation_subject,
)
from domain.records.sites import Site
from domain.records.statements import Statement
from domain.records.unit import Unit

ROTATED = "rotated"
"""Why a key ended whose successor took its place at once."""

_organisation, _key, _use = (table_of(one) for one in (Organisation, ApiKey, KeyUse))
ADD_ORGANISATION = Statement(sa.insert(_organisation))
ORGANISATION = Statement(sa.select(_organisation).where(_organisation.c.id == sa.bindparam("organisation_id")))
KEPT_SUCCESSORS = Statement(
    sa.select(_key.c.id).where(
        _key.c.organisation_id == sa.bindparam("organisation_id"), _key.c.successor_of == sa.bindparam("key_id"), _key.c.ended_on.is_(None)
    )
)
LAST_USE = Statement(
    sa.select(_use.c.last_used_at).where(_use.c.organisation_id == sa.bindparam("organisation_id"), _use.c.key_id == sa.bindparam("key_id"))
)
KEY_USES = Statement(sa.select(_use.c.key_id, _use.c.last_used_at).where(_use.c.organisation_id == sa.bindparam("organisation_id")))


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


def create_key(unit: Unit, stated: ApiKeyStated, *, public_id: str, secret: str, record_id: UUID | None = None) -> MadeKey:
    """Create a key of ``public_id`` and ``secret``, both made at random by the door, and return it.

    Raises:
        RuleBroken: One of its sites is none, or has ended.
        NotAllowed: It would be good for sites that the origin does not reach.
    """
    _check_sites(unit, stated.site_ids or ())
    return _made(unit, stated, public_id=public_id, secret=secret, record_id=record_id, successor_of=None)


def rotate_key(unit: Unit, key_id: UUID, *, public_id: str, secret: str, overlap_days: int, expires_on: date | None) -> MadeKey:
    """Make the successor of a key, with the same facts, and return it. The old one is good for ``overlap_days`` more, or ends at once.

    ``expires_on`` is the successor's last day. Whoever rotates the same key at the same time waits, and then finds a successor.

    Raises:
        NotFound: There is no such key.
        NotAllowed: It is good for sites that the origin does not reach.
        Conflict: It has ended or expired, or has a successor already.
    """
    unit.row(journal.LOCK_HEAD)
    found, today = unit.fetch_reached(ApiKey, key_id), unit.origin.at.date()
    _refuse_out_of_force(unit, found, today=today)
    facts = {name: getattr(found, name) for name in ApiKeyStated.model_fields}
    stated = ApiKeyStated.model_construct(**{**facts, "expires_on": expires_on})
    made = _made(unit, stated, public_id=public_id, secret=secret, record_id=None, successor_of=found.id)
    if overlap_days == 0:
        ended(unit, found, Ending(reason=ROTATED), today=today)
    else:
        last = today + timedelta(days=overlap_days)
        unit.change(found, {"expires_on": min(last, found.expires_on or last)}, action="rotate_key")
    return made


def end_key(unit: Unit, key_id: UUID, ending: Ending) -> ApiKey:
    """End a key, which is refused from the next request on, and return it.

    Raises:
        NotFound: There is no such key.
        NotAllowed: It is good for sites that the origin does not reach.
        Conflict: It has ended already.
    """
    return ended(unit, unit.fetch(ApiKey, key_id), ending, today=unit.origin.at.date())


def _check_sites(unit: Unit, site_ids: Sequence[UUID]) -> None:
    for place, site_id in enumerate(site_ids):
        referred(unit, Site, site_id, field=f"site_ids/{place}")


def _refuse_out_of_force(unit: Unit, key: ApiKey, *, today: date) -> None:
    if key.ended_on is not None:
        raise Conflict(f"This key ended on {key.ended_on.isoformat()}.", code="ended")
    if key.expires_on is not None and key.expires_on < today:
        raise Conflict(f"The last day of this key was {key.expires_on.isoformat()}; make a new one.", code="expired")
    if unit.rows(KEPT_SUCCESSORS, key_id=key.id):
        raise Conflict("This key has a successor already.", code="rotated")


def _made(unit: Unit, stated: ApiKeyStated, *, public_id: str, secret: str, record_id: UUID | None, successor_of: UUID | None) -> MadeKey:
    key = recorded(
        unit,
        ApiKey,
        stated,
        record_id=record_id,
        public_id=public_id,
        secret_sha256=sha256(secret.encode()).hexdigest(),
        successor_of=successor_of,
    )
    return MadeKey(key, secret)
