"""When keys and sessions were last used is written down from time to time, and not lost while the database is busy."""

from __future__ import annotations

from datetime import timedelta

import pytest
import sqlalchemy as sa

from api.uses import Uses
from domain.errors import StorageBusy, StorageFailed, TookTooLong
from domain.records.base import table_of
from domain.records.organisations import ApiKey, KeyUse
from domain.records.statements import Statement
from tests import makers
from tests.people import key

_use, _key = table_of(KeyUse), table_of(ApiKey)
KEYS = Statement(sa.select(_key.c.id).where(_key.c.organisation_id == sa.bindparam("organisation_id")))
USES = Statement(sa.select(_use.c.key_id, _use.c.last_used_at).where(_use.c.organisation_id == sa.bindparam("organisation_id")))
MINUTE = timedelta(minutes=1)


class Refusing:
    """A store that refuses every transaction in one way."""

    def __init__(self, kind):
        self.kind = kind

    def transaction(self, origin):
        raise self.kind(f"Nothing can be written for {origin.organisation_id}.")


def on_record(store):
    with store.transaction(makers.origin()) as unit:
        return dict(unit.rows(USES))


def key_id(store):
    key(store)
    with store.transaction(makers.origin()) as unit:
        [(own,)] = unit.rows(KEYS)
    return own


@pytest.mark.parametrize("kind", [StorageBusy, StorageFailed, TookTooLong])
def test_what_cannot_be_written_down_stays_noted(store, organisation, kind):
    uses, own = Uses(), key_id(store)
    uses.of_key(organisation, own, at=makers.NOON)

    uses.write_down(Refusing(kind), now=makers.NOON)
    assert on_record(store) == {}
    uses.write_down(store, now=makers.NOON)

    assert on_record(store) == {own: makers.NOON}


def test_the_use_of_a_key_is_written_down_once_an_hour(store, organisation):
    uses, own = Uses(), key_id(store)
    for minutes in (0, 59, 60):
        uses.of_key(organisation, own, at=makers.NOON + minutes * MINUTE)
        uses.write_down(store, now=makers.NOON)
        assert on_record(store) == {own: makers.NOON + (60 if minutes == 60 else 0) * MINUTE}
