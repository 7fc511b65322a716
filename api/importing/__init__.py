"""Importing files: one way for the command line, the API and the tests.

Reading a file and converting its cells need no database and are done before the transaction. A dry run plans in a reading transaction,
or, where rows can only be tried one after the other, writes in a transaction and undoes it.
"""

from __future__ import annotations

from dataclasses import replace
from hashlib import sha256

from api.importing.collector import resting_collector
from api.importing.mapping import read_mapping
from api.importing.reading import rows_in
from api.importing.templates import TemplateForm, template
from domain.actions.imports import TRIED, ImportFileFacts, ImportOptions, ImportReport, ImportRows, import_rows
from domain.records.engine import Store, run_unit
from domain.records.journal import Origin
from domain.records.nights import ImportKind
from domain.records.unit import Unit

AS_USUAL = ImportOptions()
"""All rows or none are written, and only with enclosures that are on record."""

__all__ = ["ImportOptions", "ImportReport", "TemplateForm", "import_file", "read_file", "template"]


def read_file(
    content: bytes, *, file_name: str, kind: ImportKind, mapping: str | None, options: ImportOptions
) -> tuple[ImportRows, ImportFileFacts, ImportOptions]:
    """Return a file's rows, what it is, and the options with what the mapping (TOML) says of them.

    Raises:
        RuleBroken: The file or the mapping cannot be read; the sentence says why.
    """
    said = read_mapping(mapping, kind=kind)
    rows = rows_in(content, file_name=file_name, kind=kind, mapping=said)
    creates = options.create_enclosures or said.creates_enclosures
    settled = replace(options, create_enclosures=creates)
    return rows, ImportFileFacts(file_name, sha256(content).hexdigest()), settled


def import_file(
    store: Store,
    content: bytes,
    *,
    file_name: str,
    kind: ImportKind,
    origin: Origin,
    mapping: str | None = None,
    options: ImportOptions = AS_USUAL,
) -> ImportReport:
    """Import a file in one transaction and return the report. ``origin`` says for whom and when; ``mapping`` is the TOML text.

    Raises:
        RuleBroken: The file or the mapping cannot be read; nothing was changed.
    """
    with resting_collector():
        rows, facts, settled = read_file(content, file_name=file_name, kind=kind, mapping=mapping, options=options)
        if settled.dry_run and kind not in TRIED:
            with store.snapshot(origin) as unit:
                return import_rows(unit, rows, file=facts, options=settled)

        def effect(unit: Unit) -> ImportReport:
            unit.take_time()
            return import_rows(unit, rows, file=facts, options=settled)

        report: ImportReport = run_unit(store, effect, origin=origin)
        return report
