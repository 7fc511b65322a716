"""``reedbed retention``: letting go of what nobody has to keep any more."""

from __future__ import annotations

from argparse import Namespace
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa
from rich.console import Console

from api.commands.session import Session, instant, opened, say_json
from api.commands.trouble import Trouble
from api.filing.places import files_of
from domain.actions.documents import let_go_of_files
from domain.actions.retention import LettingGo, let_go
from domain.records.engine import run_unit
from domain.records.organisations import Organisation
from domain.records.statements import Statement
from domain.records.unit import Unit

KEPT_SHOWN = 12
MAY_DELETE = Statement(sa.select(sa.func.has_table_privilege("reading_log", "DELETE")))
"""On PostgreSQL: only the owner may; nothing is granted to the service's role that could destroy evidence."""


class _OnlyLooking(Exception):  # noqa: N818 - how a dry run undoes what it did
    def __init__(self, found: LettingGo) -> None:
        super().__init__()
        self.found = found


def retention(words: Namespace, console: Console) -> int:
    """Let go of every record whose longest period of keeping is over and that nothing holds."""
    at = instant(words.at) if words.at else None
    if at is not None and at > datetime.now(UTC) and not words.dry_run:
        raise Trouble("That instant has not come yet: what is let go of is gone. Look ahead with --dry-run.")
    with opened("retention", at=at, as_owner=True) as session:
        chosen = [session.organisation(words.organisation)] if words.organisation else session.organisations()
        run = _looked if words.dry_run else _done
        done = [(one, run(session, one), 0 if words.dry_run else _files_let_go_of(session, one)) for one in chosen]
    if words.json:
        say_json([_said(one, found, files) for one, found, files in done])
        return 0
    for one, found, files in done:
        _show(one, found, console, would="would let go of" if words.dry_run else "let go of")
        if files:
            console.print(f"  and of {files} files that no document has")
    return 0


def _said(organisation: Organisation, found: LettingGo, files: int) -> dict[str, Any]:
    return {
        "organisation_id": organisation.id,
        "let_go": found.let_go,
        "kept": found.kept,
        "answers": found.answers,
        "files": files,
    }


def _files_let_go_of(session: Session, organisation: Organisation) -> int:
    """Remove the files that no document has, once it is certain that these documents are gone, and return how many those were."""
    files = files_of(session.settings, session.store)

    def act(unit: Unit) -> int:
        unit.take_time()
        return let_go_of_files(unit, files)

    count: int = run_unit(session.store, act, origin=session.origin(organisation.id))
    return count


def _done(session: Session, organisation: Organisation) -> LettingGo:
    """Let go of what need not be kept, and return what that was."""
    found: LettingGo = run_unit(session.store, _let_go, origin=session.origin(organisation.id))
    return found


def _looked(session: Session, organisation: Organisation) -> LettingGo:
    """Return what would be let go of: it is done, and undone again."""

    def look(unit: Unit) -> None:
        raise _OnlyLooking(_let_go(unit))

    try:
        run_unit(session.store, look, origin=session.origin(organisation.id))
    except _OnlyLooking as looked:
        return looked.found
    raise AssertionError("looking always ends by being undone")


def _let_go(unit: Unit) -> LettingGo:
    if unit.dialect == "postgresql" and unit.rows(MAY_DELETE) != [(True,)]:
        raise Trouble("Only the role that owns the tables may let go of records: set REEDBED_OWNER_DATABASE_URL")
    unit.take_time()
    return let_go(unit, today=unit.origin.at.date())


def _show(organisation: Organisation, found: LettingGo, console: Console, *, would: str) -> None:
    counted = ", ".join(f"{count} {kind.replace('_', ' ')}" for kind, count in found.let_go.items()) or "nothing"
    console.print(f"{organisation.name}: {would} {counted}", markup=False, soft_wrap=True)
    for kept in found.kept[:KEPT_SHOWN]:
        console.print(f"  kept {kept.kind.replace('_', ' ')} {kept.subject_id}: {kept.why}", markup=False, soft_wrap=True)
    more = len(found.kept) - len(found.kept[:KEPT_SHOWN])
    if more:
        console.print(f"  and {more} more kept; retention --json names all", markup=False, soft_wrap=True)
