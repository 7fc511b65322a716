"""Putting rule packs on record, and having the law of any day from there."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any, TypeVar
from uuid import UUID

import msgspec
import sqlalchemy as sa

from domain.actions.recording import recorded
from domain.errors import RuleBroken
from domain.records import jurisdictions as places
from domain.records import requirements as records
from domain.records.base import Record, Stated, table_of
from domain.records.statements import Statement
from domain.records.unit import Unit
from domain.rules.law.jurisdictions import WEEKDAYS, Jurisdiction, chain
from domain.rules.law.packs import OnRecord, RulePack, Version, faults_in
from domain.rules.law.requirements import Requirement
from domain.rules.law.spans import WorkingDays
from domain.rules.permits import DocumentKind

T = TypeVar("T", Requirement, DocumentKind)


def _kept(record: type[Record], *columns: str, order: tuple[str, ...]) -> Statement:
    table = table_of(record)
    chosen = sa.select(*(table.c[name] for name in columns or table.columns.keys()))
    own = (table.c.organisation_id == sa.bindparam("organisation_id"), table.c.ended_on.is_(None))
    return Statement(chosen.where(*own).order_by(*(table.c[name] for name in order)))


PACKS = _kept(records.RulePack, "id", "name", "edition", "digest", order=("id",))
JURISDICTIONS = _kept(places.Jurisdiction, order=("code",))
KINDS = _kept(records.DocumentKind, order=("code",))
REQUIREMENTS = _kept(records.Requirement, order=("code", "applies_from"))
_requirement = table_of(records.Requirement)
EDITIONS = Statement(
    sa.select(_requirement.c.id).where(
        _requirement.c.organisation_id == sa.bindparam("organisation_id"),
        _requirement.c.code == sa.bindparam("code"),
        _requirement.c.ended_on.is_(None),
    )
)
"""The versions of a requirement."""


@dataclass(frozen=True, slots=True)
class Loaded:
    """How many records a pack added and changed, by kind; none, where the very same pack was there already."""

    added: Mapping[str, int]
    changed: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class Law:
    """The law on record, in all versions, from which that of any day is told.

    ``requirements`` come in the order of their codes and days; ``kinds`` and ``jurisdictions`` are found by their codes.
    """

    requirements: Sequence[Requirement]
    kinds: Mapping[str, DocumentKind]
    jurisdictions: Mapping[str, Jurisdiction]

    def chain(self, code: str) -> tuple[str, ...]:
        """Return the codes of all jurisdictions that apply in one, from it up; see ``rules.law.jurisdictions.chain``."""
        return chain(self.jurisdictions, code)

    def working_days(self, code: str) -> WorkingDays:
        """Return when offices work in a jurisdiction, or in the nearest above it that is on record; without one from Monday to Friday."""
        found = next((self.jurisdictions[one] for one in self.chain(code) if one in self.jurisdictions), None)
        return WorkingDays() if found is None else found.working_days


def law_as_of(unit: Unit) -> Law:
    """Return the law as it is on record now, by one statement for each kind of record.

    It holds every version that ever applied, as versions are added, and given a last day, and not changed otherwise.
    """
    said = known_law(unit)
    return Law(list(said.requirements.values()), said.kinds, said.jurisdictions)


def known_law(unit: Unit) -> OnRecord:
    """Return what is on record, as a pack is compared with it."""
    return _Shelf(unit).said()


def refuse_unknown_requirement(unit: Unit, code: str | None, *, field: str = "requirement_code", kept: str | None = None) -> None:
    """Refuse the code of a requirement that no rule pack has. One that the field has ``kept`` is not asked for again.

    Raises:
        RuleBroken: There is none; the field is named.
    """
    if code is not None and code != kept and unit.row(EDITIONS, code=code) is None:
        raise RuleBroken("No rule pack on record has this requirement.", code="requirement-unknown", field=field)


def requirement_of(unit: Unit, record: records.Requirement) -> Requirement:
    """Return what a record of a requirement says."""
    return _said(record, Requirement, version=record.edition, pack=unit.fetch(records.RulePack, record.pack_id).name)


def packs_behind(unit: Unit, *, jurisdictions: Collection[str], kinds: Collection[str]) -> Sequence[records.RulePack]:
    """Return the rule packs on record that state the law in some jurisdictions or what some kinds of documents are, by name and edition.

    The law in a jurisdiction is that of those above it as well. Of a pack only its name, edition and digest are read.
    """
    shelf = _Shelf(unit)
    known = {code: _jurisdiction(one) for code, one in shelf.jurisdictions.items()}
    places = {one for code in jurisdictions for one in chain(known, code)}
    stating = {
        *(one.pack_id for one in shelf.jurisdictions.values() if one.code in places),
        *(one.pack_id for one in shelf.requirements.values() if one.jurisdiction in places),
        *(one.pack_id for one in shelf.kinds.values() if one.jurisdiction in places or one.code in kinds),
    }
    return sorted((shelf.packs[pack_id] for pack_id in stating), key=lambda one: (one.name, one.edition))


def load_pack(unit: Unit, pack: RulePack) -> Loaded:
    """Put a rule pack on record, and return what that changed. The very same pack again changes nothing.

    A later pack of the name adds versions of requirements, says the last day of those that had none, and corrects jurisdictions and kinds
    of documents; what answers about past days rest on only where it says why. What it leaves out stays as it is.

    Raises:
        RuleBroken: It contradicts itself or what is on record; the pointers lead into its TOML. A version that is on record is not changed:
            state a new version.
    """
    shelf = _Shelf(unit)
    known = shelf.said()
    if known.holds(pack):
        return Loaded({}, {})
    faults = faults_in(pack, known, today=unit.origin.at.date())
    if faults:
        raise RuleBroken(f"The pack {pack.name} {pack.version} cannot be taken.", code="pack-unfit", faults=tuple(faults))
    made = recorded(unit, records.RulePack, _pack_stated(pack), record_id=None)
    added, changed = Counter({made.noun: 1}), Counter[str]()
    # Last days come before new versions: in between, the database refuses two versions on one day as well.
    for found, record, stated in sorted(_compared(pack, shelf), key=lambda each: each[0] is None):
        if found is None:
            recorded(unit, record, stated, record_id=None, pack_id=made.id)
            added[record.noun] += 1
        elif differing := _differing(stated, found):
            unit.change(found, {**differing, "pack_id": made.id}, action=f"change_{record.noun}")
            changed[record.noun] += 1
    return Loaded(dict(added), dict(changed))


class _Shelf:
    """What is on record, by code, as records and as what they say."""

    def __init__(self, unit: Unit) -> None:
        self.packs: Mapping[UUID, records.RulePack] = {one.id: one for one in unit.all(records.RulePack, PACKS)}
        self.jurisdictions = {one.code: one for one in unit.all(places.Jurisdiction, JURISDICTIONS)}
        self.kinds = {one.code: one for one in unit.all(records.DocumentKind, KINDS)}
        self.requirements: Mapping[Version, records.Requirement] = {
            (one.code, one.edition): one for one in unit.all(records.Requirement, REQUIREMENTS)
        }

    def said(self) -> OnRecord:
        """Return what the records say."""
        names = {pack_id: one.name for pack_id, one in self.packs.items()}
        return OnRecord(
            digests={(one.name, one.edition): one.digest for one in self.packs.values()},
            jurisdictions={code: _jurisdiction(one) for code, one in self.jurisdictions.items()},
            kinds={code: _said(one, DocumentKind) for code, one in self.kinds.items()},
            requirements={
                key: _said(one, Requirement, version=one.edition, pack=names[one.pack_id]) for key, one in self.requirements.items()
            },
            pack_of_jurisdiction={code: names[one.pack_id] for code, one in self.jurisdictions.items()},
            pack_of_kind={code: names[one.pack_id] for code, one in self.kinds.items()},
        )


def _compared(pack: RulePack, shelf: _Shelf) -> Iterator[tuple[Record | None, type[Record], Stated]]:
    """Yield what a pack states, each with the record that there is of it and the class of such records."""
    for place in pack.jurisdictions:
        yield shelf.jurisdictions.get(place.code), places.Jurisdiction, _jurisdiction_stated(place)
    for kind in pack.kinds:
        stated = records.DocumentKindStated.model_construct(**_columns(kind))
        yield shelf.kinds.get(kind.code), records.DocumentKind, stated
    for one in pack.requirements:
        requirement = records.RequirementStated.model_construct(**_columns(one), edition=one.version)
        yield shelf.requirements.get((one.code, one.version)), records.Requirement, requirement


def _differing(stated: Stated, found: Record) -> dict[str, Any]:
    said = {name: getattr(stated, name) for name in type(stated).model_fields}
    return {name: value for name, value in said.items() if value != getattr(found, name)}


def _pack_stated(pack: RulePack) -> records.RulePackStated:
    return records.RulePackStated.model_construct(
        name=pack.name, edition=pack.version, title=pack.title, fictional=pack.fictional, digest=pack.digest, source=pack.source
    )


def _jurisdiction_stated(one: Jurisdiction) -> places.JurisdictionStated:
    return places.JurisdictionStated.model_construct(
        code=one.code,
        name=one.name,
        level=one.level,
        parent_code=one.parent_code,
        fictional=one.fictional,
        zone=one.zone,
        rest_days=[WEEKDAYS[day] for day in sorted(one.working_days.rest)],
        holidays=[day.isoformat() for day in sorted(one.working_days.holidays)],
    )


def _jurisdiction(one: places.Jurisdiction) -> Jurisdiction:
    rest = [WEEKDAYS.index(word) for word in one.rest_days]
    return Jurisdiction(
        code=one.code,
        name=one.name,
        level=one.level,
        parent_code=one.parent_code,
        fictional=one.fictional,
        zone=one.zone,
        working_days=msgspec.convert({"rest": rest, "holidays": one.holidays}, WorkingDays),
    )


_OWN_COLUMNS: Mapping[type[Any], frozenset[str]] = {
    said: frozenset(one.name for one in fields(said)) & frozenset(table_of(record).columns.keys()) - {"version"}
    for said, record in ((DocumentKind, records.DocumentKind), (Requirement, records.Requirement))
}
"""What is said in columns of its own. The version that a requirement has by its pack is its edition there."""
_IN_OTHER_COLUMNS = frozenset({"version", "pack"})


def _columns(one: Requirement | DocumentKind) -> dict[str, Any]:
    """Return what a record keeps of what is said: what has a column of its own, and all the rest as its content."""
    own = _OWN_COLUMNS[type(one)]
    whole: dict[str, Any] = msgspec.json.decode(msgspec.json.encode(one, order="deterministic"))
    rest = {name: value for name, value in whole.items() if name not in own | _IN_OTHER_COLUMNS}
    return {**{name: getattr(one, name) for name in own}, "content": rest}


def _said(record: Record, said: type[T], **otherwise: str) -> T:
    """Return what a record says; the opposite of ``_columns``."""
    columns = {name: getattr(record, name) for name in _OWN_COLUMNS[said]}
    content: Mapping[str, Any] = record.content  # type: ignore[attr-defined]
    return msgspec.convert({**columns, **otherwise, **content}, said)
