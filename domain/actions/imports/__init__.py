"""Importing lists of sites, enclosures, equipment models and equipment.

A row whose key is on record already changes that record; cells left blank on it leave their fields as they are. A second import of the
same list changes nothing. By default a refusal anywhere means that nothing is written.
"""

from __future__ import annotations

from domain.actions.imports.enclosures import plan_enclosures
from domain.actions.imports.equipment import plan_equipment
from domain.actions.imports.equipment_models import plan_equipment_models
from domain.actions.imports.plans import Plan, carry_out
from domain.actions.imports.rows import REMARKS_MOST, ImportFileFacts, ImportOptions, ImportReport, ImportRows
from domain.actions.imports.sheet import Sheet, shown
from domain.actions.imports.sites import plan_sites
from domain.records.nights import ImportKind
from domain.records.unit import Unit

__all__ = ["ImportFileFacts", "ImportOptions", "ImportReport", "ImportRows", "import_rows"]


def import_rows(unit: Unit, rows: ImportRows, *, file: ImportFileFacts, options: ImportOptions) -> ImportReport:
    """Write what a list states, or say what writing it would do, and return the report."""
    sheet = Sheet(rows)
    plan = _plan(unit, sheet, options=options)
    written = not options.dry_run and (options.skip_invalid or not sheet.refusals)
    if written:
        carry_out(unit, plan)
    return _report(sheet, plan, file=file, written=written, dry_run=options.dry_run)


def _plan(unit: Unit, sheet: Sheet, *, options: ImportOptions) -> Plan:
    match sheet.rows.kind:
        case ImportKind.SITES:
            return plan_sites(unit, sheet)
        case ImportKind.ENCLOSURES:
            return plan_enclosures(unit, sheet)
        case ImportKind.EQUIPMENT_MODELS:
            return plan_equipment_models(unit, sheet)
        case ImportKind.EQUIPMENT:
            return plan_equipment(unit, sheet, create_enclosures=options.create_enclosures)


def _report(sheet: Sheet, plan: Plan, *, file: ImportFileFacts, written: bool, dry_run: bool) -> ImportReport:
    rows = sheet.rows
    refusals = [remark for position in sorted(sheet.refusals) for remark in sheet.refusals[position]]
    return ImportReport(
        kind=rows.kind,
        file_name=file.name,
        sha256=file.sha256,
        rows_read=len(rows) + rows.skipped_totals,
        created=len(plan.created),
        changed=len(plan.changed),
        unchanged=plan.unchanged,
        refused=len(sheet.refusals),
        skipped_totals=rows.skipped_totals,
        enclosures_created=len(plan.new_enclosures),
        ignored_columns=tuple(map(shown, rows.ignored_columns)),
        refusals=tuple(refusals[:REMARKS_MOST]),
        notices=tuple(sorted(sheet.notices, key=lambda notice: notice.index)[:REMARKS_MOST]),
        written=written,
        dry_run=dry_run,
    )
