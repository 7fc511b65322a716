"""Running imports that are on record: in the background, once, and again where a stop or a busy database left them unfinished."""

from __future__ import annotations

import logging
from functools import partial
from typing import Any
from uuid import UUID

from api.context import House
from api.importing import ImportOptions, read_file
from api.importing.collector import resting_collector
from domain.actions.imports import import_rows
from domain.actions.imports.runs import UNFINISHED, end_import, fail_import, start_import
from domain.errors import Refusal, StorageBusy
from domain.records.engine import run_unit
from domain.records.journal import Origin
from domain.records.nights import ImportRun, WorkState
from domain.records.unit import Unit
from domain.rules.permissions import Role

log = logging.getLogger("reedbed")


def submit_import(house: House, organisation_id: int, run_id: UUID) -> None:
    """Have an import run in the background."""
    house.work.submit(partial(run_recorded, house, organisation_id, run_id))


def resume(house: House) -> None:
    """Run the imports that were left waiting or half-way.

    Raises:
        StorageBusy: The database could not be asked in time; what is left stays on record.
    """
    for organisation_id, *_ in house.store.organisations():
        with house.store.snapshot(Origin(organisation_id, house.clock(), actor="service", request_id="resume")) as unit:
            unfinished = unit.rows(UNFINISHED, waiting=WorkState.WAITING, running=WorkState.RUNNING)
        for (run_id,) in unfinished:
            run_recorded(house, organisation_id, run_id)


def run_recorded(house: House, organisation_id: int, run_id: UUID) -> None:
    """Run an import that is on record; one that has ended already, or that is just run, is left alone, so it may be called again.

    Raises:
        StorageBusy: The database could not be asked in time; the import and its file stay on record.
    """
    with house.work.alone_at(run_id) as alone:
        if alone:
            _run_alone(house, organisation_id, run_id)


def _run_alone(house: House, organisation_id: int, run_id: UUID) -> None:
    origin = Origin(organisation_id, house.clock(), actor="service", request_id=f"import-{run_id}")
    try:
        started = run_unit(house.store, partial(start_import, run_id=run_id), origin=origin)
        if started is not None:
            with resting_collector():
                _run(house, *started, origin=origin)
    except StorageBusy:
        raise
    except Refusal as refused:
        run_unit(house.store, partial(fail_import, run_id=run_id, sentence=refused.detail), origin=origin)
    except Exception as failure:
        log.exception("import %s failed", run_id)
        sentence = f"The import failed and changed nothing: {type(failure).__name__}."
        run_unit(house.store, partial(fail_import, run_id=run_id, sentence=sentence), origin=origin)


def _run(house: House, asked: ImportRun, content: bytes, *, origin: Origin) -> None:
    said: dict[str, Any] = asked.options
    options = ImportOptions(said["dry_run"], said["skip_invalid"], said["create_enclosures"], frozenset(map(Role, said.get("roles", ()))))
    rows, facts, settled = read_file(content, file_name=asked.file_name, kind=asked.kind, mapping=said["mapping"], options=options)
    for_whom = said.get("on_behalf_of")
    as_asked = Origin(
        origin.organisation_id,
        origin.at,
        actor=said["asked_by"],
        request_id=origin.request_id,
        credential=said.get("credential"),
        on_behalf_of=UUID(for_whom) if for_whom else None,
    )

    def effect(unit: Unit) -> None:
        unit.take_time()
        now = unit.fetch(ImportRun, asked.id)
        if now.state is WorkState.RUNNING:
            end_import(unit, now, import_rows(unit, rows, file=facts, options=settled))

    run_unit(house.store, effect, origin=as_asked)
