"""The draft of a return as a paper, lying: what is open, the rule's own table, and how the sums come about."""

from collections.abc import Sequence
from typing import Final

from domain.rules.law.decision import DISCLAIMER
from reports import words
from reports.canonical import record_hash
from reports.fonts import Face
from reports.page import BODY_SIZE, LYING, SECTION_HEIGHT, Furniture, Paper
from reports.periodic_return import compose
from reports.periodic_return.sheet import PeriodicReturnSheet
from reports.stock_statement.compose import RULE
from reports.tables import MOST_CELL_LINES, Column, Row, Setting, Table

NAME: Final = "Periodic return, draft"

_setting = Setting(pad=2.6, lowest_row=15.2, most_lines=MOST_CELL_LINES)
_between = 10.0
_sum_columns = (
    Column("what", "row, and the record of its taxon", 262),
    Column("opening", "before", 68, align="right"),
    Column("births", "births", 62, align="right"),
    Column("came", "in", 62, align="right"),
    Column("deaths", "deaths", 62, align="right"),
    Column("went", "out", 62, align="right"),
    Column("otherwise", "otherwise", 70, align="right"),
    Column("closing", "at the end", 70, align="right"),
    Column("sum", "sum", 55.8),
)
_field_columns = (
    Column("field", "field of the rule", 150),
    Column("heading", "heading here", 150),
    Column("meaning", "how it was made", 473.8),
)


def periodic_return_pdf(sheet: PeriodicReturnSheet) -> bytes:
    """Return the paper; equal sheets give equal bytes."""
    paper = Paper(_furniture(sheet), size=LYING)
    period = f"{words.long_date(sheet.from_on)} to {words.long_date(sheet.until_on)}, one {compose.PERIOD_WORDS[sheet.period]}"
    paper.title(f"{NAME} · {sheet.site}", under=[period, *([sheet.address] if sheet.address else [])])
    paper.sentence(compose.DRAFT, size=BODY_SIZE, face=Face.BOLD)
    paper.sentence(DISCLAIMER, size=BODY_SIZE)
    paper.skip(4)
    _draw_rule(paper, sheet)
    paper.figures(compose.figures(sheet))
    _draw_open_items(paper, sheet)
    _draw(paper, "Return", compose.return_rows(sheet), compose.columns(sheet, width=paper.width))
    _draw(paper, "How the sums come about", compose.sum_rows(sheet), _sum_columns)
    paper.sentence(RULE, size=BODY_SIZE, tone="muted")
    paper.sentence(compose.traces(sheet), size=BODY_SIZE, tone="muted")
    paper.skip(_between)
    _draw(paper, "Fields of the rule", compose.field_rows(sheet), _field_columns)
    return paper.finished()


def _furniture(sheet: PeriodicReturnSheet) -> Furniture:
    return Furniture(
        paper_id=sheet.paper_id,
        organisation=sheet.organisation,
        name=NAME,
        title=f"{NAME} · {sheet.site} · {sheet.requirement} · {sheet.from_on.isoformat()} to {sheet.until_on.isoformat()}",
        data_as_of=sheet.data_as_of,
        generated_at=sheet.generated_at,
        zone=sheet.zone,
        record_hash=record_hash(sheet),
    )


def _draw_rule(paper: Paper, sheet: PeriodicReturnSheet) -> None:
    paper.sentence(f"{sheet.requirement}, edition {sheet.edition}, {sheet.obligation}: {sheet.title}", size=BODY_SIZE)
    due = f"due by {words.long_date(sheet.due_on)}"
    paper.sentence(f"{sheet.instrument}; {sheet.citation}; {sheet.jurisdiction}; {due}.", size=BODY_SIZE)
    paper.skip(_between)


def _draw_open_items(paper: Paper, sheet: PeriodicReturnSheet) -> None:
    found = compose.open_items(sheet)
    paper.need(SECTION_HEIGHT + 2 * BODY_SIZE)
    paper.section(f"Open items · {len(found)}")
    for sentence in found or ["None: every field that the rule lists could be filled, and every sum is right."]:
        paper.sentence(sentence, size=BODY_SIZE)
    paper.skip(_between)


def _draw(paper: Paper, name: str, rows: Sequence[Row], columns: Sequence[Column]) -> None:
    if not rows:
        paper.need(SECTION_HEIGHT + 2 * BODY_SIZE)
        paper.section(name)
        paper.sentence("No animals that the rule is about were here in this period.", size=BODY_SIZE)
        paper.skip(_between)
        return
    table = Table(columns, rows, setting=_setting)
    paper.need(SECTION_HEIGHT + table.least_height)
    paper.section(name)
    table.draw(paper, name=name)
    paper.skip(_between)
