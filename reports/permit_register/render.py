"""The permit register as a paper, lying: what is open, the permits by their last day, their conditions and their scans."""

from collections.abc import Sequence
from typing import Final

from domain.rules.law.decision import DISCLAIMER
from reports import words
from reports.canonical import record_hash
from reports.check_box import draw_check_box
from reports.fonts import Face
from reports.notes import Notes, draw_notes
from reports.page import BODY_SIZE, LYING, SECTION_HEIGHT, Furniture, Paper
from reports.permit_register import compose
from reports.permit_register.sheet import MOST_PERMITS, PermitLine, PermitRegisterSheet
from reports.tables import MOST_CELL_LINES, Column, Row, Setting, Table

NAME: Final = "Permit register"
NOTHING: Final = "None on record."

_setting = Setting(pad=2.6, lowest_row=15.2, most_lines=MOST_CELL_LINES)
_between = 10.0
_sub_height = 20.0
uncovered_columns = (
    Column("animal", "animal and its record", 198),
    Column("taxon", "taxon", 140),
    Column("where", "where", 110),
    Column("count", "animals", 54, align="right"),
    Column("why", "why", 271.8),
)
permit_columns = (
    Column("number", "no.", 32, align="right"),
    Column("until", "last day", 112),
    Column("permit", "permit and its record", 130),
    Column("whose", "authority and holder", 118),
    Column("scope", "what it is for", 138),
    Column("validity", "validity, and the rule it comes from", 144),
    Column("animals", "animals against it", 99.8),
)
condition_columns = (
    Column("number", "no.", 32, align="right"),
    Column("permit", "permit, and the condition's record", 198),
    Column("text", "condition", 240),
    Column("due", "due", 86),
    Column("met", "met on", 72),
    Column("proof", "how that can be shown", 145.8),
)
scan_columns = (
    Column("number", "no.", 32, align="right"),
    Column("permit", "permit", 130),
    Column("document", "attached scan and its record", 210),
    Column("dated", "dated", 72),
    Column("reference", "its number", 110),
    Column("fingerprint", "fingerprint of the file (SHA-256)", 219.8),
)


def permit_register_pdf(sheet: PermitRegisterSheet) -> bytes:
    """Return the paper; equal sheets give equal bytes."""
    furniture, notes = _furniture(sheet), Notes()
    paper = Paper(furniture, size=LYING)
    of_what = sheet.site or "whole organisation"
    paper.title(f"{NAME} · {of_what}", under=[f"As of {words.long_date(sheet.today)}", *([sheet.address] if sheet.address else [])])
    paper.sentence(DISCLAIMER, size=BODY_SIZE)
    paper.skip(_between)
    paper.figures(compose.figures(sheet))
    _draw_open_items(paper, sheet)
    _draw_permits(paper, sheet, notes)
    draw_notes(paper, notes.long)
    of_record = furniture.record_hash
    draw_check_box(paper, paper_id=sheet.paper_id, record_hash=of_record, check_at=sheet.check_at, sealed=sheet.sealed)
    return paper.finished()


def _furniture(sheet: PermitRegisterSheet) -> Furniture:
    return Furniture(
        paper_id=sheet.paper_id,
        organisation=sheet.organisation,
        name=NAME,
        title=f"{NAME} · {sheet.site or sheet.organisation} · {sheet.today.isoformat()}",
        data_as_of=sheet.data_as_of,
        generated_at=sheet.generated_at,
        zone=sheet.zone,
        record_hash=record_hash(sheet),
        check_at=sheet.check_at,
    )


def _draw_open_items(paper: Paper, sheet: PermitRegisterSheet) -> None:
    found, name = compose.open_items(sheet), "Animals that are not in order"
    table = Table(uncovered_columns, compose.uncovered_rows(sheet.uncovered), setting=_setting)
    paper.need(SECTION_HEIGHT + (_sub_height + table.least_height if sheet.uncovered else 4 * BODY_SIZE))
    paper.section(f"Open items · {words.number(sheet.uncovered_in_all + len(found))}")
    if not sheet.uncovered and not found and not sheet.animals_overridden:
        paper.sentence("None: every animal is covered, and no permit or condition wants anything on this day.", size=BODY_SIZE)
    if sheet.uncovered:
        paper.sentence(f"{name} · {words.plural(sheet.uncovered_in_all, 'record')}", size=BODY_SIZE + 1, face=Face.BOLD)
        paper.skip(2)
        table.draw(paper, name=name)
        paper.skip(_between)
    left_off = sheet.uncovered_in_all - len(sheet.uncovered)
    if left_off:
        sentence = f"{words.number(left_off)} more records are not in order; /v1/compliance lists all of them."
        paper.sentence(sentence, size=BODY_SIZE)
    if found:
        paper.need(_sub_height + 3 * BODY_SIZE)
        paper.sentence(f"Permits and their conditions · {words.number(len(found))}", size=BODY_SIZE + 1, face=Face.BOLD)
        paper.skip(2)
    for sentence in found:
        paper.sentence(f"ACT NOW · {sentence}", size=BODY_SIZE)
    if sheet.animals_overridden:
        paper.sentence(compose.overridden(sheet.animals_overridden), size=BODY_SIZE)
    paper.skip(_between)


def _draw_permits(paper: Paper, sheet: PermitRegisterSheet, notes: Notes) -> None:
    printed = sheet.permits[:MOST_PERMITS]
    current = [line for line in printed if not compose.is_over(line, on=sheet.today)]
    over = [line for line in printed if compose.is_over(line, on=sheet.today)]
    of_sites = sheet.site is None
    _draw_section(paper, "Permits", compose.permit_rows(current, notes, on=sheet.today, of_sites=of_sites), permit_columns)
    if over:
        rows = compose.permit_rows(over, notes, on=sheet.today, first=len(current) + 1, of_sites=of_sites)
        _draw_section(paper, "Permits that are over, and replaced or used", rows, permit_columns)
    if len(sheet.permits) > len(printed):
        left_off = len(sheet.permits) - len(printed)
        paper.sentence(f"{words.number(left_off)} more permits are left off this paper; its CSV has all of them.", size=BODY_SIZE)
        paper.skip(_between)
    paper.sentence(compose.BY_WHICH, size=BODY_SIZE, tone="muted")
    paper.skip(_between)
    ordered: Sequence[PermitLine] = [*current, *over]
    _draw_section(paper, "Conditions", compose.condition_rows(ordered, notes, on=sheet.today), condition_columns)
    _draw_section(paper, "Attached scans", compose.scan_rows(ordered), scan_columns)


def _draw_section(paper: Paper, name: str, rows: Sequence[Row], columns: Sequence[Column]) -> None:
    if not rows:
        paper.need(SECTION_HEIGHT + 2 * BODY_SIZE)
        paper.section(name)
        paper.sentence(NOTHING, size=BODY_SIZE)
        paper.skip(_between)
        return
    table = Table(columns, rows, setting=_setting)
    paper.need(SECTION_HEIGHT + table.least_height)
    paper.section(f"{name} · {words.number(len(rows))}")
    table.draw(paper, name=name)
    paper.skip(_between)
