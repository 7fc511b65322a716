"""``reedbed law``: rule packs are checked, put on record and listed, and their schema is printed."""

from __future__ import annotations

import sys
from argparse import Namespace
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path

from rich.console import Console
from rich.table import Table
from rich.text import Text

from api.commands.session import opened, say_json
from api.commands.trouble import Trouble
from api.law import Flaw, PackRefused, ReadPack, read_pack, schema_text
from domain.actions.law import Loaded, law_as_of, load_pack
from domain.errors import RuleBroken
from domain.records.engine import run_unit
from domain.records.unit import Unit
from domain.rules.law.decision import DISCLAIMER
from domain.rules.law.packs import OnRecord, RulePack
from domain.rules.law.requirements import Requirement


def check(words: Namespace, console: Console) -> int:
    """Say of each pack whether it can be taken after those before it; the exit status is 1 where one cannot."""
    known, flaws = OnRecord(), list[Flaw]()
    for path in words.files:
        try:
            read = read_pack(_text_of(path), file=str(path))
            known = read.check(known, today=datetime.now(UTC).date())
        except PackRefused as refused:
            flaws += refused.flaws
            continue
        console.print(f"{path}: {_in_words(read.pack)}", markup=False, soft_wrap=True)
    _say_flaws(flaws, console)
    _say_disclaimer(console)
    return 1 if flaws else 0


def load(words: Namespace, console: Console) -> int:
    """Put packs on record, one after the other, all of them or none; the exit status is 1 where one cannot be taken."""
    try:
        packs = [read_pack(_text_of(path), file=str(path)) for path in words.files]
        with opened("law load") as session:
            origin = session.origin(session.organisation(words.organisation).id)
            loaded: Sequence[Loaded] = run_unit(session.store, lambda unit: [_loaded(unit, one) for one in packs], origin=origin)
    except PackRefused as refused:
        _say_flaws(refused.flaws, console)
        return 1
    for read, one in zip(packs, loaded, strict=True):
        console.print(f"{read.file}: {read.pack.name} {read.pack.version}: {_changes(one)}", markup=False, soft_wrap=True)
    _say_disclaimer(console)
    return 0


def list_law(words: Namespace, console: Console) -> int:
    """List the requirements on record, in all their versions."""
    with opened("law list") as session, session.store.snapshot(session.origin(session.organisation(words.organisation).id)) as unit:
        law = law_as_of(unit)
    if words.json:
        say_json({"disclaimer": DISCLAIMER, "requirements": [_row(one) for one in law.requirements]})
        return 0
    table = Table(box=None, pad_edge=False, header_style="dim")
    for heading in ("code", "version", "where", "from", "until", "title"):
        table.add_column(heading, overflow="fold", no_wrap=heading != "title")
    for one in law.requirements:
        until = "" if one.applies_until is None else one.applies_until.isoformat()
        cells = (one.code, one.version, one.jurisdiction, one.applies_from.isoformat(), until, one.title)
        table.add_row(*map(Text, cells))
    console.print(table if law.requirements else "No rule pack is on record yet. Load one with: reedbed law load FILE")
    _say_disclaimer(console)
    return 0


def schema(words: Namespace, console: Console) -> int:  # noqa: ARG001 - every command takes both
    """Print the JSON Schema of rule packs."""
    sys.stdout.write(schema_text())
    return 0


def _loaded(unit: Unit, read: ReadPack) -> Loaded:
    """Put a pack on record.

    Raises:
        PackRefused: It cannot be taken beside what is on record; each reason is said with its line.
    """
    try:
        return load_pack(unit, read.pack)
    except RuleBroken as refused:
        read.refuse(refused.faults)
        raise


def _text_of(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except OSError as unreadable:
        raise Trouble(f"{path} cannot be read: {unreadable.strerror}") from unreadable
    except UnicodeDecodeError as other:
        raise Trouble(f"{path} is not UTF-8 text") from other


def _in_words(pack: RulePack) -> str:
    counts = {"requirement": len(pack.requirements), "kind of document": len(pack.kinds), "jurisdiction": len(pack.jurisdictions)}
    kind = ", fictional" if pack.fictional else ""
    return f"{pack.name} {pack.version}{kind}: {_counted(counts)}"


def _changes(one: Loaded) -> str:
    said = [f"{_counted(counts)} {verb}" for counts, verb in ((one.added, "added"), (one.changed, "changed")) if counts]
    return "; ".join(said) or "on record already, nothing is changed"


def _counted(counts: Mapping[str, int]) -> str:
    return ", ".join(f"{count} {_plural(noun.replace('_', ' '), count)}" for noun, count in counts.items())


def _plural(noun: str, count: int) -> str:
    if count == 1:
        return noun
    first, *rest = noun.split(" of ")
    return " of ".join((f"{first}s", *(f"{one}s" for one in rest)))


def _row(one: Requirement) -> Mapping[str, object]:
    return {
        "pack": one.pack,
        "code": one.code,
        "version": one.version,
        "jurisdiction": one.jurisdiction,
        "consequence": one.consequence,
        "listed_on": one.listed_on,
        "applies_from": one.applies_from,
        "applies_until": one.applies_until,
        "title": one.title,
        "citation": one.citation,
        "reviewed_on": one.reviewed_on,
    }


def _say_flaws(flaws: Sequence[Flaw], console: Console) -> None:
    for flaw in flaws:
        console.print(str(flaw), markup=False, soft_wrap=True)


def _say_disclaimer(console: Console) -> None:
    console.print(DISCLAIMER, markup=False, soft_wrap=True)
