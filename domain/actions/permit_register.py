"""The permits of a site, or of the whole organisation, with all that is said of each, and the animals that they leave uncovered."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from domain.actions.compliance import Collection, InUse, uses_of
from domain.actions.permits import NAMES_OF_TAXA, NO_TAXON, PERMITS
from domain.records.animals import Animal
from domain.records.base import table_of
from domain.records.documents import Attachment, Document
from domain.records.permits import Permit, PermitAnimal, PermitCondition
from domain.records.sites import Site
from domain.records.statements import Statement
from domain.records.unit import Unit
from domain.rules import permits as rules
from domain.rules.compliance import IN_ORDER, Coverage, Standing, Standings
from domain.rules.law.requirements import Activity
from domain.rules.permits import DocumentKind, End, PermitStanding, end_of, standing_of

_permit, _animals, _animal, _condition, _attached, _document = (
    table_of(one) for one in (Permit, PermitAnimal, Animal, PermitCondition, Attachment, Document)
)
_organisation_id: sa.BindParameter[Any] = sa.bindparam("organisation_id")


def _same(table: sa.Table, other: sa.Table, column: str) -> sa.ColumnElement[bool]:
    return sa.and_(other.c.organisation_id == table.c.organisation_id, other.c.id == table.c[column])


TAGS_OF_PERMITS = Statement(
    sa.select(_animals.c.permit_id, _animal.c.tag)
    .join(_animal, _same(_animals, _animal, "animal_id"))
    .where(_animals.c.organisation_id == _organisation_id, _animals.c.ended_on.is_(None))
    .order_by(_animal.c.tag, _animal.c.id)
)
CONDITIONS_OF_PERMITS = Statement(
    sa.select(_condition)
    .where(_condition.c.organisation_id == _organisation_id, _condition.c.ended_on.is_(None))
    .order_by(_condition.c.due_on, _condition.c.id)
)
SCANS_OF_PERMITS = Statement(
    sa.select(
        _attached.c.subject_id.label("permit_id"),
        _document.c.id,
        _document.c.title,
        _attached.c.role,
        _document.c.dated_on,
        _document.c.reference,
        _document.c.media_type,
        _document.c.sha256,
        _document.c.site_id,
    )
    .join(_document, _same(_attached, _document, "document_id"))
    .where(
        _attached.c.organisation_id == _organisation_id,
        _attached.c.subject == sa.literal(Permit.noun, type_=sa.String()),
        _attached.c.ended_on.is_(None),
        _document.c.ended_on.is_(None),
    )
    .order_by(_document.c.dated_on, _document.c.id)
)
"""The documents that are attached to permits, each with the digest of its file."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """A permit as it stands on a day.

    ``taxa`` are accepted names, their ranks and numbers; ``tags`` are those of the animals that it names; one that ``is_for_none`` lists
    nothing, or had animals that were all taken off it. ``taken`` is how many animals
    stand against it, ``left`` how many more it allows; neither is known of one that is not good on the day. ``replaced_by`` is the number
    of the permit that renews it, left out where that is at another site; ``follows_on`` says that it is good on the day. ``is_shared`` says
    that it is the whole organisation's in the register of a site: then only its animals at the site are counted, and its scope, conditions
    and scans are left out.
    """

    permit: Permit
    kind: DocumentKind | None
    end: End | None
    standing: PermitStanding
    renew_by: date | None = None
    taken: int | None = None
    left: int | None = None
    expected: int = 0
    taxa: Sequence[tuple[str, str, int | None]] = ()
    tags: Sequence[str] = ()
    is_for_none: bool = False
    conditions: Sequence[PermitCondition] = ()
    scans: Sequence[Mapping[str, Any]] = ()
    is_replaced: bool = False
    replaced_by: str | None = None
    follows_on: bool = False
    is_shared: bool = False

    @property
    def good_until(self) -> date | None:
        """Its last day, ``None`` where it has none yet or its kind is not known."""
        return None if self.end is None else self.end.on


@dataclass(frozen=True, slots=True, kw_only=True)
class PermitRegister:
    """The permits by their last day, and how the animals stand that are at the site, or anywhere, on the day.

    ``open`` are those whose keeping is not in order, the worst first; ``coverages`` are all.
    """

    on: date
    permits: Sequence[Held]
    coverages: Sequence[Coverage]
    open: Sequence[Coverage]
    kinds: Mapping[str, DocumentKind]


_WORST_FIRST = (Standing.PROHIBITED, Standing.UNCOVERED, Standing.CANNOT_DECIDE)


def permit_register(unit: Unit, site: Site | None, *, on: date) -> PermitRegister:
    """Return the register of a site, or of the whole organisation, as of a day, by what is on record now."""
    collection = Collection(unit, from_on=on, until_on=on)
    return register_of(unit, site, collection, collection.standings(on, activity=Activity.HOLD))


def register_of(unit: Unit, site: Site | None, collection: Collection, found: Standings) -> PermitRegister:
    """Return the register by what was found of all animals on a day."""
    there = [one for one in found.coverages if site is None or one.subject.site_id == site.id]
    permits = _Shelf(unit, collection, found).held(site, there)
    worst = sorted((one for one in there if one.standing not in IN_ORDER), key=_urgency)
    return PermitRegister(on=found.on, permits=permits, coverages=there, open=worst, kinds=collection.law.kinds)


def not_in_order(one: Coverage) -> int:
    """Return how many animals of a record are not in order: those without a document that they need, or all for any other reason."""
    only_documents = one.standing is Standing.UNCOVERED and not one.needs_mark
    return one.uncovered if only_documents else 0 if one.standing in IN_ORDER else one.subject.number


def _urgency(one: Coverage) -> tuple[int, str, UUID]:
    return (_WORST_FIRST.index(one.standing), one.subject.tag, one.subject.id)


class _Shelf:
    """All permits with what is said of each, and what they are used for on a day."""

    def __init__(self, unit: Unit, collection: Collection, found: Standings) -> None:
        self.on = found.on
        self.kinds, self.working = collection.law.kinds, collection.in_force.working
        self.permits = unit.all(Permit, PERMITS)
        self.ruled: Mapping[UUID, rules.Permit] = {one.id: one for one in collection.in_force.permits}
        self.uses: Mapping[UUID, InUse] = {one.permit.id: one for one in uses_of(unit, collection, found)}
        self.followers = {one.replaces_id: one for one in self.permits if one.replaces_id is not None}
        self.taxa: defaultdict[UUID, list[tuple[str, str, int | None]]] = defaultdict(list)
        for permit_id, name, rank, number in unit.rows(NAMES_OF_TAXA):
            self.taxa[permit_id].append((name, rank.value, number))
        self.tags: defaultdict[UUID, list[str]] = defaultdict(list)
        for permit_id, tag in unit.rows(TAGS_OF_PERMITS):
            self.tags[permit_id].append(tag)
        self.conditions: defaultdict[UUID, list[PermitCondition]] = defaultdict(list)
        for one in unit.all(PermitCondition, CONDITIONS_OF_PERMITS):
            self.conditions[one.permit_id].append(one)
        self.scans: defaultdict[UUID, list[Mapping[str, Any]]] = defaultdict(list)
        for row in unit.named(SCANS_OF_PERMITS):
            self.scans[row["permit_id"]].append(row)

    def held(self, site: Site | None, there: Iterable[Coverage]) -> Sequence[Held]:
        """Return the permits of a site, or all, by their last day. Those of the whole organisation are in a site's if it uses them."""
        used: defaultdict[UUID, int] = defaultdict(int)
        for share in (share for one in there for answer in one.answers for share in answer.shares):
            used[share.permit_id] += share.number
        chosen = (
            self._whole(one, site) if site is None or one.site_id == site.id else self._shared(one, site, taken=used[one.id])
            for one in self.permits
            if site is None or one.site_id == site.id or (one.site_id is None and one.id in used)
        )
        return sorted(chosen, key=lambda one: (one.good_until or date.max, one.permit.number, one.permit.id))

    def _whole(self, permit: Permit, site: Site | None) -> Held:
        use = self.uses.get(permit.id)
        return Held(
            **self._validity(permit, site),
            renew_by=None if use is None else use.renew_by,
            taken=None if use is None else use.taken,
            left=None if use is None else use.left,
            expected=0 if use is None else use.expected,
            taxa=self.taxa[permit.id],
            tags=self.tags[permit.id],
            is_for_none=self.ruled[permit.id].taxa == NO_TAXON,
            conditions=self.conditions[permit.id],
            scans=[row for row in self.scans[permit.id] if site is None or row["site_id"] == site.id],
        )

    def _shared(self, permit: Permit, site: Site, *, taken: int) -> Held:
        return Held(**self._validity(permit, site), taken=taken, is_shared=True)

    def _validity(self, permit: Permit, site: Site | None) -> dict[str, Any]:
        kind, follower = self.kinds.get(permit.kind), self.followers.get(permit.id)
        end = None if kind is None else end_of(self.ruled[permit.id], kind, working=self.working[kind.jurisdiction])
        is_told = follower is not None and (site is None or follower.site_id == site.id)
        return {
            "permit": permit,
            "kind": kind,
            "end": end,
            "standing": self._standing(permit),
            "replaced_by": follower.number if follower is not None and is_told else None,
            "is_replaced": follower is not None,
            "follows_on": follower is not None and self._is_good(follower),
        }

    def _is_good(self, permit: Permit) -> bool:
        return self._standing(permit) in (PermitStanding.GOOD, PermitStanding.ENDING)

    def _standing(self, permit: Permit) -> PermitStanding:
        kind = self.kinds.get(permit.kind)
        working = None if kind is None else self.working[kind.jurisdiction]
        return standing_of(self.ruled[permit.id], kind, on=self.on, working=working)
