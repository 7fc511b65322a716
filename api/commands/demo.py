"""``reedbed demo``: the invented organisation, a night, its papers, and what to try next."""

from __future__ import annotations

import shlex
import shutil
import sys
from argparse import Namespace
from datetime import UTC, datetime
from pathlib import Path

from rich.console import Console
from rich.progress import Progress, SpinnerColumn, TextColumn

import migrations
from api.commands.nights import show_night, write_papers
from api.commands.session import Session, Trouble, instant
from api.nightly import run_nights
from api.settings import Settings
from api.signin import key_text, new_key_parts
from domain.actions.organisations import create_key, create_organisation, next_organisation_id
from domain.records.engine import open_store
from domain.records.organisations import Access, ApiKeyStated, Organisation, OrganisationStated
from seed import demo as seed

PARTS = 5


def demo(words: Namespace, console: Console) -> int:
    """Build the demo where there is none yet, run the night, and say where everything is."""
    folder: Path = words.folder
    database = folder / "reedbed.sqlite3"
    url = f"sqlite:///{database}"
    folder.mkdir(parents=True, exist_ok=True)
    migrations.upgrade(url)
    store = open_store(url)
    try:
        session = Session(Settings(database_url=url), store, instant(words.at) if words.at else datetime.now(UTC), "demo")
        organisation = _built(session, console)
        origin = session.origin(organisation.id)
        papers = []
        for night in run_nights(store, organisation.id, now=session.now, actor=origin.actor, request_id=origin.request_id):
            show_night(night, console)
            papers += write_papers(night, folder / "papers")
        key = _new_key(session, organisation)
    finally:
        store.close()
    _say_where(console, folder, url, papers=papers, key=key)
    return 0


def _built(session: Session, console: Console) -> Organisation:
    name = seed.scenario()["organisation"]["name"]
    found = session.organisations()
    if found:
        if [one.name for one in found] != [name]:
            raise Trouble("This folder holds a database that is not the demo's; choose another with --folder.")
        console.print(f"{name} stands here already; tonight's run follows.", markup=False)
        return found[0]
    with session.store.snapshot(session.origin(0)) as unit:
        number = next_organisation_id(unit, server_number=session.settings.server_number)
    with session.store.transaction(session.origin(number)) as unit:
        made = create_organisation(unit, OrganisationStated(name=name, base_currency=seed.scenario()["organisation"]["base_currency"]))
        columns = (SpinnerColumn(), TextColumn("building {task.description}"))
        with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as progress:
            task = progress.add_task(name, total=PARTS)
            for part in seed.build(unit):
                progress.update(task, advance=1, description=part)
    return made


def _new_key(session: Session, organisation: Organisation) -> str:
    public_id, secret = new_key_parts()
    with session.store.transaction(session.origin(organisation.id)) as unit:
        create_key(unit, ApiKeyStated(name="demo", access=Access.WRITE), public_id=public_id, secret=secret)
    return key_text(public_id, secret)


def _say_where(console: Console, folder: Path, url: str, *, papers: list[Path], key: str) -> None:
    program = "reedbed" if shutil.which("reedbed") else sys.argv[0]
    lines = [
        "",
        "Everything here is invented: organisation, sites, makers and laws.",
        f"Database   {folder / 'reedbed.sqlite3'}",
        f"Papers     {folder / 'papers'}" + ("" if papers else " (nothing new tonight)"),
        *(f"           {path.name}" for path in papers if path.suffix == ".pdf"),
        "",
        "Try next:",
        f"  export REEDBED_DATABASE_URL={shlex.quote(url)}",
        f"  {program} nightly --site 'Reedmere House'     # again: nothing is added",
        f"  {program} verify                              # the journal's chain and every record",
        f"  {program} serve                               # then open http://127.0.0.1:8000/docs",
        f"  curl -H 'Authorization: Bearer {key}' http://127.0.0.1:8000/v1/replacements",
    ]
    console.print("\n".join(lines), markup=False, soft_wrap=True)
