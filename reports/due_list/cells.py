"""What stands in the cells of the replacement-due list and of the order list."""

from collections.abc import Iterable
from datetime import date

from domain.rules.forecast import FACT_WORDS
from reports import words
from reports.cautions import in_order
from reports.due_list.sheet import DueRow, OrderLine
from reports.fonts import Face
from reports.tables import Phrase, Row
from reports.text import Tone

_verbs = {"replacement": "Replace", "check": "Check"}
_no_break = "\u00a0"
_short = 14  # letters, about what the narrowest column holds


def due_row(row: DueRow, *, today: date) -> Row:
    """Return the row as it is printed; the cells to write in stay empty."""
    return Row(
        {
            "done": str(row.number),
            "where": _texts((row.place, Face.BOLD), (row.position, Face.REGULAR)),
            "item": (Phrase(row.tag, Face.BOLD), Phrase(row.model), Phrase(row.kind.replace("_", " "), tone="muted")),
            "why": _why(row),
            "due": _due(row, today=today),
            "care": _unbroken(caution.word for caution in in_order(row.cautions)),
            "spares": _spares(row, today=today),
        },
        act_now=acts_now(row, today=today),
    )


def acts_now(row: DueRow, *, today: date) -> bool:
    """Return whether the item needs somebody today: overdue, due today, or planned for today or before."""
    planned = row.do_on is not None and row.do_on <= today
    return planned or row.section == "overdue" or row.standing in {"overdue", "due"}


def order_row(order: OrderLine, *, today: date) -> Row:
    """Return the order line as it is printed; the cells to write in stay empty."""
    unit = order.unit_cost_minor
    return Row(
        {
            "supplier": (Phrase(order.supplier or "no supplier on record", Face.BOLD),),
            "model": order.model,
            "quantity": str(order.quantity),
            "order_by": _order_by(order, today=today),
            "lead": "not known" if order.lead_days is None else words.plural(order.lead_days, "day"),
            "cost": "not known" if unit is None else words.money(unit, currency=order.currency),
            "tags": _unbroken(order.tags) or "shelf below its mark",
        },
        act_now=order.late or (order.order_by is not None and order.order_by <= today),
    )


def _unbroken(words_: Iterable[str]) -> str:
    """Return the words after commas; two short words that are one term stay on one line."""
    return ", ".join(word.replace(" ", _no_break) if len(word) <= _short else word for word in words_)


def _texts(*texts: tuple[str, Face]) -> tuple[Phrase, ...]:
    return tuple(Phrase(text, face) for text, face in texts if text)


def _why(row: DueRow) -> tuple[Phrase, ...]:
    due = row.due_on or row.no_later_than
    missing = ", ".join(FACT_WORDS.get(fact, fact) for fact in row.missing)
    if row.standing == "unknown" and missing:
        known = (Phrase(f"else {_verbs[row.needs].lower()}: {row.reason}"),) if due is not None else ()
        return (Phrase("Find out:", Face.BOLD), Phrase(missing), *known)
    phrases = [Phrase(f"{_verbs[row.needs]}: {row.reason}")]
    if row.do_on is not None and due is not None and row.do_on < due:
        phrases += [Phrase(f"Do on {words.short_date(row.do_on)}", Face.BOLD), Phrase(row.because)]
    if row.conflict:
        phrases.append(Phrase(row.conflict, Face.OBLIQUE))
    if missing:
        phrases.append(Phrase(f"Missing: {missing}"))
    return tuple(phrases)


def _due(row: DueRow, *, today: date) -> tuple[Phrase, ...]:
    if row.due_on is not None:
        return _dated(row.due_on, today=today)
    if row.no_later_than is not None:
        return (Phrase("no later than"), *_dated(row.no_later_than, today=today))
    return (Phrase("not known", Face.BOLD),)


def _dated(day: date, *, today: date) -> tuple[Phrase, ...]:
    tone: Tone = "alarm" if day <= today else "ink"
    return (Phrase(words.short_date(day), Face.BOLD), Phrase(words.distance(day, today=today), tone=tone))


def _spares(row: DueRow, *, today: date) -> tuple[Phrase, ...]:
    if row.needs == "check" and row.standing != "unknown":
        return ()
    if row.spares_on_hand > 0:
        return _texts((f"{row.spares_on_hand} on hand", Face.REGULAR), (_shelf(row), Face.REGULAR))
    phrases = [Phrase("none on hand", Face.BOLD)]
    if row.spares_on_order > 0:
        return (*phrases, Phrase(f"{row.spares_on_order} on order"))
    if row.needs == "replacement" and row.order_by is not None:
        advice = "order now, latest was" if row.order_by < today else "order by"
        phrases.append(Phrase(f"{advice} {words.short_date(row.order_by)}"))
    return tuple(phrases)


def _shelf(row: DueRow) -> str:
    return f"shelf {row.shelf}" if row.shelf else ""


def _order_by(order: OrderLine, *, today: date) -> tuple[Phrase, ...]:
    late = (Phrase("late: order now", Face.BOLD, "alarm"),) if order.late else ()
    if order.order_by is None:
        return late or (Phrase("not known"),)
    day = Phrase(words.short_date(order.order_by), Face.BOLD)
    return (day, *(late or (Phrase(words.distance(order.order_by, today=today)),)))
