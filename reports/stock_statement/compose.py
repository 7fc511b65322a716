"""What is printed of a stock statement: its lines and sums in words and numbers, what is open, and the movements."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import groupby
from typing import Final, Protocol

from domain.rules.lives import LifeStage, Sex
from domain.rules.stock import Account, total
from reports import words
from reports.animal_record.compose import EVENT_WORDS
from reports.fonts import Face
from reports.page import Figure
from reports.stock_statement.sheet import MOST_MOVEMENTS, MovementLine, StockLine, StockStatementSheet
from reports.tables import Phrase, Row

RULE: Final = (
    "opening + births + in - deaths - out + otherwise = closing. In and out are arrivals, departures and moves between sites or to no "
    "enclosure; otherwise are animals whose sex or stage is known to be another since, groups split, joined or hatched, and counts that "
    "found more or fewer than reckoned. Opening and closing were counted from where animals stand; the columns between from what happened."
)
RIGHT: Final = "right"
WRONG: Final = "WRONG"
HAPPENING_WORDS: Final[Mapping[str, str]] = {
    "turned": "sex or stage known since",
    "came": "came to the site, or left it",
    "left": "to no enclosure",
}
"""What happened without an event, as the paper says it."""
COLUMN_WORDS: Final[Mapping[str, str]] = {
    "births": "births",
    "arrivals": "in",
    "moved_in": "in, moved",
    "changed_in": "otherwise, more",
    "counted_more": "otherwise, more counted",
    "deaths": "deaths",
    "departures": "out",
    "moved_out": "out, moved",
    "changed_out": "otherwise, fewer",
    "counted_fewer": "otherwise, fewer counted",
    "hatched_out": "otherwise, hatched",
}
"""Under which heading of the statement a column is printed."""
NOTHING: Final = "No animals and no movements are on record for this period."


def figures(sheet: StockStatementSheet) -> tuple[Figure, ...]:
    """Return the key figures: opening, closing, eggs at the end, how many died, and whether all sums are right."""
    animals, eggs = (
        total(line.account for line in sheet.lines if (line.life_stage is LifeStage.EGG) is of_eggs) for of_eggs in (False, True)
    )
    wrong = len(out_of_balance(sheet))
    return (
        Figure(words.number(animals.opening), f"animals before {words.short_date(sheet.from_on)}"),
        Figure(words.number(animals.closing), f"animals at the end of {words.short_date(sheet.until_on)}"),
        Figure(words.number(eggs.closing), "eggs, which are in no sum of animals"),
        Figure(words.number(animals.deaths), "died"),
        Figure(words.number(wrong), "sums that are wrong", alarm=bool(wrong)),
    )


def out_of_balance(sheet: StockStatementSheet) -> list[StockLine]:
    """Return the lines whose sum is wrong."""
    return [line for line in sheet.lines if not line.account.balances]


def open_items(sheet: StockStatementSheet) -> list[str]:
    """Return what somebody has to look at, in sentences."""
    found = [
        f"{line.scientific_name}, {sex_and_stage(line)}: {words.number(line.account.reckoned)} were reckoned and "
        f"{words.number(line.account.closing)} counted."
        for line in out_of_balance(sheet)
    ]
    if sheet.estimated:
        found.append(
            f"{words.plural(sheet.estimated, 'animal')} of the closing number {_is_or_are(sheet.estimated)} estimated and not counted."
        )
    if sheet.movements_in_all > len(sheet.movements):
        found.append(
            f"{words.number(sheet.movements_in_all)} movements are behind these numbers; the first {words.number(len(sheet.movements))} "
            "are listed here, all of them by the service at /v1/census/movements."
        )
    return found


def _is_or_are(number: int) -> str:
    return "is" if number == 1 else "are"


def stock_rows(sheet: StockStatementSheet) -> list[Row]:
    """Return the rows of the statement: of each taxon its lines and, where there are several, their sum; then the sums of all."""
    rows: list[Row] = []
    for _, lines in groupby(sheet.lines, key=lambda line: (line.scientific_name, line.rank)):
        rows += _rows_of_taxon(list(lines))
    return [*rows, *_rows_of_all(sheet.lines)]


def _rows_of_taxon(lines: Sequence[StockLine]) -> Iterator[Row]:
    first = lines[0]
    name = Phrase(first.scientific_name, Face.OBLIQUE if words.is_italic(first.rank) else Face.BOLD)
    called = (Phrase(first.common_name, tone="muted"),) if first.common_name else ()
    for number, line in enumerate(lines):
        above = (name, *called) if number == 0 else ()
        yield _row((*above, Phrase(sex_and_stage(line))), line.account)
    animals = [line for line in lines if line.life_stage is not LifeStage.EGG]
    if len(animals) > 1:
        yield _row((Phrase(f"{first.scientific_name}: all animals", Face.BOLD),), total(line.account for line in animals), bold=True)


def _rows_of_all(lines: Iterable[StockLine]) -> Iterator[Row]:
    eggs, animals = ([line for line in lines if (line.life_stage is LifeStage.EGG) is of_eggs] for of_eggs in (True, False))
    yield _row((Phrase("All animals", Face.BOLD),), total(line.account for line in animals), bold=True)
    if eggs:
        yield _row((Phrase("All eggs", Face.BOLD),), total(line.account for line in eggs), bold=True)


def _row(what: tuple[Phrase, ...], account: Account, *, bold: bool = False) -> Row:
    came = account.arrivals + account.moved_in
    went = account.departures + account.moved_out
    otherwise = account.changed_in + account.counted_more - account.changed_out - account.counted_fewer - account.hatched_out
    numbers = {
        "opening": words.number(account.opening),
        "births": _unless_none(account.births),
        "came": _unless_none(came),
        "deaths": _unless_none(account.deaths),
        "went": _unless_none(went),
        "otherwise": f"{otherwise:+d}".replace("-", "\u2212") if otherwise else "",
        "closing": words.number(account.closing),
    }
    face = Face.BOLD if bold else Face.REGULAR
    set_numbers = {key: (Phrase(text, Face.BOLD if key == "closing" else face),) for key, text in numbers.items()}
    # Where a line begins with the name of its taxon, its numbers stand beside its last line, which says what they are of.
    lowered = {key: (*(Phrase(" ") for _ in what[1:]), *cell) for key, cell in set_numbers.items()}
    wrong = (Phrase(WRONG, Face.BOLD, "alarm"), Phrase(f"sum {words.number(account.reckoned)}", tone="alarm"))
    return Row(
        {"what": what, **lowered, "sum": (*(Phrase(" ") for _ in what[1:]), *((Phrase(RIGHT),) if account.balances else wrong))},
        act_now=not account.balances,
    )


def _unless_none(number: int) -> str:
    return words.number(number) if number else ""


class Grown(Protocol):
    """What has a sex and a stage of life."""

    @property
    def sex(self) -> Sex:
        """The sex."""

    @property
    def life_stage(self) -> LifeStage:
        """The stage of life."""


def sex_and_stage(line: Grown) -> str:
    """Return the sex and stage of a line in words."""
    if line.life_stage is LifeStage.EGG:
        return "eggs"
    sex = "sex not known" if line.sex is Sex.UNKNOWN else "mixed sex" if line.sex is Sex.MIXED else line.sex.value
    stage = "stage not known" if line.life_stage is LifeStage.UNKNOWN else line.life_stage.value
    return f"{sex}, {stage}"


def movement_rows(sheet: StockStatementSheet) -> list[Row]:
    """Return the rows of the movements, in the order of their numbers."""
    return [_movement_row(line) for line in sheet.movements[:MOST_MOVEMENTS]]


def _movement_row(line: MovementLine) -> Row:
    name = Phrase(line.scientific_name, Face.OBLIQUE if words.is_italic(line.rank) else Face.REGULAR)
    return Row(
        {
            "number": str(line.number),
            "on": words.short_date(line.on),
            "animal": (Phrase(line.tag, Face.BOLD), name),
            "what": EVENT_WORDS[line.event_kind] if line.event_kind else HAPPENING_WORDS[line.happening],
            "animals": words.number(line.animals),
            "entries": tuple(Phrase(f"{sex_and_stage(one)}: {COLUMN_WORDS[one.column]}") for one in line.entries),
        }
    )
