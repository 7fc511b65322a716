"""``reedbed retention``: letting go of what nobody has to keep any more."""

from __future__ import annotations

from argparse import Namespace
from functools import partial

from rich.console import Console

from api.commands.session import instant, opened, say_json
from domain.actions.retention import LettingGo, let_go
from domain.records.engine import run_unit
from domain.records.organisations import Organisation
from domain.records.unit import Unit

KEPT_SHOWN = 12


class _OnlyLooking(Exception):  # noqa: N818 - how a dry run undoes what it did
    def __init__(self, found: LettingGo) -> None:
        super().__init__()
        self.found = found


def retention(words: Namespace, console: Console) -> int:
    """Let go of every ended record whose longest period of keeping is over and that nothing holds."""
    with opened("retention", at=instant(words.at) if words.at else None, as_owner=True) as session:
        chosen = [session.organisation(words.organisation)] if words.organisation else session.organisations()
        done: list[tuple[Organisation, LettingGo]] = []
        for one in chosen:
            work = partial(_let_go, only_look=words.dry_run)
            try:
                done.append((one, run_unit(session.store, work, origin=session.origin(one.id))))
            except _OnlyLooking as looked:
                done.append((one, looked.found))
    if words.json:
        say_json([{"organisation_id": one.id, "let_go": found.let_go, "kept": found.kept, "answers": found.answers} for one, found in done])
        return 0
    for one, found in done:
        _show(one, found, console, would="would let go of" if words.dry_run else "let go of")
    return 0


def _let_go(unit: Unit, *, only_look: bool) -> LettingGo:
    unit.take_time()
    found = let_go(unit, today=unit.origin.at.date())
    if only_look:
        raise _OnlyLooking(found)
    return found


def _show(organisation: Organisation, found: LettingGo, console: Console, *, would: str) -> None:
    counted = ", ".join(f"{count} {kind.replace('_', ' ')}" for kind, count in found.let_go.items()) or "nothing"
    console.print(f"{organisation.name}: {would} {counted}", markup=False, soft_wrap=True)
    for kept in found.kept[:KEPT_SHOWN]:
        console.print(f"  kept {kept.kind.replace('_', ' ')} {kept.subject_id}: {kept.why}", markup=False, soft_wrap=True)
    more = len(found.kept) - len(found.kept[:KEPT_SHOWN])
    if more:
        console.print(f"  and {more} more kept; retention --json names all", markup=False, soft_wrap=True)
