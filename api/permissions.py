"""The permission matrix of the service: read from its file, asked for each call, and complete before the service starts."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from api.signin import WRITING, Caller
from domain.errors import Fault, NotAllowed
from domain.rules.permissions import Matrix, Reach, matrix_of

FILE = Path(__file__).with_name("permissions.toml")


@dataclass(frozen=True, slots=True)
class Permissions:
    """The matrix, the doors for which nobody has to sign in (by method and path), and the fields of the bodies that actions take."""

    matrix: Matrix
    public: frozenset[str]
    bodies: Mapping[str, Sequence[str]] = field(default_factory=dict)


class Undeclared(Exception):  # noqa: N818 - a defect of ours, never a refusal
    """A door does not say which action it is for, or says one that the matrix does not have; the service does not start."""


@cache
def permissions() -> Permissions:
    """Return what the file says."""
    data = tomllib.loads(FILE.read_text(encoding="utf-8"))
    public = frozenset(data.pop("public"))
    return Permissions(matrix_of(data), public)


def permitted(matrix: Matrix, caller: Caller, action: str) -> Reach:
    """Return where a caller may do an action.

    Raises:
        NotAllowed: Nowhere; the sentence says what is missing.
    """
    reach = matrix.reach_for(caller.powers, caller.for_powers, action)
    if reach is None:
        raise _missing(matrix, caller, action)
    return reach


def permitted_fields(matrix: Matrix, caller: Caller, action: str, body: Mapping[str, Any], *, reach: Reach) -> Reach:
    """Return where a caller may do an action that writes what a body names, within the reach of the action.

    Raises:
        NotAllowed: One of the fields may be written nowhere; each such field is named, and nothing is changed.
    """
    denied: list[str] = []
    for name, value in body.items():
        found = field_reach(matrix, caller, action, name, value)
        narrowed = None if found is None else reach.within(found)
        if narrowed is None or narrowed.site_ids == frozenset():
            denied.append(name)
        else:
            reach = narrowed
    if denied:
        faults = tuple(Fault(f"/{name}", "field-not-allowed", "You may not write this.") for name in denied)
        raise NotAllowed(f"You may do this, but not write {', '.join(denied)}.", code="field-not-allowed", faults=faults)
    return reach


def closed_fields(known: Permissions, caller: Caller, action: str) -> list[dict[str, Any]]:
    """Return the fields that a caller may write nowhere with an action, and those that some values are closed for, with these."""
    return list(_closed(known, caller, action))


def _closed(known: Permissions, caller: Caller, action: str) -> Iterator[dict[str, Any]]:
    matrix = known.matrix
    for name in known.bodies.get(action, ()):
        if field_reach(matrix, caller, action, name, None) is None:
            yield {"field": name, "values": []}
            continue
        about = {value for rule in matrix.fields[action] for value in rule.values if rule.binds(name, value)}
        closed = sorted(value for value in about if field_reach(matrix, caller, action, name, value) is None)
        if closed:
            yield {"field": name, "values": closed}


def field_reach(matrix: Matrix, caller: Caller, action: str, name: str, value: object) -> Reach | None:
    """Return where a caller may write a field with an action that is allowed, ``None`` where nowhere."""
    own = matrix.field_reach(caller.powers, action, name, value)
    if own is None or caller.for_powers is None:
        return own
    others = matrix.field_reach(caller.for_powers, action, name, value)
    return None if others is None else own.within(others)


def _missing(matrix: Matrix, caller: Caller, action: str) -> NotAllowed:
    row, scopes = matrix.actions[action], caller.powers.scopes
    if scopes is None:
        return NotAllowed(f"Your roles do not allow this: {action}.")
    if row.people_only:
        return NotAllowed(f"Only a person may do this, and no key: {action}.", code="people-only")
    if row.scope in WRITING and not WRITING & scopes:
        return NotAllowed("This key may read but not change anything.", code="key-reads-only")
    if row.scope is not None and row.scope not in scopes:
        return NotAllowed(f"This key is not for this: {action} needs the scope {row.scope}.")
    return NotAllowed(f"The roles of whom this is done for do not allow it: {action}.")


def refuse_undeclared(declared: Iterable[tuple[str, str | None]], known: Permissions) -> None:
    """Refuse doors, each given as its method and path and its action, that the matrix cannot judge.

    Raises:
        Undeclared: One has no action and is not public, or is public and has one; its action is not in the matrix, or stands there as being
            without a door; or its action needs a second person, and its path names no record.
    """
    for door, action in declared:
        if (action is None) is not (door in known.public):
            raise Undeclared(f"{door} should have an action or be public, one of them")
        if action is None:
            continue
        row = known.matrix.actions.get(action)
        if row is None:
            raise Undeclared(f"{door} is for {action}, which the matrix does not have")
        if row.command or row.coming:
            raise Undeclared(f"{door} is for {action}, which has no door by what the matrix says")
        if row.two_person is not None and "{" not in door:
            raise Undeclared(f"{door} needs a second person for a record, and its path names none")
