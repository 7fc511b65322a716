"""``reedbed import`` and ``reedbed template``."""

from __future__ import annotations

from argparse import Namespace
from pathlib import Path

from rich.console import Console
from rich.table import Table
from rich.text import Text

from api.commands.session import Trouble, instant, opened, say_json
from api.importing import ImportOptions, ImportReport, import_file
from api.importing.templates import TemplateForm, template
from domain.records.nights import ImportKind

ROWS_SHOWN = 50


def import_list(words: Namespace, console: Console) -> int:
    """Import a file; the exit status is 1 where rows were refused and nothing was written."""
    kind = kind_named(words.kind)
    content, mapping = _bytes_of(words.file), _bytes_of(words.map) if words.map else None
    options = ImportOptions(words.dry_run, words.skip_invalid, words.create_enclosures)
    with opened("import", at=instant(words.at) if words.at else None) as session:
        organisation = session.organisation(words.organisation)
        with console.status(f"reading {words.file.name}"):
            report = import_file(
                session.store,
                content,
                file_name=words.file.name,
                kind=kind,
                origin=session.origin(organisation.id),
                mapping=_text_of(words.map, mapping) if mapping is not None else None,
                options=options,
            )
    if words.json:
        say_json(report)
    else:
        _say(report, console)
    return 0 if report.written or report.dry_run or not report.refused else 1


def write_template(words: Namespace, console: Console) -> int:
    """Write an empty list with the headings that need no mapping."""
    path: Path = words.file
    path.write_bytes(template(kind_named(words.kind), form=_form_of(path)))
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


def _say(report: ImportReport, console: Console) -> None:
    if report.dry_run:
        verdict = "dry run, nothing was written"
    else:
        verdict = "written" if report.written else "NOTHING was written: mend the refused rows, or say --skip-invalid to leave them out"
    console.print(f"{report.file_name}: {report.rows_read} rows read; {verdict}", markup=False, style="bold", soft_wrap=True)
    create, change, make = ("created", "changed", "made") if report.written else ("to create", "to change", "to make")
    made = f", {report.enclosures_created} enclosures {make}" if report.enclosures_created else ""
    console.print(
        f"{report.created} {create}, {report.changed} {change}, {report.unchanged} unchanged, {report.refused} refused, "
        f"{report.skipped_totals} total lines left out{made}",
        markup=False,
        soft_wrap=True,
    )
    if report.ignored_columns:
        console.print(f"Columns not read: {', '.join(report.ignored_columns)}", markup=False, soft_wrap=True)
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
