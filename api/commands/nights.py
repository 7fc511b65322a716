"""``reedbed nightly`` and ``reedbed verify``."""

from __future__ import annotations

from argparse import Namespace
from pathlib import Path

from rich.console import Console
from rich.progress import Progress
from rich.table import Table
from rich.text import Text

from api.commands.session import Session, Trouble, instant, opened, say_json
from api.nightly import SiteNight, all_forecasts, run_nights
from api.printing import SUFFIXES, Form, item_json
from domain.actions.verify import Proof, prove
from domain.records.organisations import Organisation
from domain.rules.calendar import in_words
from domain.rules.service_life import Standing

ROWS_SHOWN = 12


def nightly(words: Namespace, console: Console) -> int:
    """Run the night at each site; the exit status is 1 if any failed."""
    with opened("nightly", at=instant(words.at) if words.at else None) as session:
        chosen = [session.organisation(words.organisation)] if words.organisation else session.organisations()
        nights = [(one, night) for one in chosen for night in _nights(session, one, words, console)]
        if words.json:
            say_json({"at": session.now, "sites": [_site_json(session, one, night) for one, night in nights]})
        else:
            for _, night in nights:
                show_night(night, console)
        for _, night in nights:
            for path in write_papers(night, words.papers):
                console.print(str(path), markup=False, soft_wrap=True)
    return 1 if any(night.error for _, night in nights) else 0


def verify(words: Namespace, console: Console) -> int:
    """Prove the journal and the records of each organisation; the exit status is 1 if anything is wrong."""
    with opened("verify") as session:
        chosen = [session.organisation(words.organisation)] if words.organisation else session.organisations()
        proofs: list[tuple[Organisation, Proof]] = []
        for one in chosen:
            with session.store.snapshot(session.origin(one.id)) as unit:
                proofs.append((one, prove(unit)))
    for one, proof in proofs:
        verdict = f"{len(proof.flaws)} flaws" if proof.flaws else "the chain holds and the records agree"
        console.print(f"{one.name}: {proof.entries} entries, {proof.records} records: {verdict}", markup=False, soft_wrap=True)
        for flaw in proof.flaws[:ROWS_SHOWN]:
            console.print(f"  {flaw.sentence}", markup=False, soft_wrap=True)
    return 1 if any(proof.flaws for _, proof in proofs) else 0


def show_night(night: SiteNight, console: Console) -> None:
    """Print how the night went at a site, with the first rows of its list."""
    name = night.site.name
    if night.due is None:
        console.print(f"{name}: FAILED: {night.error}", markup=False, style="bold")
        return
    counts = ", ".join(f"{count} {standing.value.replace('_', ' ')}" for standing, count in night.due.counts.items())
    console.print(
        f"{name}, {in_words(night.today)}: {counts}{'' if night.added else ' (as before; nothing added)'}",
        markup=False,
        style="bold",
        soft_wrap=True,
    )
    shown = [one for one in night.due.items if one.forecast.standing is not Standing.GOOD][:ROWS_SHOWN]
    if not shown:
        return
    table = Table(box=None, pad_edge=False, header_style="dim")
    for heading in ("tag", "place", "item", "due", "why"):
        table.add_column(heading, overflow="fold", no_wrap=heading in {"tag", "due"})
    for item in shown:
        due = item.forecast.due_on or item.forecast.no_later_than
        table.add_row(
            *(
                Text(cell)
                for cell in (
                    item.tag,
                    item.place,
                    item.model.name,
                    due.isoformat() if due else "unknown",
                    item.forecast.reason,
                )
            )
        )
    console.print(table)
    if len(night.due.items) > len(shown):
        console.print(f"  and {len(night.due.items) - len(shown)} more on the paper", style="dim")


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
        "items": items,
    }


def write_papers(night: SiteNight, folder: Path | None) -> list[Path]:
    """Write a night's new papers into a folder, if one is given, and return where they are."""
    if folder is None:
        return []
    folder.mkdir(parents=True, exist_ok=True)
    stem = "".join(c if c.isascii() and c.isalnum() else "-" for c in night.site.name.lower())
    paths = [folder / f"{night.today.isoformat()}-{stem}-replacement-due.{SUFFIXES[Form(file.form)]}" for file in night.files]
    for path, file in zip(paths, night.files, strict=True):
        path.write_bytes(file.content)
    return paths
