"""Programs' keys: made, listed, rotated, ended. Whoever makes one gives away no more than they may do themselves."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from functools import partial
from typing import Any

from dateutil.relativedelta import relativedelta

from api.answers import encode, etag, shown_record, shown_row, told_once
from api.bodies import keys as bodies
from api.context import Call, read, stated_in, unchanged, write
from api.doors import Door
from api.errors import Answer
from api.nouns import IDEMPOTENCY_KEY, IF_NONE_MATCH, id_parameter
from api.pages import Listing
from api.signin import SCOPES_OF, Caller, key_text, new_key_parts
from domain.actions.organisations import LAST_USE, MadeKey, create_key, end_key, rotate_key
from domain.actions.recording import Ending
from domain.errors import NotAllowed, NotFound, RuleBroken
from domain.records.belonging import beyond_reach, covers_every
from domain.records.lists import one
from domain.records.organisations import Access, ApiKey, ApiKeyStated
from domain.records.statements import instant_text
from domain.records.unit import Unit
from domain.rules.permissions import Powers, Role, Scope

PATH = "/v1/keys"
ONE = f"{PATH}/{{key_id}}"
KEY = id_parameter("key_id")
LONGEST_LIFE = relativedelta(years=1)
_LISTING = Listing(ApiKey)


async def get_key(call: Call) -> Answer:
    """Answer with one key, without its secret."""
    rows = await read(call, one(ApiKey), id=call.ids[0])
    if not rows:
        raise NotFound("There is no such key.")
    compiled = one(ApiKey).on(call.house.store.dialect)
    facts, shown = dict(zip(compiled.keys, compiled.python_row(rows[0]), strict=True)), shown_row(compiled, rows[0])
    if not covers_every(call.reach, facts["site_ids"]):
        raise beyond_reach(ApiKey)
    tag = etag(facts["version"])
    return Answer(status=304, headers=[tag]) if unchanged(call, facts["version"]) else Answer(encode(shown), headers=[tag])


def register(call: Call) -> Answer:
    """Make a key and tell it."""
    said = stated_in(call, bodies.NewKey)
    stated = ApiKeyStated.model_construct(**{name: getattr(said, name) for name in ApiKeyStated.model_fields})
    stated.expires_on = _last_day(said.expires_on, today=call.now.date())
    _refuse_more(call.caller, scopes_of(stated))
    public_id, secret = new_key_parts()
    return write(call, lambda unit: _told(create_key(unit, stated, public_id=public_id, secret=secret, record_id=said.id)))


def rotate(call: Call) -> Answer:
    """Make the successor of a key and tell it."""
    said = stated_in(call, bodies.Rotation)
    public_id, secret = new_key_parts()
    rotated = partial(rotate_key, public_id=public_id, secret=secret, overlap_days=said.overlap_days)
    last_day = _last_day(None, today=call.now.date())

    def act(unit: Unit) -> Answer:
        _refuse_more(call.caller, scopes_of(unit.fetch_reached(ApiKey, call.ids[0])))
        return _told(rotated(unit, call.ids[0], expires_on=last_day))

    return write(call, act)


def end(call: Call) -> Answer:
    """End a key."""
    ending = stated_in(call, Ending)

    def act(unit: Unit) -> Answer:
        ended = end_key(unit, call.ids[0], ending)
        used = unit.row(LAST_USE, key_id=ended.id)
        last_used_at = instant_text(used[0]) if used else None
        return Answer(encode({**shown_record(ended), "last_used_at": last_used_at}), headers=[etag(ended.version)])

    return write(call, act)


def scopes_of(key: ApiKeyStated | ApiKey) -> frozenset[Scope]:
    """Return what a key is for, whether that is said one by one or by its access."""
    return SCOPES_OF[Access(key.access)] if key.scopes is None else frozenset(Scope(scope) for scope in key.scopes)


def _last_day(stated: date | None, *, today: date) -> date:
    """Return the last day of a key, a year from today where none is stated.

    Raises:
        RuleBroken: It is past, or later than that.
    """
    latest: date = today + LONGEST_LIFE
    if stated is None:
        return latest
    if stated < today:
        raise RuleBroken("A key with this last day would never be good.", code="past", field="expires_on")
    if stated > latest:
        raise RuleBroken(f"A key is good for one year at most, until {latest.isoformat()}.", code="too-late", field="expires_on")
    return stated


def _refuse_more(caller: Caller, scopes: Iterable[Scope]) -> None:
    """Refuse to give away what the caller, or the person whom the caller acts for, may not do.

    Raises:
        NotAllowed: Some of the scopes are neither's to give; they are named.
    """
    given = (caller.powers, *([caller.for_powers] if caller.for_powers else []))
    missing = sorted(scope for scope in scopes if not all(_may_give(powers, scope) for powers in given))
    if missing:
        raise NotAllowed(f"You may not make a key for more than you may do yourself: {', '.join(missing)}.", code="scope-not-yours")


def _may_give(powers: Powers, scope: Scope) -> bool:
    if powers.scopes is not None:
        return scope in powers.scopes
    return scope is not Scope.ADMINISTRATION or any(grant.role is Role.ADMINISTRATOR for grant in powers.grants)


def _told(made: MadeKey) -> Answer:
    place = (b"location", f"{PATH}/{made.key.id}".encode())
    shown: dict[str, Any] = {**shown_record(made.key), "last_used_at": None}
    text = key_text(made.key.public_id, made.secret)
    return told_once(shown, secret="key", text=text, status=201, headers=[etag(made.key.version), place])  # noqa: S106 - its name


DOORS = (
    Door(
        method="GET",
        path=PATH,
        action="list_keys",
        operation_id="list_keys",
        summary="List keys",
        tag="keys",
        subject="key",
        answers=bodies.KeyPage,
        reads=_LISTING.page,
        query=_LISTING.readers,
        parameters=_LISTING.parameters,
        headers=["Link"],
    ),
    Door(
        method="GET",
        path=ONE,
        action="get_key",
        operation_id="get_key",
        summary="Get key",
        tag="keys",
        subject="key",
        answers=bodies.Key,
        reads=get_key,
        parameters=[KEY, IF_NONE_MATCH],
        headers=["ETag"],
    ),
    Door(
        method="POST",
        path=PATH,
        action="register_key",
        operation_id="register_key",
        summary="Register key",
        tag="keys",
        subject="key",
        answers=bodies.MadeKey,
        status=201,
        writes=register,
        body=bodies.NewKey,
        parameters=[IDEMPOTENCY_KEY],
        headers=["ETag", "Location"],
    ),
    Door(
        method="POST",
        path=f"{ONE}/rotate",
        action="rotate_key",
        operation_id="rotate_key",
        summary="Make the successor of a key",
        tag="keys",
        subject="key",
        answers=bodies.MadeKey,
        status=201,
        writes=rotate,
        body=bodies.Rotation,
        parameters=[KEY, IDEMPOTENCY_KEY],
        headers=["ETag", "Location"],
    ),
    Door(
        method="POST",
        path=f"{ONE}/end",
        action="end_key",
        operation_id="end_key",
        summary="End key",
        tag="keys",
        subject="key",
        answers=bodies.Key,
        writes=end,
        body=Ending,
        parameters=[KEY, IDEMPOTENCY_KEY],
        headers=["ETag"],
    ),
)
