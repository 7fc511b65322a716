"""The stock statement as a paper, upright: what is open, the statement with its sums, and the movements behind it."""

from typing import Final

from reports import words
from reports.canonical import record_hash
from reports.page import BODY_SIZE, SECTION_HEIGHT, Furniture, Paper
from reports.stock_statement import compose
from reports.stock_statement.sheet import StockStatementSheet
from reports.tables import MOST_CELL_LINES, Column, Setting, Table

NAME: Final = "Stock statement"
LAW: Final = "Not legal advice: local codes, the issuing authority and licensed practice come first."

_setting = Setting(pad=2.6, lowest_row=15.2, most_lines=MOST_CELL_LINES)
_between = 10.0
stock_columns = (
    Column("what", "taxon, sex and stage", 145.2),
    Column("opening", "opening", 56, align="right"),
    Column("births", "births", 42, align="right"),
    Column("came", "in", 42, align="right"),
    Column("deaths", "deaths", 44, align="right"),
    Column("went", "out", 42, align="right"),
    Column("otherwise", "otherwise", 64, align="right"),
    Column("closing", "closing", 50, align="right"),
    Column("sum", "sum", 42),
)
movement_columns = (
    Column("number", "no.", 30, align="right"),
    Column("on", "on", 62),
    Column("animal", "animal", 128),
    Column("what", "what happened", 92),
    Column("animals", "number", 48, align="right"),
    Column("entries", "entered under", 167.2),
)


def stock_statement_pdf(sheet: StockStatementSheet) -> bytes:
    """Return the paper; equal sheets give equal bytes."""
    paper = Paper(_furniture(sheet))
    period = f"{words.long_date(sheet.from_on)} to {words.long_date(sheet.until_on)}"
    paper.title(f"{NAME} · {sheet.site}", under=[period, *([sheet.address] if sheet.address else [])])
    paper.figures(compose.figures(sheet))
    _draw_open_items(paper, sheet)
    _draw_statement(paper, sheet)
    paper.sentence(LAW, size=BODY_SIZE)
    paper.skip(_between)
    _draw_movements(paper, sheet)
    return paper.finished()


def _furniture(sheet: StockStatementSheet) -> Furniture:
    period = f"{sheet.from_on.isoformat()} to {sheet.until_on.isoformat()}"
    return Furniture(
        paper_id=sheet.paper_id,
        organisation=sheet.organisation,
        name=NAME,
        title=f"{NAME} · {sheet.site} · {period}",
        data_as_of=sheet.data_as_of,
        generated_at=sheet.generated_at,
        zone=sheet.zone,
        record_hash=record_hash(sheet),
    )


def _draw_open_items(paper: Paper, sheet: StockStatementSheet) -> None:
    found = compose.open_items(sheet)
    paper.need(SECTION_HEIGHT + 2 * BODY_SIZE)
    paper.section(f"Open items · {len(found)}")
    for sentence in found or ["None: every sum is right, and no number of the closing is an estimate."]:
        paper.sentence(sentence, size=BODY_SIZE)
    paper.skip(_between)


def _draw_statement(paper: Paper, sheet: StockStatementSheet) -> None:
    if not sheet.lines:
        paper.need(SECTION_HEIGHT)
        paper.section("Statement")
        paper.sentence(compose.NOTHING, size=BODY_SIZE)
        paper.skip(_between)
        return
    table = Table(stock_columns, compose.stock_rows(sheet), setting=_setting)
    paper.need(SECTION_HEIGHT + table.least_height)
    paper.section("Statement")
    table.draw(paper, name="Statement")
    paper.skip(4)
    paper.sentence(compose.RULE, size=BODY_SIZE, tone="muted")
    paper.skip(4)


def _draw_movements(paper: Paper, sheet: StockStatementSheet) -> None:
    rows = compose.movement_rows(sheet)
    if not rows:
        return
    table = Table(movement_columns, rows, setting=_setting)
    paper.need(SECTION_HEIGHT + table.least_height)
    paper.section(f"Movements · {words.number(sheet.movements_in_all)}")
    table.draw(paper, name="Movements")
    paper.skip(_between)
