"""Importing permits, each with the taxa that it is for."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any, TypeAlias
from uuid import UUID

from domain.actions.imports.lookups import ever_by_key, kept_by_key
from domain.actions.imports.places import resolve_places
from domain.actions.imports.rows import CellFault
from domain.actions.imports.sheet import Sheet
from domain.actions.imports.tried import Came, Tally, differing, note_withdrawn, try_rows
from domain.actions.permit_parts import change_permit_taxon, end_permit_taxon, record_permit_taxon
from domain.actions.permits import TAXA_OF, change_permit, register_permit
from domain.actions.recording import Ending
from domain.records.permits import Permit, PermitStated, PermitTaxon, PermitTaxonStated
from domain.records.taxa import Taxon
from domain.records.unit import Unit
from domain.rules.text import same_name

Limits: TypeAlias = Mapping[UUID, int | None]
"""How many animals of each taxon a permit is for; ``None``: it names no number."""
Key: TypeAlias = tuple[str, str, str]
"""The kind of a permit, its authority and its number, the latter two in the form in which two spellings are equal."""

_PLAIN = (
    "kind", "jurisdiction", "authority", "number", "holder", "issued_on", "valid_from", "valid_until", "inspected_on",
    "total_number", "note",
)  # fmt: skip
_COLUMNS = {"site_id": "site", "taxon_id": "taxa"}
_KNOWN_BY = ("kind", "authority", "number")
_NOT_LISTED = Ending(reason="It is not in the list that was imported.")


@dataclass(frozen=True, slots=True)
class _Known:
    """What is on record under the numbers that the list names, by kind, authority and number; the latest comes last."""

    ever: Mapping[Key, Sequence[Permit]]

    def kept(self, key: Key) -> Permit | None:
        return next((one for one in self.ever.get(key, ()) if one.ended_on is None), None)


def import_permits(unit: Unit, sheet: Sheet) -> Tally:
    """Do what a list of permits states; one is known again by its kind, its authority and its number.

    The taxa of a row are all that its permit lists: those on record that it does not name are taken off.
    """
    sheet.check(PermitStated, *_PLAIN)
    resolve_places(unit, sheet)
    for name in (*_KNOWN_BY, "jurisdiction", "issued_on"):
        sheet.refuse_blank(name)
    _resolve_taxa(unit, sheet)
    keys = [_key(*said) if all(said) else None for said in zip(*(sheet.column(name) for name in _KNOWN_BY), strict=True)]
    sheet.refuse_repeated(keys, name="number")
    ever: defaultdict[Key, list[Permit]] = defaultdict(list)
    for row in ever_by_key(unit, Permit, "number_key", {key[2] for key in keys if key}):
        ever[row["kind"], row["authority_key"], row["number_key"]].append(Permit.model_construct(**row))
    act = partial(_act, unit, sheet, _Known(ever), keys)
    return try_rows(unit, sheet, sheet.sound(), act=act, columns=_COLUMNS)


def _key(kind: str, authority: str, number: str) -> Key:
    return kind, same_name(authority), same_name(number)


def _resolve_taxa(unit: Unit, sheet: Sheet) -> None:
    """Put ids in the place of the names of taxa; rows of unknown names, and of one taxon twice, are refused."""
    said = [cell for cell in sheet.column("taxa") if cell is not None]
    wanted = {same_name(name) for cell in said for name, _ in cell}
    ids = {row["name_key"]: row["id"] for row in kept_by_key(unit, Taxon, "name_key", wanted)}

    def limits(cell: tuple[tuple[str, int | None], ...]) -> Limits | CellFault:
        unknown = next((name for name, _ in cell if same_name(name) not in ids), None)
        if unknown is not None:
            return CellFault("taxa-unknown", f"taxa unknown: there is no taxon {unknown!r}")
        found = {ids[same_name(name)]: number for name, number in cell}
        if len(found) < len(cell):
            return CellFault("taxa-repeated", "taxa repeated: one of them stands there twice")
        return found

    sheet.resolve("taxa", limits)


def _act(unit: Unit, sheet: Sheet, known: _Known, keys: Sequence[Key | None], position: int) -> Came:
    key, limits = keys[position], sheet.column("taxa")[position]
    assert key is not None  # noqa: S101 - a row without one was refused
    said = _said(sheet, position)
    kept = known.kept(key)
    if kept is None and key in known.ever:
        return note_withdrawn(sheet, position, known.ever[key][-1])
    if kept is None:
        made = register_permit(unit, PermitStated(**said))
        _settle_taxa(unit, made, limits or {})
        return Came.CREATED
    patch = differing(kept, {name: value for name, value in said.items() if name not in _KNOWN_BY})
    if patch:
        change_permit(unit, kept.id, patch, expected_version=kept.version)
    settled = limits is not None and _settle_taxa(unit, kept, limits)
    return Came.CHANGED if patch or settled else Came.UNCHANGED


def _said(sheet: Sheet, position: int) -> dict[str, Any]:
    site_id, activities, any_taxon = (sheet.column(name)[position] for name in ("site", "activities", "any_taxon"))
    more = {"site_id": site_id, "activities": None if activities is None else list(activities), "any_taxon": any_taxon}
    return {**sheet.said(position, *_PLAIN), **{name: value for name, value in more.items() if value is not None}}


def _settle_taxa(unit: Unit, permit: Permit, limits: Limits) -> bool:
    """Let a permit list these taxa and no others, and return whether that changes anything."""
    listed = {one.taxon_id: one for one in unit.all(PermitTaxon, TAXA_OF, permit_id=permit.id)}
    changed = False
    for taxon_id, number in limits.items():
        if taxon_id not in listed:
            record_permit_taxon(unit, permit.id, PermitTaxonStated(taxon_id=taxon_id, number=number))
        elif listed[taxon_id].number != number:
            found = listed[taxon_id]
            change_permit_taxon(unit, found.id, {"number": number}, owner_id=permit.id, expected_version=found.version)
        else:
            continue
        changed = True
    for taxon_id, found in listed.items():
        if taxon_id not in limits:
            end_permit_taxon(unit, found.id, _NOT_LISTED, owner_id=permit.id)
            changed = True
    return changed
