"""People who sign in: staff with accounts and passwords, hashed at next to no cost, and clocks that can be put forward."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from api.codes import new_code
from api.passwords import Costs, Passwords
from api.signin import key_text, new_key_parts
from domain.actions.accounts import register_account, register_grant, set_password
from domain.actions.organisations import create_key
from domain.actions.staff import register_staff
from domain.records.accounts import AccountStated, RoleGrantStated
from domain.records.engine import Store
from domain.records.organisations import ApiKeyStated
from domain.records.staff import StaffStated
from domain.records.stated import read_stated
from domain.records.statements import json_text
from domain.rules.permissions import Role
from tests import makers

CHEAP = Costs(memory_kib=8, passes=1, lanes=1)
PASSWORD = "otter drum lantern quay"


class CountingHasher:
    """A hasher that counts what it is asked."""

    def __init__(self, costs: Costs = CHEAP) -> None:
        self._hasher = costs.hasher()
        self.hashes = self.comparisons = 0

    def hash(self, password: bytes) -> str:
        self.hashes += 1
        return self._hasher.hash(password)

    def verify(self, hash: str, password: bytes) -> bool:  # noqa: A002 - the library's name
        self.comparisons += 1
        return self._hasher.verify(hash, password)

    def check_needs_rehash(self, hash: str) -> bool:  # noqa: A002 - the library's name
        return self._hasher.check_needs_rehash(hash)


class Clock:
    """A clock that stands until it is put forward."""

    def __init__(self) -> None:
        self.now = makers.NOON

    def __call__(self) -> datetime:
        return self.now

    def forward(self, **much: float) -> None:
        self.now += timedelta(**much)


@dataclass(frozen=True)
class Person:
    """A member of staff with an account."""

    staff_id: UUID
    account_id: UUID
    organisation_id: int
    sign_in_name: str
    code: str

    @property
    def who(self) -> dict[str, Any]:
        """What the person says when signing in, but for the password."""
        return {"organisation_id": self.organisation_id, "sign_in_name": self.sign_in_name}


def person(
    store: Store,
    sign_in_name: str = "mila",
    *,
    role: Role = Role.KEEPER,
    site_id: Any = None,
    password: str | None = PASSWORD,
    organisation_id: int = makers.ORGANISATION,
    grants: tuple[tuple[Role, Any], ...] = (),
) -> Person:
    """Put a member of staff with an account on record; without a password only the code is there."""
    text, code = new_code(makers.NOON)
    with store.transaction(makers.origin(organisation_id=organisation_id)) as unit:
        stated = StaffStated(name=f"{sign_in_name.title()} Reed", role=role, site_id=site_id and UUID(str(site_id)))
        staff = register_staff(unit, stated)
        account = register_account(unit, AccountStated(staff_id=staff.id, sign_in_name=sign_in_name), code=code)
        for granted, at in grants:
            register_grant(unit, RoleGrantStated(staff_id=staff.id, role=granted, site_id=at and UUID(str(at))))
        if password is not None:
            set_password(unit, account.id, password_hash=Passwords(CHEAP).hashed(password))
    return Person(staff.id, account.id, organisation_id, sign_in_name, text)


def key(store: Store, *, organisation_id: int = makers.ORGANISATION, **stated: Any) -> str:
    """Make a key with the facts stated, as its holder gets it."""
    public_id, secret = new_key_parts()
    facts = read_stated(ApiKeyStated, json_text({"name": "front end", **stated}))
    with store.transaction(makers.origin(organisation_id=organisation_id)) as unit:
        create_key(unit, facts, public_id=public_id, secret=secret)
    return key_text(public_id, secret)


def sign_in(client: Any, who: Person, password: str = PASSWORD, **headers: str) -> Any:
    """Return the answer to an attempt to sign in."""
    return client.post("/v1/sessions", {**who.who, "password": password}, **headers)


def signed_in(caller: Any, who: Person, password: str = PASSWORD) -> Any:
    """Return a caller with a new session of a person."""
    answer = sign_in(caller(None), who, password)
    assert answer.status_code == 201, answer.text
    return caller(answer.json()["token"])
