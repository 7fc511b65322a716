"""``reedbed migrate``, ``organisation create`` and the keys."""

from __future__ import annotations

import re
from argparse import Namespace
from collections.abc import Mapping
from datetime import date, datetime
from functools import partial
from uuid import UUID

import sqlalchemy as sa
from dateutil.relativedelta import relativedelta
from rich.console import Console
from rich.table import Table
from rich.text import Text

import migrations
from api.commands import databases
from api.commands.accounts import made_account, say_code
from api.commands.session import Session, opened, read_settings, say_json
from api.commands.trouble import Trouble
from api.nightly import SITES
from api.signin import key_text, new_key_parts
from domain.actions.animals import begin_lives
from domain.actions.organisations import KEY_USES, create_key, create_organisation, end_key, next_organisation_id, rotate_key
from domain.actions.recording import Ending
from domain.actions.staff import register_staff
from domain.records.base import table_of
from domain.records.engine import run_unit
from domain.records.organisations import Access, ApiKey, ApiKeyStated, Organisation, OrganisationStated
from domain.records.sites import Site
from domain.records.staff import StaffStated
from domain.records.stated import read_stated
from domain.records.statements import Statement, json_text
from domain.records.unit import Unit
from domain.rules.permissions import Role
from domain.rules.text import same_name

AT_ONCE = 500
"""Animals in one transaction, so that a long collection holds nobody up."""
_key_text = re.compile(r"rbk_([A-Za-z0-9]{1,24})_.+")
_key = table_of(ApiKey)
KEYS = Statement(sa.select(_key).where(_key.c.organisation_id == sa.bindparam("organisation_id")).order_by(_key.c.id))


def migrate(words: Namespace, console: Console) -> int:
    """Bring the schema to its head, or only say whether it is there."""
    settings = read_settings()
    url = settings.owner_database_url or settings.database_url
    if words.check:
        found = databases.revision(url)
        console.print(f"schema {found or 'none'}, newest {migrations.head()}")
        return 0 if found == migrations.head() else 1
    databases.upgrade(url)
    console.print(f"schema {migrations.head()}")
    with opened("migrate") as session:
        for one in session.organisations():
            begun = _begin_lives(session, one)
            if begun:
                console.print(
                    f"{one.name}: {begun} animals have the first event of their lives on record now.", markup=False, soft_wrap=True
                )
    return 0


def _begin_lives(session: Session, organisation: Organisation) -> int:
    """Begin the lives of animals that were registered before lives were kept, some at a time, and return how many."""
    whole = 0
    while begun := run_unit(session.store, partial(begin_lives, at_most=AT_ONCE), origin=session.origin(organisation.id)):
        whole += begun
    return whole


def organisation_create(words: Namespace, console: Console) -> int:
    """Create an organisation with its first administrator, or, where none is named, its first key. Nothing else can sign in."""
    if (words.administrator is None) is not (words.sign_in_name is None):
        raise Trouble("An administrator needs both: --administrator NAME and --sign-in-name NAME")
    stated = read_stated(OrganisationStated, json_text({"name": words.name, "base_currency": words.currency}))
    with opened("organisation create") as session:
        number = next_organisation_id(session.store, server_number=session.settings.server_number)
        with session.store.transaction(session.origin(number)) as unit:
            _refuse_taken(stated.name, session.organisations())
            made = create_organisation(unit, stated)
            code = _made_administrator(unit, words) if words.administrator else None
            text = _made_key(unit, ApiKeyStated(name="first key", access=Access.WRITE)) if code is None else None
    told = {} if code is None else {"sign_in_name": words.sign_in_name, "code": code}
    _say_key(console, made, text, as_json=words.json, **told)
    if code is not None and not words.json:
        console.print(f"administrator {words.administrator} signs in as {words.sign_in_name}", markup=False, soft_wrap=True)
        say_code(console, made, code)
    return 0


def key_create(words: Namespace, console: Console) -> int:
    """Create a key and show its secret, once."""
    said = {"name": words.name, "access": words.access, "expires_on": words.expires_on, "scopes": words.scope or None}
    stated = read_stated(ApiKeyStated, json_text(said))
    with opened("key create") as session:
        _refuse_past(stated.expires_on, today=session.now.date())
        organisation = session.organisation(words.organisation)
        with session.store.transaction(session.origin(organisation.id)) as unit:
            stated.site_ids = [_site_meant(unit, word).id for word in words.site] or None
            text = _made_key(unit, stated)
    _say_key(console, organisation, text, as_json=words.json)
    return 0


def key_list(words: Namespace, console: Console) -> int:
    """List the keys, without their secrets."""
    with opened("key list") as session:
        organisation = session.organisation(words.organisation)
        with session.store.snapshot(session.origin(organisation.id)) as unit:
            keys = unit.all(ApiKey, KEYS)
            uses: dict[UUID, datetime] = dict(unit.rows(KEY_USES))
    rows = [
        {
            "public_id": one.public_id,
            "name": one.name,
            "access": one.access,
            "scopes": one.scopes,
            "site_ids": one.site_ids,
            "last_used_at": uses.get(one.id),
            "expires_on": one.expires_on,
            "ended_on": one.ended_on,
        }
        for one in keys
    ]
    if words.json:
        say_json(rows)
        return 0
    console.print(_key_table(keys, uses))
    return 0


def key_revoke(words: Namespace, console: Console) -> int:
    """Revoke a key; it is refused from the next request on."""
    with opened("key revoke") as session:
        organisation = session.organisation(words.organisation)
        with session.store.transaction(session.origin(organisation.id)) as unit:
            found = _key_meant(unit, words.key)
            end_key(unit, found.id, Ending(reason=words.reason))
    console.print(f"{found.public_id} is revoked", markup=False)
    return 0


def key_rotate(words: Namespace, console: Console) -> int:
    """Make the successor of a key and show its secret, once. It lasts a year where the old one had a last day."""
    public_id, secret = new_key_parts()
    with opened("key rotate") as session:
        organisation, today = session.organisation(words.organisation), session.now.date()
        with session.store.transaction(session.origin(organisation.id)) as unit:
            found = _key_meant(unit, words.key)
            last_day = None if found.expires_on is None else today + relativedelta(years=1)
            rotate_key(unit, found.id, public_id=public_id, secret=secret, overlap_days=words.overlap_days, expires_on=last_day)
    _say_key(console, organisation, key_text(public_id, secret), as_json=words.json)
    return 0


def _refuse_taken(name: str, there: list[Organisation]) -> None:
    taken = next((one for one in there if same_name(one.name) == same_name(name)), None)
    if taken is not None:
        raise Trouble(f"There is an organisation {taken.name!r} ({taken.id}) here already")


def _refuse_past(expires_on: date | None, *, today: date) -> None:
    if expires_on is not None and expires_on < today:
        raise Trouble(f"A key whose last day was {expires_on.isoformat()} would never be good: it is {today.isoformat()} [UTC]")


def _key_meant(unit: Unit, word: str) -> ApiKey:
    """Return the key that its public id, or the whole of its text, names. What was typed is not repeated: it may be a secret."""
    whole = _key_text.fullmatch(word)
    public_id = whole[1] if whole else word
    found = next((one for one in unit.all(ApiKey, KEYS) if one.public_id == public_id), None)
    if found is None:
        raise Trouble("There is no such key. List them with: reedbed key list")
    return found


def _site_meant(unit: Unit, word: str) -> Site:
    every = unit.all(Site, SITES)
    found = next((one for one in every if str(one.id) == word.lower() or same_name(one.name) == same_name(word)), None)
    if found is None:
        raise Trouble(f"There is no site {word!r}; the sites are: {', '.join(one.name for one in every) or 'none'}.")
    return found


def _key_table(keys: list[ApiKey], uses: Mapping[UUID, datetime]) -> Table:
    table = Table(box=None, pad_edge=False, header_style="dim")
    for heading in ("public id", "access", "ends", "last used", "name"):
        table.add_column(heading, overflow="fold", no_wrap=heading != "name")
    for one in keys:
        ends = f"revoked {one.ended_on}" if one.ended_on else str(one.expires_on or "never")
        used = f"{uses[one.id]:%Y-%m-%d}" if one.id in uses else "never"
        table.add_row(*(Text(cell) for cell in (one.public_id, ",".join(one.scopes or (one.access.value,)), ends, used, one.name)))
    return table


def _made_key(unit: Unit, stated: ApiKeyStated) -> str:
    public_id, secret = new_key_parts()
    create_key(unit, stated, public_id=public_id, secret=secret)
    return key_text(public_id, secret)


def _made_administrator(unit: Unit, words: Namespace) -> str:
    said = {"name": words.administrator, "role": Role.ADMINISTRATOR}
    return made_account(unit, register_staff(unit, read_stated(StaffStated, json_text(said))), sign_in_name=words.sign_in_name)


def _say_key(console: Console, organisation: Organisation, text: str | None, *, as_json: bool, **told: str) -> None:
    if as_json:
        about = {"organisation_id": organisation.id, "organisation": organisation.name, "base_currency": organisation.base_currency}
        say_json({**about, **({"key": text} if text else {}), **told})
        return
    console.print(
        f"organisation {organisation.name} ({organisation.id}), costs in {organisation.base_currency}", markup=False, soft_wrap=True
    )
    if text:
        console.print(f"key {text}", markup=False, soft_wrap=True)
        console.print("Keep the key now: it is not stored and cannot be shown again.")
