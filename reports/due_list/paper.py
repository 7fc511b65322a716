"""The replacement-due list as a paper to carry along the round, lying, with room to write in a wet glove."""

from collections.abc import Sequence
from typing import Final

from reports import words
from reports.canonical import record_hash
from reports.caution_box import draw_cautions
from reports.due_list.cells import due_row, order_row
from reports.due_list.sheet import (
    DueRow,
    DueSheet,
    OrderLine,
    Section,
    in_section,
    listed,
    orders_listed,
    without_spare,
)
from reports.fonts import Face
from reports.page import LYING, SECTION_HEIGHT, Figure, Furniture, Paper
from reports.tables import Column, Row, Setting, Table

NAME: Final = "Replacement-due list"
NOTHING: Final = "Nothing is due at this site."

_due_columns = (
    Column("done", "done", 30, box=True),
    Column("where", "where", 92),
    Column("item", "item", 106),
    Column("why", "why it is due", 152),
    Column("due", "due", 66),
    Column("care", "care", 70),
    Column("spares", "spares", 74),
    Column("serial", "new serial", 82, line=True),
    Column("reading", "reading", 56, line=True),
    Column("initials", "initials", 45.8, line=True),
)
_order_columns = (
    Column("ordered", "ordered", 42, box=True),
    Column("supplier", "supplier", 124),
    Column("model", "model", 136),
    Column("quantity", "quantity", 56, align="right"),
    Column("order_by", "order by", 82),
    Column("lead", "lead time", 56),
    Column("cost", "cost of one", 78, align="right"),
    Column("tags", "for", 106),
    Column("reference", "order number · initials", 93.8, line=True),
)
_hand_over_columns = (
    Column("step", "step", 110, font=Face.BOLD),
    Column("name", "name", 210, line=True),
    Column("date", "date", 100, line=True),
    Column("time", "time", 80, line=True),
    Column("signature", "signature", 273.8, line=True),
)
_setting = Setting()


def due_list_pdf(sheet: DueSheet) -> bytes:
    """Return the paper; equal sheets give equal bytes."""
    paper = Paper(_furniture(sheet), size=LYING)
    rows = listed(sheet)
    paper.title(f"Replacement due · {sheet.site}", under=_under_title(sheet))
    paper.figures(_figures(rows))
    draw_cautions(paper, [id_ for row in rows for id_ in row.cautions])
    _draw_rows(paper, sheet, rows)
    _draw_orders(paper, sheet)
    _draw_hand_over(paper)
    return paper.finished()


def _furniture(sheet: DueSheet) -> Furniture:
    return Furniture(
        paper_id=sheet.paper_id,
        organisation=sheet.organisation,
        name=NAME,
        title=f"Replacement due · {sheet.site} · {sheet.today.isoformat()}",
        data_as_of=sheet.data_as_of,
        generated_at=sheet.generated_at,
        zone=sheet.zone,
        record_hash=record_hash(sheet),
    )


def _under_title(sheet: DueSheet) -> tuple[str, ...]:
    when = f"{words.long_date(sheet.today)} · {sheet.zone}"
    return (when, sheet.address) if sheet.address else (when,)


def _figures(rows: Sequence[DueRow]) -> tuple[Figure, ...]:
    overdue, unknown = len(in_section(rows, "overdue")), len(in_section(rows, "unknown"))
    no_spare = without_spare(rows)
    return (
        Figure(overdue, "overdue", alarm=overdue > 0),
        Figure(len(in_section(rows, "within_48_h")), "due within 48 h"),
        Figure(len(in_section(rows, "within_14_days")), "due within 14 days"),
        Figure(no_spare, "no spare in stock", alarm=no_spare > 0),
        Figure(unknown, "cannot be dated", alarm=unknown > 0),
    )


def _section_names(sheet: DueSheet) -> dict[Section, str]:
    return {
        "overdue": "Overdue",
        "within_48_h": "Within 48 hours (today, tomorrow and the day after)",
        "within_14_days": "Within 14 days",
        "later": f"Later, within {sheet.later_days} days",
        "unknown": "Cannot be dated (facts are missing)",
    }


def _draw_rows(paper: Paper, sheet: DueSheet, rows: Sequence[DueRow]) -> None:
    if not rows:
        paper.sentence(NOTHING, size=13, face=Face.BOLD)
    for section, name in _section_names(sheet).items():
        of_section = in_section(rows, section)
        if of_section:
            printed = [due_row(row, today=sheet.today) for row in of_section]
            _draw_table(paper, name, printed, columns=_due_columns)
    paper.skip(6)
    paper.sentence(_good(sheet.counts_good), tone="muted")
    paper.skip(12)


def _good(count: int) -> str:
    verb = "is" if count == 1 else "are"
    return f"{words.plural(count, 'item')} {verb} in good standing and not on this list."


def _draw_table(paper: Paper, name: str, rows: Sequence[Row], *, columns: Sequence[Column]) -> None:
    table = Table(columns, rows, setting=_setting)
    paper.need(SECTION_HEIGHT + table.least_height)
    paper.section(f"{name} · {len(rows)}")
    table.draw(paper, name=name)
    paper.skip(12)


def _draw_orders(paper: Paper, sheet: DueSheet) -> None:
    orders = orders_listed(sheet)
    if not orders:
        return
    _draw_table(paper, "To order", [order_row(order, today=sheet.today) for order in orders], columns=_order_columns)
    sums = _sums(orders)
    if sums:
        paper.sentence(sums)
        paper.skip(12)


def _sums(orders: Sequence[OrderLine]) -> str:
    """Return the cost of all lines whose cost is known, by currency; says of how many lines it is the sum."""
    priced = [(order.currency, order.quantity * order.unit_cost_minor) for order in orders if order.unit_cost_minor is not None]
    if not priced:
        return ""
    sums = {currency: sum(cost for name, cost in priced if name == currency) for currency, _ in sorted(priced)}
    together = " and ".join(words.money(cost, currency=currency) for currency, cost in sums.items())
    return f"Together {together}, for the {len(priced)} of {words.plural(len(orders), 'line')} whose cost is known."


def _draw_hand_over(paper: Paper) -> None:
    rows = [Row({"step": step}) for step in ("Handed out", "Carried out", "Returned")]
    table = Table(_hand_over_columns, rows, setting=_setting)
    paper.need(SECTION_HEIGHT + table.head_height + 3 * _setting.lowest_row)
    paper.section("Hand-over")
    table.draw(paper, name="Hand-over")
