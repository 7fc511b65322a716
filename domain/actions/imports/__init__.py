"""Importing lists of places, equipment, taxa, animals and what belongs to them, permits, staff and what they are able to do.

A row whose key is on record already changes that record; cells left blank on it leave their fields as they are. A second import of the
same list changes nothing. By default a refusal anywhere means that nothing is written.

Sites, enclosures and what stands in them are planned first and then written together. What belongs to animals' lives bears on each other,
so its rows are tried one after the other by the same actions as by hand, and undone where they are refused; a dry run undoes them all.
Permits and people are tried likewise.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from domain.actions.imports.animals import import_animals
from domain.actions.imports.competences import import_competences
from domain.actions.imports.enclosures import plan_enclosures
from domain.actions.imports.equipment import plan_equipment
from domain.actions.imports.equipment_models import plan_equipment_models
from domain.actions.imports.marks import import_marks
from domain.actions.imports.measurements import import_measurements
from domain.actions.imports.permits import import_permits
from domain.actions.imports.placements import import_placements
from domain.actions.imports.plans import Plan, carry_out
from domain.actions.imports.rows import REMARKS_MOST, ImportFileFacts, ImportOptions, ImportReport, ImportRows
from domain.actions.imports.sheet import Sheet, shown
from domain.actions.imports.sites import plan_sites
from domain.actions.imports.staff import import_staff
from domain.actions.imports.taxa import import_taxa
from domain.actions.imports.tried import Came, Tally
from domain.records.nights import ImportKind
from domain.records.unit import Unit

__all__ = ["TRIED", "ImportFileFacts", "ImportOptions", "ImportReport", "ImportRows", "import_rows"]

TRIED: Mapping[ImportKind, Callable[[Unit, Sheet], Tally]] = {
    ImportKind.TAXA: import_taxa,
    ImportKind.ANIMALS: import_animals,
    ImportKind.PLACEMENTS: import_placements,
    ImportKind.MARKS: import_marks,
    ImportKind.MEASUREMENTS: import_measurements,
    ImportKind.PERMITS: import_permits,
    ImportKind.STAFF: import_staff,
    ImportKind.COMPETENCES: import_competences,
}
"""The kinds of lists whose rows are tried; a dry run of them needs a transaction that can write, though it writes nothing in the end."""


class _NothingIsWritten(Exception):  # noqa: N818 - what was asked for, not a defect
    """The rows were tried, and what they wrote is to be undone."""

    def __init__(self, tally: Tally) -> None:
        super().__init__("nothing is to be written")
        self.tally = tally


def import_rows(unit: Unit, rows: ImportRows, *, file: ImportFileFacts, options: ImportOptions) -> ImportReport:
    """Write what a list states, or say what writing it would do, and return the report."""
    sheet = Sheet(rows, roles=options.roles)
    if rows.kind in TRIED:
        tally, enclosures_created = _tried(unit, sheet, options=options), 0
    else:
        plan = _plan(unit, sheet, options=options)
        if _writes(sheet, options):
            carry_out(unit, plan)
        tally = {Came.CREATED: len(plan.created), Came.CHANGED: len(plan.changed), Came.UNCHANGED: plan.unchanged}
        enclosures_created = len(plan.new_enclosures)
    return _report(sheet, tally, file=file, options=options, enclosures_created=enclosures_created)


def _writes(sheet: Sheet, options: ImportOptions) -> bool:
    return not options.dry_run and (options.skip_invalid or not sheet.refusals)


def _tried(unit: Unit, sheet: Sheet, *, options: ImportOptions) -> Tally:
    try:
        with unit.attempt():
            return _written(unit, sheet, options=options)
    except _NothingIsWritten as undone:
        return undone.tally


def _written(unit: Unit, sheet: Sheet, *, options: ImportOptions) -> Tally:
    tally = TRIED[sheet.rows.kind](unit, sheet)
    if not _writes(sheet, options):
        raise _NothingIsWritten(tally)
    return tally


def _plan(unit: Unit, sheet: Sheet, *, options: ImportOptions) -> Plan:
    match sheet.rows.kind:
        case ImportKind.ENCLOSURES:
            return plan_enclosures(unit, sheet)
        case ImportKind.EQUIPMENT_MODELS:
            return plan_equipment_models(unit, sheet)
        case ImportKind.EQUIPMENT:
            return plan_equipment(unit, sheet, create_enclosures=options.create_enclosures)
        case _:
            return plan_sites(unit, sheet)


def _report(sheet: Sheet, tally: Tally, *, file: ImportFileFacts, options: ImportOptions, enclosures_created: int) -> ImportReport:
    rows = sheet.rows
    refusals = [remark for position in sorted(sheet.refusals) for remark in sheet.refusals[position]]
    return ImportReport(
        kind=rows.kind,
        file_name=file.name,
        sha256=file.sha256,
        rows_read=len(rows) + rows.skipped_totals,
        created=tally.get(Came.CREATED, 0),
        changed=tally.get(Came.CHANGED, 0),
        unchanged=tally.get(Came.UNCHANGED, 0),
        refused=len(sheet.refusals),
        skipped_totals=rows.skipped_totals,
        enclosures_created=enclosures_created,
        ignored_columns=tuple(map(shown, rows.ignored_columns)),
        refusals=tuple(refusals[:REMARKS_MOST]),
        notices=tuple(sorted(sheet.notices, key=lambda notice: notice.index)[:REMARKS_MOST]),
        written=_writes(sheet, options),
        dry_run=options.dry_run,
    )
