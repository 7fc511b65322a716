"""What is printed of a return: the rule's own columns, what cannot be said, and how every sum comes about."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Final

from domain.rules.law.requirements import Period
from domain.rules.law.returns import FIELDS
from domain.rules.lives import LifeStage, Sex
from domain.rules.stock import total
from reports import words
from reports.fonts import Face
from reports.page import Figure
from reports.periodic_return.sheet import PeriodicReturnSheet, ReturnLine
from reports.stock_statement.compose import RIGHT, WRONG
from reports.tables import Cell, Column, Phrase, Row

DRAFT: Final = (
    "DRAFT, to be copied into the authority's own form and checked before it is sent. This paper is not that form, and printing it sends "
    "nothing."
)
PERIOD_WORDS: Final = {Period.CALENDAR_YEAR: "calendar year", Period.CALENDAR_QUARTER: "calendar quarter"}
UNKNOWN: Final = "not on record"
MOST_CODES: Final = 30
"""Codes of transponders that a cell names; it says how many more there are."""
MOST_NAMED: Final = 20
"""Taxa that the open items name one by one."""
_widths = {"taxon": 150.0, "common_name": 100.0, "group": 76.0, "permit_numbers": 130.0, "transponders": 130.0}
_number_width = 62.0


def figures(sheet: PeriodicReturnSheet) -> tuple[Figure, ...]:
    """Return the key figures: by when it is due, animals before and after, wrong sums, open items."""
    whole = total(line.account for line in sheet.lines if not line.are_eggs)
    wrong = sum(not line.account.balances for line in sheet.lines)
    late = sheet.due_on < sheet.today
    open_ = len(open_items(sheet))
    return (
        Figure(words.short_date(sheet.due_on), "was the day it was due" if late else "is the day it is due", alarm=late),
        Figure(words.number(whole.opening), f"animals before {words.short_date(sheet.from_on)}"),
        Figure(words.number(whole.closing), f"animals at the end of {words.short_date(sheet.until_on)}"),
        Figure(words.number(wrong), "sums that are wrong", alarm=bool(wrong)),
        Figure(words.number(open_), "open items", alarm=bool(open_)),
    )


def open_items(sheet: PeriodicReturnSheet) -> list[str]:
    """Return what cannot be said, or has to be looked at before this is sent, in sentences."""
    return [
        *_of_the_rule(sheet),
        *(
            f"{words.spoken(name)}: this rule lists a field that is not known here; write it in by hand."
            for name in sheet.fields
            if name not in FIELDS
        ),
        *_of_sums(sheet),
        *_of_texts(sheet),
    ]


def _of_the_rule(sheet: PeriodicReturnSheet) -> Iterator[str]:
    if sheet.due_on < sheet.today:
        yield f"It was due on {words.short_date(sheet.due_on)}. Whether it was sent is not recorded in this system."
    if sheet.applies_from > sheet.from_on:
        yield f"The rule applies from {words.short_date(sheet.applies_from)} only; the numbers are of the whole period."
    if sheet.applies_until is not None and sheet.applies_until < sheet.until_on:
        yield f"The rule applied until {words.short_date(sheet.applies_until)} only; the numbers are of the whole period."
    if sheet.missing:
        missing = ", ".join(words.spoken(one) for one in sheet.missing)
        yield f"Whether the rule is about some animals on {words.short_date(sheet.until_on)} cannot be decided; not on record: {missing}."
    elif not sheet.asked_of:
        yield f"On {words.short_date(sheet.until_on)} the rule asked this of no animal here; whether a return is owed is for the authority."
    for one in sheet.unsure[:MOST_NAMED]:
        missing = ", ".join(words.spoken(name) for name in one.missing)
        yield f"{one.scientific_name} is counted here, though the rule may not be about it; not on record: {missing}."
    if len(sheet.unsure) > MOST_NAMED:
        yield f"{len(sheet.unsure) - MOST_NAMED} more taxa are counted though the rule may not be about them; the JSON names them."


def _of_sums(sheet: PeriodicReturnSheet) -> Iterator[str]:
    wrong = [line for line in sheet.lines if not line.account.balances]
    for line in wrong[:MOST_NAMED]:
        found = line.account
        yield f"{called(line)}: {words.number(found.reckoned)} were reckoned and {words.number(found.closing)} counted."
    if len(wrong) > MOST_NAMED:
        yield f"{len(wrong) - MOST_NAMED} more sums are wrong; they stand below."
    if not _has_the_whole_sum(sheet.fields):
        return
    beside = [line for line in sheet.lines if line.account.balances and FIELDS["otherwise"].entry(line.account)]
    for line in beside[:MOST_NAMED]:
        more = FIELDS["otherwise"].entry(line.account)
        yield (
            f"{called(line)}: {words.plural(abs(more), 'animal')} {'more' if more > 0 else 'fewer'} by counts or by what is known since, "
            "for which the rule's fields have no column; without that the columns do not add up."
        )
    if len(beside) > MOST_NAMED:
        yield f"{len(beside) - MOST_NAMED} more rows do not add up for the same reason; they stand below."


def _has_the_whole_sum(fields: Iterable[str]) -> bool:
    """Return whether a rule lists all that a sum is made of but what was otherwise: a reader will then add its columns up."""
    listed = set(fields)
    ends = {"stock_at_start", "births", "deaths"} <= listed and bool({"stock_at_end", "number"} & listed)
    return (
        ends and bool({"arrivals", "acquisitions"} & listed) and bool({"departures", "dispositions"} & listed) and "otherwise" not in listed
    )


def _of_texts(sheet: PeriodicReturnSheet) -> Iterator[str]:
    estimated = sum(line.estimated for line in sheet.lines)
    if estimated:
        yield f"{words.plural(estimated, 'animal')} of those at the end {_is_or_are(estimated)} estimated and not counted."
    if "group" in sheet.fields:
        yield from _each(sheet.lines, "Neither class nor order", lacks=lambda line: line.group is None)
    if "common_name" in sheet.fields:
        yield from _each(sheet.lines, "No common name", lacks=lambda line: line.common_name is None)
    if "permit_numbers" in sheet.fields and not sheet.permits_on_record:
        yield "No permit is on record that was good here on a day of the period."
    if "transponders" in sheet.fields:
        yield from _of_transponders([line for line in sheet.lines if not line.are_eggs])


def _of_transponders(lines: Sequence[ReturnLine]) -> Iterator[str]:
    bare, codes = sum(line.without_transponder for line in lines), sum(len(line.transponders) for line in lines)
    if bare:
        yield f"{words.plural(bare, 'single animal')} at the end {'bears' if bare == 1 else 'bear'} no transponder on record."
    grouped = total(line.account for line in lines).closing - bare - codes
    if grouped > 0:
        yield f"{words.plural(grouped, 'animal')} at the end {_is_or_are(grouped)} in counted groups, which no transponder tells apart."


def _is_or_are(number: int) -> str:
    return "is" if number == 1 else "are"


def _each(lines: Iterable[ReturnLine], what: str, *, lacks: Callable[[ReturnLine], bool]) -> Iterator[str]:
    """Yield of each taxon what is not on record of it, and how many more there are."""
    found = list(dict.fromkeys(line.scientific_name for line in lines if lacks(line)))
    yield from (f"{what} is on record of {name}." for name in found[:MOST_NAMED])
    if len(found) > MOST_NAMED:
        yield f"{what} is on record of {len(found) - MOST_NAMED} more taxa either."


def called(line: ReturnLine) -> str:
    """Return what a row is of."""
    told = [line.scientific_name, *(["eggs"] if line.are_eggs else []), *_sex_and_stage(line)]
    return ", ".join(told)


def _sex_and_stage(line: ReturnLine) -> Iterator[str]:
    if line.life_stage is not None and not line.are_eggs:
        yield "stage not known" if line.life_stage is LifeStage.UNKNOWN else line.life_stage.value
    if line.sex is not None:
        yield "sex not known" if line.sex is Sex.UNKNOWN else line.sex.value


def columns(sheet: PeriodicReturnSheet, *, width: float) -> tuple[Column, ...]:
    """Return the rule's own columns, in its order, over the ``width`` of the page [pt]."""
    wished = [_widths.get(name, _number_width) for name in sheet.fields]
    scale = width / sum(wished)
    return tuple(
        Column(name, heading(name), wide * scale, align="right" if name in FIELDS and FIELDS[name].is_number else "left")
        for name, wide in zip(sheet.fields, wished, strict=True)
    )


def heading(name: str) -> str:
    """Return the heading of a field."""
    return FIELDS[name].heading if name in FIELDS else words.spoken(name)


def return_rows(sheet: PeriodicReturnSheet) -> list[Row]:
    """Return the rows of the return as the rule has them, then the sums of animals and of eggs."""
    rows = [Row({name: _cell(name, line) for name in sheet.fields}, act_now=not line.account.balances) for line in sheet.lines]
    animals, eggs = ([line for line in sheet.lines if line.are_eggs is of_eggs] for of_eggs in (False, True))
    sums = (("All animals", animals), ("All eggs", eggs))
    return [*rows, *(_sum(what, lines, sheet.fields) for what, lines in sums if lines)]


def _sum(what: str, lines: Sequence[ReturnLine], fields: Sequence[str]) -> Row:
    whole = total(line.account for line in lines)
    cells: dict[str, Cell] = {
        name: (Phrase(words.number(FIELDS[name].entry(whole)), Face.BOLD),) for name in fields if name in FIELDS and FIELDS[name].is_number
    }
    if "estimated" in fields:
        cells["estimated"] = (Phrase(words.number(sum(line.estimated for line in lines)), Face.BOLD),)
    named = next((name for name in fields if name not in cells), None)
    if named is not None:
        cells[named] = (Phrase(what, Face.BOLD),)
    return Row(cells)


def _cell(name: str, line: ReturnLine) -> Cell:
    if name in FIELDS and FIELDS[name].is_number:
        return words.number(FIELDS[name].entry(line.account))
    match name:
        case "taxon":
            eggs = (Phrase("eggs"),) if line.are_eggs else ()
            return (Phrase(line.scientific_name, Face.OBLIQUE if words.is_italic(line.rank) else Face.REGULAR), *eggs)
        case "common_name":
            return line.common_name or UNKNOWN
        case "group":
            return line.group or UNKNOWN
        case "sex":
            return UNKNOWN if line.sex in (None, Sex.UNKNOWN) else str(line.sex)
        case "life_stage":
            return UNKNOWN if line.life_stage in (None, LifeStage.UNKNOWN) else str(line.life_stage)
        case "estimated":
            return words.number(line.estimated)
        case "permit_numbers":
            return tuple(Phrase(number) for number in line.permit_numbers) or "none on record"
        case "transponders":
            return _codes(line)
    return "write in by hand"


def _codes(line: ReturnLine) -> Cell:
    more = len(line.transponders) - MOST_CODES
    shown = tuple(Phrase(code, Face.MONO) for code in line.transponders[:MOST_CODES])
    rest = (Phrase(f"and {more} more, which the CSV names"),) if more > 0 else ()
    return (*shown, *rest) or "none on record"


def sum_rows(sheet: PeriodicReturnSheet) -> list[Row]:
    """Return the rows that show how the end of each line comes about, with the records that it leads to."""
    return [_sum_row(line) for line in sheet.lines]


def _sum_row(line: ReturnLine) -> Row:
    account = line.account
    wrong = (Phrase(WRONG, Face.BOLD, "alarm"), Phrase(f"sum {words.number(account.reckoned)}", tone="alarm"))
    numbers = {
        key: _unless_none(FIELDS[name].entry(account))
        for key, name in (("births", "births"), ("came", "arrivals"), ("deaths", "deaths"), ("went", "departures"))
    }
    otherwise = FIELDS["otherwise"].entry(account)
    name = Phrase(called(line), Face.OBLIQUE if words.is_italic(line.rank) else Face.REGULAR)
    return Row(
        {
            "what": (name, *(Phrase(one, Face.MONO, "muted") for one in line.taxon_ids)),
            "opening": words.number(account.opening),
            **numbers,
            "otherwise": f"{otherwise:+d}".replace("-", "\u2212") if otherwise else "",
            "closing": (Phrase(words.number(account.closing), Face.BOLD),),
            "sum": (Phrase(RIGHT),) if account.balances else wrong,
        },
        act_now=not account.balances,
    )


def _unless_none(number: int) -> str:
    return words.number(number) if number else ""


def field_rows(sheet: PeriodicReturnSheet) -> list[Row]:
    """Return the rows that say how each field of the return was made."""
    return [
        Row({"field": (Phrase(name, Face.MONO),), "heading": heading(name), "meaning": FIELDS[name].meaning if name in FIELDS else UNKNOWN})
        for name in sheet.fields
    ]


def traces(sheet: PeriodicReturnSheet) -> str:
    """Return where every movement behind the numbers is listed."""
    period = f"from_on={sheet.from_on.isoformat()}&until_on={sheet.until_on.isoformat()}"
    return (
        f"Every movement behind a row is listed at /v1/census/movements?{period}&site_id={sheet.site_id}&taxon_id= followed by the "
        "record of the taxon that stands under the row's name."
    )
