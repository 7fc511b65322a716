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

from api.commands import databases
from api.commands.nights import papers_of, show_night, show_whole_night, write_papers
from api.commands.session import Session, instant, read_settings, ready_folder
from api.commands.trouble import Trouble
from api.law import read_pack
from api.nightly import run_nights, run_organisation_night
from api.signin import key_text, new_key_parts
from domain.actions.organisations import create_key, create_organisation, next_organisation_id
from domain.records.engine import open_store
from domain.records.organisations import Access, ApiKeyStated, Organisation, OrganisationStated
from seed import demo as seed

PARTS = 6


def demo(words: Namespace, console: Console) -> int:
    """Build the demo where there is none yet, run the night, and say where everything is."""
    folder: Path = words.folder
    database = folder / "reedbed.sqlite3"
    url = f"sqlite:///{database}"
    settings, now = read_settings(database_url=url), instant(words.at) if words.at else datetime.now(UTC)
    ready_folder(folder)
    ready_folder(folder / "papers")
    databases.upgrade(url)
    store = open_store(url)
    try:
        session = Session(settings, store, now, "demo")
        standing = _standing(session, console)
        organisation = standing or _built(session, console)
        origin = session.origin(organisation.id)
        papers = []
        for night in run_nights(store, organisation.id, now=session.now, actor=origin.actor, request_id=origin.request_id):
            show_night(night, console)
            papers += write_papers(night, papers_of(session, organisation, night), folder / "papers")
        whole = run_organisation_night(store, organisation.id, now=session.now, actor=origin.actor, request_id=origin.request_id)
        show_whole_night(organisation, whole, console)
        key = None if standing else _new_key(session, organisation)
    finally:
        store.close()
    _say_where(console, folder, url, papers=papers, key=key)
    return 0


def _standing(session: Session, console: Console) -> Organisation | None:
    """Return the demo's organisation where it has been built already.

    Raises:
        Trouble: The database is not the demo's.
    """
    name = seed.scenario()["organisation"]["name"]
    found = session.organisations()
    if not found:
        return None
    if [one.name for one in found] != [name]:
        raise Trouble("This folder holds a database that is not the demo's; choose another with --folder.")
    console.print(f"{name} stands here already; tonight's run follows.", markup=False)
    return found[0]


def _built(session: Session, console: Console) -> Organisation:
    name = seed.scenario()["organisation"]["name"]
    law = [read_pack(text, file=file).pack for file, text in seed.law_files().items()]
    number = next_organisation_id(session.store, server_number=session.settings.server_number)
    with session.store.transaction(session.origin(number)) as unit:
        made = create_organisation(unit, OrganisationStated(name=name, base_currency=seed.scenario()["organisation"]["base_currency"]))
        columns = (SpinnerColumn(), TextColumn("building {task.description}"))
        with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as progress:
            task = progress.add_task(name, total=PARTS)
            for part in seed.build(unit, law):
                progress.update(task, advance=1, description=part)
    return made


def _new_key(session: Session, organisation: Organisation) -> str:
    public_id, secret = new_key_parts()
    with session.store.transaction(session.origin(organisation.id)) as unit:
        create_key(unit, ApiKeyStated(name="demo", access=Access.WRITE), public_id=public_id, secret=secret)
    return key_text(public_id, secret)


def _say_where(console: Console, folder: Path, url: str, *, papers: list[Path], key: str | None) -> None:
    program = _program()
    if key is None:
        asked = [
            f"  {program} key create --name mine              # the first run's key cannot be shown again",
            "  export KEY=rbk_...                                    # the key just shown",
        ]
    else:
        asked = [f"  export KEY={key}"]
    lines = [
        "",
        "Everything here is invented: organisation, sites, makers and laws.",
        f"Database   {folder / 'reedbed.sqlite3'}",
        f"Papers     {folder / 'papers'}",
        *(f"           {path.name}" for path in papers if path.suffix == ".pdf"),
        "",
        "Try next:",
        f"  export REEDBED_DATABASE_URL={shlex.quote(url)}",
        f"  {program} nightly --site 'Reedmere House'     # again: nothing is added",
        f"  {program} verify                              # the journal's chain and every record",
        *asked,
        f"  {program} serve                               # then open http://127.0.0.1:8000/docs",
        '  curl -H "Authorization: Bearer $KEY" http://127.0.0.1:8000/v1/replacements',
        f"  {program} law list                            # the invented law, as dated data",
    ]
    console.print("\n".join(lines), markup=False, soft_wrap=True)


def _program() -> str:
    """Return how this program is started again from here."""
    if shutil.which("reedbed"):
        return "reedbed"
    if Path(sys.argv[0]).stem == "reedbed":
        return shlex.quote(sys.argv[0])
    return f"{shlex.quote(sys.executable)} -m api"
