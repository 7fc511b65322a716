"""An import as a piece of work on record: asked for with its file, run once, and its report kept with its effect."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from domain.actions.imports.rows import ImportFileFacts, ImportReport
from domain.errors import NotFound
from domain.records.base import table_of
from domain.records.nights import ImportFile, ImportKind, ImportRun, WorkState
from domain.records.statements import Statement
from domain.records.unit import Unit

_run, _file = table_of(ImportRun), table_of(ImportFile)
_of_run = (_file.c.organisation_id == sa.bindparam("organisation_id"), _file.c.import_run_id == sa.bindparam("import_run_id"))
KEEP_FILE = Statement(sa.insert(_file))
FILE = Statement(sa.select(_file.c.content).where(*_of_run))
FORGET_FILE = Statement(sa.delete(_file).where(*_of_run))
UNFINISHED = Statement(
    sa.select(_run.c.id)
    .where(
        _run.c.organisation_id == sa.bindparam("organisation_id"),
        _run.c.state.in_([sa.bindparam("waiting", type_=_run.c.state.type), sa.bindparam("running", type_=_run.c.state.type)]),
    )
    .order_by(_run.c.id)
)


def ask_for_import(unit: Unit, content: bytes, *, kind: ImportKind, file: ImportFileFacts, options: Mapping[str, Any]) -> ImportRun:
    """Put an import on record as waiting, with its file, and return it."""
    asked = ImportRun(
        organisation_id=unit.organisation_id,
        id=unit.new_id(),
        created_at=unit.origin.at,
        kind=kind,
        file_name=file.name,
        file_sha256=file.sha256,
        options=dict(options),
        state=WorkState.WAITING,
    )
    unit.add(asked, action="ask_for_import")
    unit.run(KEEP_FILE, import_run_id=asked.id, content=content)
    return asked


def start_import(unit: Unit, run_id: UUID) -> tuple[ImportRun, bytes] | None:
    """Mark an import as running and return it with its file; ``None`` where it has ended already."""
    asked = unit.fetch(ImportRun, run_id)
    if asked.state in {WorkState.DONE, WorkState.FAILED}:
        return None
    found = unit.row(FILE, import_run_id=run_id)
    if found is None:
        raise NotFound("The import's file is not there any more.")
    return unit.change(asked, {"state": WorkState.RUNNING}, action="start_import"), bytes(found[0])


def end_import(unit: Unit, asked: ImportRun, report: ImportReport) -> ImportRun:
    """Keep the report of an import, in the transaction of its effect, let go of its file, and return it.

    Raises:
        Overtaken: The import was ended by another process meanwhile; the effect of this one is undone with it.
    """
    unit.run(FORGET_FILE, import_run_id=asked.id)
    return unit.change(asked, {"state": WorkState.DONE, "outcome": report}, action="end_import")


def fail_import(unit: Unit, run_id: UUID, *, sentence: str) -> None:
    """Keep why an import came to nothing, and let go of its file; nothing where it has ended already."""
    asked = unit.fetch(ImportRun, run_id)
    if asked.state not in {WorkState.DONE, WorkState.FAILED}:
        unit.run(FORGET_FILE, import_run_id=run_id)
        unit.change(asked, {"state": WorkState.FAILED, "error": sentence}, action="fail_import")
