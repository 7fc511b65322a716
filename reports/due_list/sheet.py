"""The frozen sheet behind the replacement-due list, and the order in which it is read."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final, Literal, get_args

Standing = Literal["overdue", "due", "due_soon", "good", "unknown"]
Section = Literal["overdue", "within_48_h", "within_14_days", "later", "unknown"]
Needs = Literal["replacement", "check"]

SECTIONS: Final[tuple[Section, ...]] = get_args(Section)


@dataclass(frozen=True, slots=True)
class DueRow:
    """One item that needs a replacement or a check.

    ``no_later_than`` is the earliest date known when the due date is not; ``do_on`` the day the work is planned,
    which may be before ``due_on`` (``because`` then says why); ``conflict`` a sentence on what stands against it.

    Raises:
        ValueError: Standing, section or needs outside their words: such a row would be on no list.
    """

    number: int
    equipment_id: str
    tag: str
    place: str
    walking_order: int | None
    position: str
    model: str
    kind: str
    standing: Standing
    section: Section
    needs: Needs
    binding: str | None
    because: str
    reason: str
    due_on: date | None
    no_later_than: date | None
    do_on: date | None
    conflict: str | None
    order_by: date | None
    cautions: tuple[str, ...]
    spares_on_hand: int
    spares_on_order: int
    shelf: str
    supplier: str
    missing: tuple[str, ...]

    def __post_init__(self) -> None:
        """Refuse a word this sheet does not know."""
        for name, word, known in (
            ("standing", self.standing, get_args(Standing)),
            ("section", self.section, SECTIONS),
            ("needs", self.needs, get_args(Needs)),
        ):
            if word not in known:
                raise ValueError(f"{name} is {word!r}, not one of {', '.join(known)}")


@dataclass(frozen=True, slots=True)
class OrderLine:
    """What to order from one supplier. ``late``: the spare cannot come before it is needed."""

    supplier: str
    model: str
    quantity: int
    order_by: date | None
    lead_days: int | None
    unit_cost_minor: int | None
    currency: str
    tags: tuple[str, ...]
    late: bool


@dataclass(frozen=True, slots=True)
class DueSheet:
    """A site's list as of ``today`` [date at the site]. ``later_days`` None leaves the section "later" out.

    Raises:
        ValueError: An instant without a zone.
    """

    paper_id: str
    organisation: str
    site: str
    address: str
    zone: str
    today: date
    data_as_of: datetime
    generated_at: datetime
    later_days: int | None
    rows: tuple[DueRow, ...]
    orders: tuple[OrderLine, ...]
    counts_good: int

    def __post_init__(self) -> None:
        """Refuse an instant that could be any hour."""
        for name, instant in (("data_as_of", self.data_as_of), ("generated_at", self.generated_at)):
            if instant.tzinfo is None:
                raise ValueError(f"{name} has no zone")


def listed(sheet: DueSheet) -> tuple[DueRow, ...]:
    """Return the rows of the list in reading order: by section, then as the round walks, by place and by tag.

    A place without walking order comes after those that have one.
    """
    left_out = "later" if sheet.later_days is None else None
    return tuple(sorted((row for row in sheet.rows if row.section != left_out), key=_reading_order))


def in_section(rows: Sequence[DueRow], section: Section) -> tuple[DueRow, ...]:
    """Return the rows of one section, their order kept."""
    return tuple(row for row in rows if row.section == section)


def orders_listed(sheet: DueSheet) -> tuple[OrderLine, ...]:
    """Return what to order, by supplier and then by the day to order; without a day last."""
    return tuple(sorted(sheet.orders, key=_ordering))


def without_spare(rows: Sequence[DueRow]) -> int:
    """Return how many replacements have no spare on the shelf [items]."""
    return sum(row.needs == "replacement" and row.spares_on_hand <= 0 for row in rows)


def _reading_order(row: DueRow) -> tuple[int, bool, int, str, str, str]:
    walked = row.walking_order
    return (SECTIONS.index(row.section), walked is None, walked or 0, row.place, row.tag, row.equipment_id)


def _ordering(order: OrderLine) -> tuple[str, bool, date, str]:
    return (order.supplier, order.order_by is None, order.order_by or date.max, order.model)
