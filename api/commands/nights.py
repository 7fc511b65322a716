"""``reedbed nightly``."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from datetime import date
from pathlib import Path

import sqlalchemy as sa
from rich.console import Console
from rich.progress import Progress
from rich.table import Table
from rich.text import Text

from api.commands.proofs import write_checkpoints
from api.commands.session import Session, instant, opened, ready_folder, say_json
from api.commands.trouble import Trouble
from api.nightly import OrganisationNight, SiteNight, all_forecasts, run_nights, run_organisation_night
from api.printing import SUFFIXES, Form, item_json
from domain.actions.due_list import DueItem
from domain.actions.night import LATEST_RUN, PaperFile
from domain.actions.reminders import Reminded
from domain.records.base import table_of
from domain.records.nights import NightlyRun, Report, ReportFile
from domain.records.organisations import Organisation
from domain.records.statements import Statement
from domain.rules.calendar import in_words
from domain.rules.forecast import FACT_WORDS
from domain.rules.service_life import Standing

ROWS_SHOWN = 12

_file, _report = table_of(ReportFile), table_of(Report)
FILES_OF_RUN = Statement(
    sa.select(_file.c.form, _file.c.content)
    .join(_report, sa.and_(_report.c.organisation_id == _file.c.organisation_id, _report.c.id == _file.c.report_id))
    .where(_file.c.organisation_id == sa.bindparam("organisation_id"), _report.c.nightly_run_id == sa.bindparam("nightly_run_id"))
)


def nightly(words: Namespace, console: Console) -> int:
    """Run the night at each site; the exit status is 1 if any failed."""
    with opened("nightly", at=instant(words.at) if words.at else None) as session:
        chosen = _chosen(session, words)
        if words.papers:
            ready_folder(words.papers)
        nights = [(one, night) for one in chosen for night in _nights(session, one, words, console)]
        # What is of no site has its turn when all sites have.
        wholes = [] if words.site else [(one, _whole_night(session, one)) for one in chosen]
        # Before anything is printed: whoever closes the pipe early still finds the papers.
        written = nights if words.papers else []
        papers = [path for one, night in written for path in write_papers(night, papers_of(session, one, night), words.papers)]
        if words.json:
            sites = [_site_json(session, one, night) for one, night in nights]
            say_json({"at": session.now, "sites": sites, "organisations": [_whole_json(one, night) for one, night in wholes]})
        else:
            _show(chosen, nights, console)
            for one, whole in wholes:
                show_whole_night(one, whole, console)
        for path in papers:
            console.print(str(path), markup=False, soft_wrap=True)
        write_checkpoints(session, chosen)
    return 1 if any(night.error for _, night in nights) or any(whole.error for _, whole in wholes) else 0


def _chosen(session: Session, words: Namespace) -> list[Organisation]:
    """Return the organisation that was named, else all; a site is looked for in one organisation only."""
    return [session.organisation(words.organisation)] if words.organisation or words.site else session.organisations()


def _show(chosen: Sequence[Organisation], nights: Sequence[tuple[Organisation, SiteNight]], console: Console) -> None:
    if not chosen:
        console.print("no organisations yet")
    for one in chosen:
        of_it = [night for organisation, night in nights if organisation is one]
        for night in of_it:
            show_night(night, console)
        if not of_it:
            console.print(f"{one.name}: no sites yet. Load them with: reedbed import FILE --kind sites", markup=False, soft_wrap=True)


def show_night(night: SiteNight, console: Console) -> None:
    """Print how the night went at a site, with the first rows of its list."""
    name = night.site.name
    if night.due is None:
        console.print(f"{name}: FAILED: {night.error}", markup=False, style="bold")
        return
    counts = ", ".join(f"{count} {standing.value.replace('_', ' ')}" for standing, count in night.due.counts.items())
    console.print(
        f"{name}, {in_words(night.today)}: {counts}{'' if night.added else ' (as before; nothing added)'}{_in_numbers(night.reminded)}",
        markup=False,
        style="bold",
        soft_wrap=True,
    )
    listed = sorted((one for one in night.due.items if one.forecast.standing is not Standing.GOOD), key=_urgency)
    if listed:
        console.print(_due_table(listed[:ROWS_SHOWN]))
    more = len(night.due.items) - len(listed[:ROWS_SHOWN])
    if listed and more:
        console.print(f"  and {more} more on the list: nightly --papers FOLDER, or nightly --json, shows all", style="dim", soft_wrap=True)


def show_whole_night(organisation: Organisation, night: OrganisationNight, console: Console) -> None:
    """Print what became of the reminders of no site, where anything did."""
    if night.error is not None:
        console.print(f"{organisation.name}: FAILED: {night.error}", markup=False, style="bold")
    elif told := _in_numbers(night.reminded):
        console.print(f"{organisation.name}, of no site{told}", markup=False, soft_wrap=True)


def _in_numbers(reminded: Reminded | None) -> str:
    """Return what became of reminders, to go on with after something else; nothing, where nothing did."""
    counts = {} if reminded is None else {what: count for what, count in asdict(reminded).items() if count}
    return f"; reminders: {', '.join(f'{count} {what}' for what, count in counts.items())}" if counts else ""


def _urgency(item: DueItem) -> tuple[bool, date, tuple[bool, int, str, str]]:
    """Return what puts the longest due first and the unknown last."""
    seen = item.forecast
    return (seen.standing is Standing.UNKNOWN, seen.due_on or seen.no_later_than or date.max, item.order_key)


def _due_table(items: Iterable[DueItem]) -> Table:
    table = Table(box=None, pad_edge=False, header_style="dim")
    for heading in ("tag", "place", "item", "due", "why"):
        table.add_column(heading, overflow="fold", no_wrap=heading in {"tag", "due"})
    for item in items:
        due = item.forecast.due_on.isoformat() if item.forecast.due_on else "unknown"
        table.add_row(*(Text(cell) for cell in (item.tag, item.place, item.model.name, due, _why(item))))
    return table


def _why(item: DueItem) -> str:
    seen = item.forecast
    if seen.standing is not Standing.UNKNOWN:
        return seen.reason
    latest = f"due by {in_words(seen.no_later_than)} at the latest; " if seen.no_later_than else ""
    return f"{latest}find out: {', '.join(FACT_WORDS[fact] for fact in seen.missing)}"


def _nights(session: Session, organisation: Organisation, words: Namespace, console: Console) -> list[SiteNight]:
    origin = session.origin(organisation.id)
    found = run_nights(
        session.store,
        organisation.id,
        now=session.now,
        actor=origin.actor,
        request_id=origin.request_id,
        only=words.site,
    )
    try:
        with Progress(console=console, transient=True, disable=not console.is_terminal or words.json) as progress:
            return list(progress.track(found, description=f"night at {organisation.name}"))
    except LookupError as unknown:
        raise Trouble(str(unknown)) from unknown


def _whole_night(session: Session, organisation: Organisation) -> OrganisationNight:
    origin = session.origin(organisation.id)
    return run_organisation_night(session.store, organisation.id, now=session.now, actor=origin.actor, request_id=origin.request_id)


def _whole_json(organisation: Organisation, night: OrganisationNight) -> dict[str, object]:
    return {
        "organisation_id": organisation.id,
        "state": "failed" if night.error else "done",
        "error": night.error,
        "reminders": night.reminded,
    }


def _site_json(session: Session, organisation: Organisation, night: SiteNight) -> dict[str, object]:
    items = [] if night.error else [item_json(one) for one in all_forecasts(session.store, session.origin(organisation.id), night.site)]
    return {
        "organisation_id": organisation.id,
        "site_id": night.site.id,
        "site": night.site.name,
        "today": night.today,
        "state": "failed" if night.error else "done",
        "error": night.error,
        "added": night.added,
        "counts": {} if night.due is None else night.due.counts,
        "reminders": night.reminded,
        "items": items,
    }


def papers_of(session: Session, organisation: Organisation, night: SiteNight) -> Sequence[PaperFile]:
    """Return a night's papers; where the night had run before, those that are on record for it."""
    if night.files or night.error:
        return night.files
    with session.store.snapshot(session.origin(organisation.id)) as unit:
        run = unit.first(NightlyRun, LATEST_RUN, site_id=night.site.id, local_date=night.today)
        return [PaperFile(form, bytes(content)) for form, content in unit.rows(FILES_OF_RUN, nightly_run_id=run.id if run else None)]


def write_papers(night: SiteNight, files: Sequence[PaperFile], folder: Path) -> list[Path]:
    """Write a night's papers into a folder and return where they are."""
    stem = "".join(c if c.isalnum() else "-" for c in night.site.name.lower())
    paths = [folder / f"{night.today.isoformat()}-{stem}-replacement-due.{SUFFIXES[Form(file.form)]}" for file in files]
    for path, file in zip(paths, files, strict=True):
        path.write_bytes(file.content)
    return paths
