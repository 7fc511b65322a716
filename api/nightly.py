"""The nightly run: each site judged and reminded in its own transaction, on the date that it is there; then what is of no site."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import TypeVar

import sqlalchemy as sa

from api.printing import due_sheet, files_of
from domain.actions.due_list import DueItem, DueList, every_item, judge_site
from domain.actions.night import Night, PaperFile, keep_paper, record_failed_night, run_night
from domain.actions.reminders import Reminded, is_replay, remind_at, remind_organisation
from domain.actions.sites import today_at
from domain.records.base import table_of
from domain.records.engine import Store, run_unit
from domain.records.journal import Origin
from domain.records.sites import Site
from domain.records.statements import Statement
from domain.records.unit import Unit
from domain.rules.text import same_name
from reports.due_list import record_hash

R = TypeVar("R")

log = logging.getLogger("reedbed.nightly")

_site = table_of(Site)
SITES = Statement(
    sa.select(_site)
    .where(_site.c.organisation_id == sa.bindparam("organisation_id"), _site.c.ended_on.is_(None))
    .order_by(_site.c.name_key)
)


@dataclass(frozen=True, slots=True)
class SiteNight:
    """How the night went at one site. ``error`` is set where it failed; ``added`` is false where nothing was new.

    ``reminded`` says what became of its reminders: nothing, where an earlier night was replayed.
    """

    site: Site
    today: date
    due: DueList | None
    files: Sequence[PaperFile]
    added: bool
    error: str | None = None
    reminded: Reminded | None = None


@dataclass(frozen=True, slots=True)
class OrganisationNight:
    """What became of the reminders of no site: nothing, where an earlier night was replayed. ``error`` is set where that failed."""

    reminded: Reminded | None = None
    error: str | None = None


def run_nights(
    store: Store, organisation_id: int, *, now: datetime, actor: str, request_id: str, only: Sequence[str] = ()
) -> Iterator[SiteNight]:
    """Run the night of ``now`` at every site, or at those named or numbered in ``only``, and yield how each went.

    A site that fails is rolled back alone and recorded as failed; the others go on.

    Raises:
        LookupError: ``only`` names a site that is not there.
    """
    origin = Origin(organisation_id=organisation_id, at=now, actor=actor, request_id=request_id)
    for site in chosen_sites(store, origin, only=only):
        yield _night_at(store, origin, site)


def run_organisation_night(store: Store, organisation_id: int, *, now: datetime, actor: str, request_id: str) -> OrganisationNight:
    """Bring the reminders of no site up to ``now``, after the nights of the sites, and return how that went."""
    origin = Origin(organisation_id=organisation_id, at=now, actor=actor, request_id=request_id)
    try:
        return OrganisationNight(_retried(store, _remind_organisation, origin=origin))
    except Exception as failure:
        log.exception("the reminders of no site failed")
        return OrganisationNight(error=f"{type(failure).__name__}: {failure}")


def chosen_sites(store: Store, origin: Origin, *, only: Sequence[str]) -> list[Site]:
    """Return the organisation's sites, or those among them that ``only`` names or numbers."""
    with store.snapshot(origin) as unit:
        sites = unit.all(Site, SITES)
    if not only:
        return sites
    by_word = {word: site for site in sites for word in (str(site.id), site.name_key)}
    missing = [word for word in only if same_name(word) not in by_word]
    if missing:
        raise LookupError(f"There is no site {missing[0]!r}; the sites are: {', '.join(site.name for site in sites) or 'none'}.")
    return [by_word[same_name(word)] for word in only]


def all_forecasts(store: Store, origin: Origin, site: Site) -> tuple[DueItem, ...]:
    """Return every item in service at a site with its forecast, for those who want to see more than the list."""
    with store.snapshot(origin) as unit:
        return every_item(unit, site, judge_site(unit, site, today=today_at(unit, site)))


def _night_at(store: Store, origin: Origin, site: Site) -> SiteNight:
    try:
        return _retried(store, lambda unit: _night(unit, site), origin=origin)
    except Exception as failure:
        # Whatever it is, the other sites go on.
        log.exception("the night failed at site %s", site.id)
        error = f"{type(failure).__name__}: {failure}"
    try:
        return _retried(store, lambda unit: _failed(unit, site, error=error), origin=origin)
    except Exception:
        # What keeps a site from its night may keep its failure from being recorded too; it is said all the same.
        log.exception("the failed night could not be recorded at site %s", site.id)
        return SiteNight(site, origin.at.date(), None, (), added=False, error=error)


def _retried(store: Store, work: Callable[[Unit], R], *, origin: Origin) -> R:
    done: R = run_unit(store, work, origin=origin)
    return done


def _remind_organisation(unit: Unit) -> Reminded | None:
    unit.take_time()
    unit.hold_still()
    return None if is_replay(unit) else remind_organisation(unit)


def _night(unit: Unit, site: Site) -> SiteNight:
    unit.take_time()
    unit.hold_still()
    night = run_night(unit, site)
    done = _papers(unit, site, night) if night.added else SiteNight(site, night.due.today, night.due, (), added=False)
    return done if night.is_replay else replace(done, reminded=remind_at(unit, site))


def _papers(unit: Unit, site: Site, night: Night) -> SiteNight:
    report_id = unit.new_id()
    sheet = due_sheet(unit, night.due, report_id=report_id, later_days=None)
    files = files_of(sheet)
    keep_paper(
        unit,
        site,
        files,
        report_id=report_id,
        today=night.due.today,
        record_hash=record_hash(sheet),
        nightly_run_id=night.run.id,
    )
    return SiteNight(site, night.due.today, night.due, files, added=True)


def _failed(unit: Unit, site: Site, *, error: str) -> SiteNight:
    run = record_failed_night(unit, site, error=error)
    return SiteNight(site, run.local_date, None, (), added=True, error=error)
