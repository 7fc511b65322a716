"""``reedbed import`` and ``reedbed template``."""

from __future__ import annotations

from argparse import Namespace
from pathlib import Path

from rich.console import Console
from rich.table import Table
from rich.text import Text

from api.commands.session import Session, instant, opened, say_json
from api.commands.trouble import Trouble
from api.importing import ImportOptions, ImportReport, import_file
from api.importing.templates import TemplateForm, template
from domain.errors import RuleBroken
from domain.records.nights import ImportKind

ROWS_SHOWN = 50


def import_list(words: Namespace, console: Console) -> int:
    """Import a file; the exit status is 1 where refused rows keep everything from being written, or in a dry run would."""
    kind = kind_named(words.kind)
    content, mapping = _bytes_of(words.file), _bytes_of(words.map) if words.map else None
    said = _text_of(words.map, mapping) if mapping is not None else None
    with opened("import", at=instant(words.at) if words.at else None) as session, console.status(f"reading {words.file.name}"):
        report = _imported(session, words, content, kind=kind, mapping=said)
    if words.json:
        say_json(report)
    else:
        _say(report, console, skips=words.skip_invalid)
    return 1 if report.refused and not words.skip_invalid else 0


def _imported(session: Session, words: Namespace, content: bytes, *, kind: ImportKind, mapping: str | None) -> ImportReport:
    origin = session.origin(session.organisation(words.organisation).id)
    options = ImportOptions(words.dry_run, words.skip_invalid, words.create_enclosures)
    try:
        return import_file(session.store, content, file_name=words.file.name, kind=kind, origin=origin, mapping=mapping, options=options)
    except RuleBroken as refused:
        if refused.code != "headings-not-found":
            raise
        said = f"Mend [columns] in {words.map}" if words.map else "Say with --map MAP.toml which column is which"
        raise Trouble(f"{refused.detail}\n{said}, or begin from an empty list: reedbed template {kind.value} LIST.xlsx") from refused


def write_template(words: Namespace, console: Console) -> int:
    """Write an empty list with the headings that need no mapping. A file that is there already is left as it is."""
    path: Path = words.file
    content = template(kind_named(words.kind), form=_form_of(path))
    try:
        with path.open("xb") as file:
            file.write(content)
    except FileExistsError as there:
        raise Trouble(f"{path} is there already and is not overwritten. Give another name") from there
    except OSError as refused:
        raise Trouble(f"{path} cannot be written: {refused.strerror}") from refused
    console.print(str(path), markup=False, soft_wrap=True)
    return 0


def kind_named(word: str) -> ImportKind:
    """Return the kind of list that a word names.

    Raises:
        Trouble: There is none of that name.
    """
    kinds = {kind.value: kind for kind in ImportKind}
    found = kinds.get(word.strip().lower().replace("_", "-").replace(" ", "-"))
    if found is None:
        raise Trouble(f"There is no kind of list {word!r}; there are: {', '.join(kinds)}")
    return found


def _form_of(path: Path) -> TemplateForm:
    try:
        return TemplateForm(path.suffix.removeprefix(".").lower())
    except ValueError as unknown:
        raise Trouble(f"A template ends in .xlsx or .csv, not {path.name!r}") from unknown


def _bytes_of(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as unreadable:
        raise Trouble(f"{path} cannot be read: {unreadable.strerror}") from unreadable


def _text_of(path: Path, content: bytes) -> str:
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as other:
        raise Trouble(f"{path} is not UTF-8 text") from other


def _say(report: ImportReport, console: Console, *, skips: bool) -> None:
    rows = _counted(report.rows_read, "row")
    console.print(f"{report.file_name}: {rows} read; {_verdict(report, skips=skips)}", markup=False, style="bold", soft_wrap=True)
    create, change, make = ("created", "changed", "made") if report.written else ("to create", "to change", "to make")
    made = f", {_counted(report.enclosures_created, 'enclosure')} {make}" if report.enclosures_created else ""
    console.print(
        f"{report.created} {create}, {report.changed} {change}, {report.unchanged} unchanged, {report.refused} refused, "
        f"{_counted(report.skipped_totals, 'total line')} left out{made}",
        markup=False,
        soft_wrap=True,
    )
    if report.ignored_columns:
        heading = "Column not read" if len(report.ignored_columns) == 1 else "Columns not read"
        console.print(f"{heading}: {', '.join(report.ignored_columns)}", markup=False, soft_wrap=True)
    for title, remarks in (("Refused", report.refusals), ("Notices", report.notices)):
        if not remarks:
            continue
        table = Table(title=title, title_justify="left", box=None, pad_edge=False, header_style="dim")
        for heading in ("row", "column", "value", "why"):
            table.add_column(heading, overflow="fold")
        for one in remarks[:ROWS_SHOWN]:
            table.add_row(*(Text(str(cell)) for cell in (one.row, one.column or "", one.value or "", one.reason)))
        console.print(table)
        if len(remarks) > ROWS_SHOWN:
            console.print(f"  and {len(remarks) - ROWS_SHOWN} more; --json shows them all", style="dim")


def _verdict(report: ImportReport, *, skips: bool) -> str:
    mend = "mend the refused rows, or say --skip-invalid to leave them out"
    if not report.dry_run:
        return "written" if report.written else f"NOTHING was written: {mend}"
    if report.refused and not skips:
        return f"dry run; without it this would write NOTHING: {mend}"
    return "dry run, nothing was written"


def _counted(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
