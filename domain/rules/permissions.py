"""Who may do what, and where: roles, grants, scopes, the matrix of them, and the reach of an act that comes of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from uuid import UUID


class Role(StrEnum):
    """What a person answers for."""

    VIEWER = "viewer"
    KEEPER = "keeper"
    TECHNICIAN = "technician"
    VETERINARIAN = "veterinarian"
    CURATOR = "curator"
    REGISTRAR = "registrar"
    AUDITOR = "auditor"
    ADMINISTRATOR = "administrator"


class Scope(StrEnum):
    """What a key is for. Every action belongs to exactly one scope, but those that whoever signed in may do: they are of none."""

    RECORDS_READ = "records.read"
    RECORDS_WRITE = "records.write"
    REPORTS_READ = "reports.read"
    REPORTS_WRITE = "reports.write"
    IMPORTS_READ = "imports.read"
    IMPORTS_WRITE = "imports.write"
    ADMINISTRATION = "administration"


@dataclass(frozen=True, slots=True)
class Grant:
    """A role that a person has at one site, or, without a site, in the whole organisation."""

    role: Role
    site_id: UUID | None = None


@dataclass(frozen=True, slots=True)
class Powers:
    """What a caller brings: a person's grants, or a key's scopes and sites.

    Without ``scopes`` it is a person, and the grants decide; ``site_ids`` is ``None`` where a key is good for every site.
    """

    grants: tuple[Grant, ...] = ()
    scopes: frozenset[Scope] | None = None
    site_ids: frozenset[UUID] | None = None


@dataclass(frozen=True, slots=True)
class Reach:
    """Where an act may be done: at these sites, or, where they are ``None``, in the whole organisation."""

    site_ids: frozenset[UUID] | None

    def covers(self, site_id: UUID | None) -> bool:
        """Return whether it holds at a site; what is of no site is of the whole organisation."""
        return self.site_ids is None or site_id in self.site_ids

    def within(self, other: Reach) -> Reach:
        """Return where both hold."""
        if self.site_ids is None:
            return other
        return self if other.site_ids is None else Reach(self.site_ids & other.site_ids)


EVERYWHERE = Reach(None)


class Cell(StrEnum):
    """How far a role that was granted at a site reaches with an action: that site, or the whole organisation all the same."""

    OWN_SITE = "own_site"
    ORGANISATION = "organisation"


class Condition(StrEnum):
    """What an action needs its record to be: not ended yet, or an approval that was asked for and not given yet."""

    KEPT = "kept"
    ASKED = "asked"


@dataclass(frozen=True, slots=True, kw_only=True)
class Action:
    """One row of the matrix: what it needs of a key, and of each role how far it reaches; a role that is not there has none of it.

    ``signed_in`` is for whoever signed in, whatever the roles and scopes; ``people_only`` is not for keys. ``two_person`` names the kind of
    record that a second person has to approve the action for. ``command`` has no door; the door of one that is ``coming`` is not built yet.
    Who reads by one that is ``logged`` is written down; with ``files_logged``, who takes a file away by it.
    """

    scope: Scope | None = None
    cells: Mapping[Role, Cell]
    signed_in: bool = False
    people_only: bool = False
    two_person: str | None = None
    states: frozenset[Condition] = frozenset()
    command: bool = False
    coming: bool = False
    logged: bool = False
    files_logged: bool = False

    @property
    def shared(self) -> bool:
        """Whether it only reads what a role at one site reads of the whole organisation; then so does a key that is bound to sites."""
        reads = self.scope is not None and self.scope.value.endswith(".read")
        return reads and Cell.ORGANISATION in self.cells.values()


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldRule:
    """Fields that only some roles may write with an action: the named ones or, where ``all_but``, all but the named ones.

    With ``values`` it is about these values alone. A key with the scope ``administration`` may write them in any case, another only where
    ``keys`` says so; if it is bound to sites, where a registrar may and ``site_keys`` says so.
    """

    fields: frozenset[str]
    roles: frozenset[Role]
    all_but: bool = False
    values: frozenset[str] = frozenset()
    keys: bool = True
    site_keys: bool = True

    def binds(self, field: str, value: object) -> bool:
        """Return whether it is about a value of a field."""
        if (field in self.fields) is self.all_but:
            return False
        return not self.values or (isinstance(value, str) and value in self.values)

    def opens_to(self, powers: Powers) -> bool:
        """Return whether a key may write what it is about."""
        if Scope.ADMINISTRATION in (powers.scopes or ()):
            return True
        return self.keys and (powers.site_ids is None or (self.site_keys and Role.REGISTRAR in self.roles))


@dataclass(frozen=True, slots=True)
class Matrix:
    """Who may do what: every action with its row, and the rules for single fields by action. What is not in it is not allowed."""

    actions: Mapping[str, Action]
    fields: Mapping[str, tuple[FieldRule, ...]]

    def reach(self, powers: Powers, action: str) -> Reach | None:
        """Return where a caller may do an action, ``None`` where nowhere.

        Raises:
            KeyError: There is no such action.
        """
        row = self.actions[action]
        if powers.scopes is None:
            return EVERYWHERE if row.signed_in else _reach_of(row, powers.grants)
        if row.people_only or not (row.signed_in or row.scope in powers.scopes):
            return None
        return EVERYWHERE if powers.site_ids is None or row.signed_in or row.shared else Reach(powers.site_ids)

    def reach_for(self, powers: Powers, other: Powers | None, action: str) -> Reach | None:
        """Return where a caller may do an action on behalf of another: where both may. Without another, where the caller may."""
        own = self.reach(powers, action)
        if own is None or other is None:
            return own
        others = self.reach(other, action)
        both = None if others is None else own.within(others)
        return None if both is None or both.site_ids == frozenset() else both

    def rules_fields(self, powers: Powers, action: str) -> bool:
        """Return whether a rule for fields can close anything to a caller; to a key for every site only one that is for no key can."""
        bound = powers.scopes is None or powers.site_ids is not None
        return any(bound or not rule.keys for rule in self.fields.get(action, ()))

    def field_reach(self, powers: Powers, action: str, field: str, value: object = None) -> Reach | None:
        """Return where a caller may write a field with an action that is allowed, ``None`` where nowhere."""
        reach: Reach = EVERYWHERE
        for rule in self.fields.get(action, ()):
            if not rule.binds(field, value):
                continue
            found = self._reach_of_rule(rule, powers, action)
            if found is None:
                return None
            reach = reach.within(found)
        return reach

    def _reach_of_rule(self, rule: FieldRule, powers: Powers, action: str) -> Reach | None:
        if powers.scopes is not None:
            return EVERYWHERE if rule.opens_to(powers) else None
        return _reach_of(self.actions[action], (grant for grant in powers.grants if grant.role in rule.roles))


def _reach_of(row: Action, grants: Iterable[Grant]) -> Reach | None:
    site_ids: set[UUID] = set()
    for grant in grants:
        cell = row.cells.get(grant.role)
        if cell is Cell.ORGANISATION or (cell is Cell.OWN_SITE and grant.site_id is None):
            return EVERYWHERE
        if cell is not None and grant.site_id is not None:
            site_ids.add(grant.site_id)
    return Reach(frozenset(site_ids)) if site_ids else None


def matrix_of(data: Mapping[str, object]) -> Matrix:
    """Return the matrix that plain data says: blocks of actions with like rights, gathered under the noun that they are about.

    Raises:
        ValueError: A word is unknown, an action stands there twice, belongs to no scope, or is ruled without a row.
    """
    actions: dict[str, Action] = {}
    fields: dict[str, list[FieldRule]] = {}
    blocks = list(_blocks(data))
    for block in (one for one in blocks if "actions" in one):
        row = _action(block)
        for name in _words(block, "actions"):
            if name in actions:
                raise ValueError(f"{name} stands in the matrix twice")
            actions[name] = row
    for block in (one for one in blocks if "of" in one):
        rule = _rule(block)
        for name in _words(block, "of"):
            if name not in actions:
                raise ValueError(f"a rule for fields is of the unknown action {name}")
            fields.setdefault(name, []).append(rule)
    return Matrix(actions, {name: tuple(rules) for name, rules in fields.items()})


_ROW_WORDS = frozenset(
    {"actions", "scope", *Cell, "signed_in", "people_only", "two_person", "states", "command", "coming", "logged", "files_logged"}
)
_RULE_WORDS = frozenset({"of", "fields", "all_but", "values", "roles", "keys", "site_keys"})


def _blocks(data: Mapping[str, object]) -> Iterable[Mapping[str, object]]:
    for noun, blocks in data.items():
        if not isinstance(blocks, list) or not all(isinstance(block, dict) for block in blocks):
            raise ValueError(f"{noun} should be blocks")
        for block in blocks:
            if ("actions" in block) is ("of" in block):
                raise ValueError(f"a block of {noun} should give actions, or rule fields of some")
            yield block


def _words(block: Mapping[str, object], name: str) -> tuple[str, ...]:
    found = block.get(name, ())
    if not isinstance(found, (list, tuple)) or not all(isinstance(word, str) for word in found):
        raise ValueError(f"{name} should be a list of words")
    return tuple(found)


def _action(block: Mapping[str, object]) -> Action:
    _refuse_unknown(block, _ROW_WORDS)
    cells: dict[Role, Cell] = {}
    for cell in Cell:
        for role in _words(block, cell):
            if cells.setdefault(Role(role), cell) is not cell:
                raise ValueError(f"{role} stands twice at {block['actions']}")
    signed_in, scope = bool(block.get("signed_in")), block.get("scope")
    if (scope is None) is not signed_in:
        raise ValueError(f"{block['actions']} should have either a scope or signed_in")
    two_person = block.get("two_person")
    if two_person is not None and not block.get("people_only"):
        raise ValueError(f"{block['actions']} needs two people, so it should be people_only: a key may be in anybody's hands")
    return Action(
        scope=None if scope is None else Scope(str(scope)),
        cells=cells,
        signed_in=signed_in,
        people_only=bool(block.get("people_only")),
        two_person=None if two_person is None else str(two_person),
        states=frozenset(Condition(word) for word in _words(block, "states")),
        command=bool(block.get("command")),
        coming=bool(block.get("coming")),
        logged=bool(block.get("logged")),
        files_logged=bool(block.get("files_logged")),
    )


def _rule(block: Mapping[str, object]) -> FieldRule:
    _refuse_unknown(block, _RULE_WORDS)
    all_but = "all_but" in block
    if all_but is ("fields" in block):
        raise ValueError(f"a rule for {block['of']} should name fields or all_but, one of them")
    return FieldRule(
        fields=frozenset(_words(block, "all_but" if all_but else "fields")),
        roles=frozenset(Role(word) for word in _words(block, "roles")),
        all_but=all_but,
        values=frozenset(_words(block, "values")),
        keys=bool(block.get("keys", True)),
        site_keys=bool(block.get("site_keys", True)),
    )


def _refuse_unknown(block: Mapping[str, object], known: frozenset[str]) -> None:
    unknown = sorted(set(block) - known)
    if unknown:
        raise ValueError(f"the matrix knows no {', '.join(unknown)}")
