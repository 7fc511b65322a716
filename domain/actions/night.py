"""A night at one site: judge every item, store what changed, and leave a run that says what was found."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from hashlib import sha256
from typing import Any
from uuid import UUID

import sqlalchemy as sa
from sqlalchemy.dialects import postgresql, sqlite

from domain.actions.due_list import SOON_DAYS, DueList, JudgedItem, due_list, judge_site, judged_items
from domain.actions.sites import today_at
from domain.records.base import table_of
from domain.records.nights import NightlyRun, Report, ReportFile, ReportKind, StoredForecast, WorkState
from domain.records.sites import Site
from domain.records.statements import Statement, json_text
from domain.records.unit import Unit

_run, _forecast, _file = table_of(NightlyRun), table_of(StoredForecast), table_of(ReportFile)
LATEST_RUN = Statement(
    sa.select(_run)
    .where(
        _run.c.organisation_id == sa.bindparam("organisation_id"),
        _run.c.site_id == sa.bindparam("site_id"),
        _run.c.local_date == sa.bindparam("local_date"),
    )
    .order_by(_run.c.revision.desc())
    .limit(1)
)
LATEST_DATE = Statement(
    sa.select(sa.func.max(_run.c.local_date, type_=_run.c.local_date.type)).where(
        _run.c.organisation_id == sa.bindparam("organisation_id"),
        _run.c.site_id == sa.bindparam("site_id"),
        _run.c.state == sa.literal_column(f"'{WorkState.DONE.value}'"),
    )
)
FORECASTS_AT_SITE = Statement(
    sa.select(_forecast).where(
        _forecast.c.organisation_id == sa.bindparam("organisation_id"), _forecast.c.site_id == sa.bindparam("site_id")
    )
)
FORGET_FORECAST = Statement(
    sa.delete(_forecast).where(
        _forecast.c.organisation_id == sa.bindparam("organisation_id"),
        _forecast.c.equipment_id == sa.bindparam("equipment_id"),
    )
)
ADD_FILE = Statement(sa.insert(_file))


def _keep_forecast(insert: Any) -> Statement:  # noqa: ANN401 - the insert of either dialect
    statement = insert(_forecast)
    replaced = {column.name: statement.excluded[column.name] for column in _forecast.columns if not column.primary_key}
    return Statement(statement.on_conflict_do_update(index_elements=["organisation_id", "equipment_id"], set_=replaced))


KEEP_FORECAST: Mapping[str, Statement] = {
    "sqlite": _keep_forecast(sqlite.insert),
    "postgresql": _keep_forecast(postgresql.insert),
}


@dataclass(frozen=True, slots=True)
class Night:
    """What a night found. ``added`` is false where an earlier run of the same local date had found the very same.

    ``is_replay`` says that a later night than this is on record at the site.
    """

    run: NightlyRun
    due: DueList
    results: Sequence[JudgedItem]
    added: bool
    is_replay: bool = False


@dataclass(frozen=True, slots=True)
class PaperFile:
    """One form of a paper, ready to be kept."""

    form: str
    content: bytes


def run_night(unit: Unit, site: Site) -> Night:
    """Run the night of the unit's instant at a site. A second run that finds the same adds nothing.

    The replay of an earlier night leaves its run, and the stored forecasts as the latest night left them.
    """
    today = today_at(unit, site)
    judged = judge_site(unit, site, today=today)
    results = list(judged_items(judged))
    due = due_list(unit, site, judged, ahead_days=SOON_DAYS)
    digest = _digest(results, due)
    last = unit.first(NightlyRun, LATEST_RUN, site_id=site.id, local_date=today)
    latest = unit.row(LATEST_DATE, site_id=site.id)
    is_replay = latest is not None and latest[0] is not None and latest[0] > today
    if last is not None and last.state is WorkState.DONE and last.digest == digest:
        return Night(last, due, results, added=False, is_replay=is_replay)
    if not is_replay:
        _keep_forecasts(unit, site, results)
    counts = {standing.value: count for standing, count in due.counts.items()}
    run = _new_run(unit, site, last, today=today, state=WorkState.DONE, digest=digest, counts=counts, error=None)
    return Night(run, due, results, added=True, is_replay=is_replay)


def record_failed_night(unit: Unit, site: Site, *, error: str) -> NightlyRun:
    """Record that the night at a site failed, and why; to be done in a transaction of its own."""
    today = today_at(unit, site)
    last = unit.first(NightlyRun, LATEST_RUN, site_id=site.id, local_date=today)
    return _new_run(unit, site, last, today=today, state=WorkState.FAILED, digest=None, counts={}, error=error)


def keep_paper(
    unit: Unit, site: Site, files: Iterable[PaperFile], *, report_id: UUID, today: date, record_hash: str, nightly_run_id: UUID | None
) -> Report:
    """Keep a finished paper in all its forms and return its record."""
    report = Report(
        organisation_id=unit.organisation_id,
        id=report_id,
        created_at=unit.origin.at,
        kind=ReportKind.REPLACEMENT_DUE,
        site_id=site.id,
        local_date=today,
        state=WorkState.DONE,
        nightly_run_id=nightly_run_id,
        record_hash=record_hash,
    )
    unit.add(report, action="make_report")
    keep_files(unit, report.id, files)
    return report


def keep_files(unit: Unit, report_id: UUID, files: Iterable[PaperFile]) -> None:
    """Keep the forms of a paper."""
    for file in files:
        digest = sha256(file.content).hexdigest()
        unit.run(ADD_FILE, report_id=report_id, form=file.form, sha256=digest, content=file.content)


def _new_run(unit: Unit, site: Site, last: NightlyRun | None, *, today: date, **facts: Any) -> NightlyRun:  # noqa: ANN401 - columns
    run = NightlyRun(
        organisation_id=unit.organisation_id,
        id=unit.new_id(),
        created_at=unit.origin.at,
        site_id=site.id,
        local_date=today,
        revision=last.revision + 1 if last else 1,
        at=unit.origin.at,
        **facts,
    )
    return unit.add(run, action="run_night")


def _keep_forecasts(unit: Unit, site: Site, results: Sequence[JudgedItem]) -> None:
    """Write the forecasts that changed, and forget those of items that are no longer in service here."""
    stored = {row["equipment_id"]: row for row in unit.named(FORECASTS_AT_SITE, site_id=site.id)}
    changed = []
    for result in results:
        row = {"organisation_id": unit.organisation_id, "site_id": site.id, **_row_of(result)}
        if stored.pop(result.equipment_id, None) != row:
            changed.append(row)
    unit.run_many(KEEP_FORECAST[unit.dialect], changed)
    unit.run_many(FORGET_FORECAST, [{"organisation_id": unit.organisation_id, "equipment_id": gone} for gone in stored])


def _row_of(result: JudgedItem) -> dict[str, Any]:
    return {name: getattr(result, name) for name in JudgedItem.__slots__}


def _digest(results: Sequence[JudgedItem], due: DueList) -> str:
    """Return the digest of everything that a paper of this night could show, and of every item's result."""
    shown = [
        [
            one.tag,
            one.place,
            one.walking_order,
            one.position,
            one.model.name,
            one.model.cautions,
            one.because,
            one.do_on,
            one.conflict,
            [[spare.shelf, spare.on_hand, spare.on_order] for spare in one.spares],
        ]
        for one in due.items
    ]
    orders = [[one.model.name, one.model.supplier, one.quantity, one.order_by, one.tags] for one in due.orders]
    summary = sha256(json_text([due.site.name, due.site.address, due.today, shown, orders]).encode())
    for result in results:
        summary.update(json_text(asdict(result)).encode())
    return summary.hexdigest()
