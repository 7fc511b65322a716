"""``reedbed migrate``, ``organisation create`` and the keys."""

from __future__ import annotations

from argparse import Namespace

import sqlalchemy as sa
from rich.console import Console

import migrations
from api.commands.session import Trouble, opened, say_json
from api.settings import Settings
from api.signin import key_text, new_key_parts
from domain.actions.organisations import create_key, create_organisation, next_organisation_id
from domain.actions.recording import Ending, ended
from domain.records.base import table_of
from domain.records.organisations import ApiKey, ApiKeyStated, Organisation, OrganisationStated
from domain.records.stated import read_stated
from domain.records.statements import Statement, json_text
from domain.records.unit import Unit

_key = table_of(ApiKey)
KEYS = Statement(sa.select(_key).where(_key.c.organisation_id == sa.bindparam("organisation_id")).order_by(_key.c.id))


def migrate(words: Namespace, console: Console) -> int:
    """Bring the schema to its head, or only say whether it is there."""
    settings = Settings()
    url = settings.owner_database_url or settings.database_url
    if words.check:
        found = migrations.revision_of(url)
        console.print(f"schema {found or 'none'}, newest {migrations.head()}")
        return 0 if found == migrations.head() else 1
    migrations.upgrade(url)
    console.print(f"schema {migrations.head()}")
    return 0


def organisation_create(words: Namespace, console: Console) -> int:
    """Create an organisation with its first key."""
    stated = read_stated(OrganisationStated, json_text({"name": words.name, "base_currency": words.currency}))
    with opened("organisation create") as session:
        with session.store.snapshot(session.origin(0)) as unit:
            number = next_organisation_id(unit, server_number=session.settings.server_number)
        with session.store.transaction(session.origin(number)) as unit:
            made = create_organisation(unit, stated)
            text = _made_key(unit, name="first key", access="write", expires_on=None)
    _say_key(console, made, text, as_json=words.json)
    return 0


def key_create(words: Namespace, console: Console) -> int:
    """Create a key and show its secret, once."""
    with opened("key create") as session:
        organisation = session.organisation(words.organisation)
        with session.store.transaction(session.origin(organisation.id)) as unit:
            text = _made_key(unit, name=words.name, access=words.access, expires_on=words.expires_on)
    _say_key(console, organisation, text, as_json=words.json)
    return 0


def key_list(words: Namespace, console: Console) -> int:
    """List the keys, without their secrets."""
    with opened("key list") as session:
        organisation = session.organisation(words.organisation)
        with session.store.snapshot(session.origin(organisation.id)) as unit:
            keys = unit.all(ApiKey, KEYS)
    rows = [
        {
            "public_id": one.public_id,
            "name": one.name,
            "access": one.access,
            "expires_on": one.expires_on,
            "ended_on": one.ended_on,
        }
        for one in keys
    ]
    if words.json:
        say_json(rows)
        return 0
    for row in rows:
        ending = f"revoked {row['ended_on']}" if row["ended_on"] else f"expires {row['expires_on'] or 'never'}"
        console.print(f"{row['public_id']}  {row['access']:<5}  {ending}  {row['name']}", markup=False)
    return 0


def key_revoke(words: Namespace, console: Console) -> int:
    """Revoke a key; it is refused from the next request on."""
    with opened("key revoke") as session:
        organisation = session.organisation(words.organisation)
        with session.store.transaction(session.origin(organisation.id)) as unit:
            found = next((one for one in unit.all(ApiKey, KEYS) if one.public_id == words.public_id), None)
            if found is None:
                raise Trouble(f"There is no key {words.public_id!r}. List them with: reedbed key list")
            ended(unit, found, Ending(reason=words.reason), today=session.now.date())
    console.print(f"{words.public_id} is revoked", markup=False)
    return 0


def _made_key(unit: Unit, *, name: str, access: str, expires_on: str | None) -> str:
    stated = read_stated(ApiKeyStated, json_text({"name": name, "access": access, "expires_on": expires_on}))
    public_id, secret = new_key_parts()
    create_key(unit, stated, public_id=public_id, secret=secret)
    return key_text(public_id, secret)


def _say_key(console: Console, organisation: Organisation, text: str, *, as_json: bool) -> None:
    if as_json:
        say_json({"organisation_id": organisation.id, "organisation": organisation.name, "key": text})
        return
    console.print(f"organisation {organisation.name} ({organisation.id})", markup=False)
    console.print(f"key {text}", markup=False, soft_wrap=True)
    console.print("Keep the key now: it is not stored and cannot be shown again.")
