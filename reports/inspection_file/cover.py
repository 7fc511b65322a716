"""The first two sections: the site and the period, what is open, the contents, and what the file does and does not hold."""

from collections.abc import Iterator, Mapping

from domain.rules.law.decision import DISCLAIMER
from domain.rules.permits import PermitStanding
from domain.rules.stock import total
from reports import words
from reports.fonts import Face
from reports.inspection_file.drawing import NOT_RECORDED, SECTIONS, Sections, between
from reports.inspection_file.exceptions import FAILED_WORDS, SECTION_OF, Failed, Failure, counted
from reports.inspection_file.sheet import (
    MOST_ANIMALS_PRINTED,
    MOST_ENCLOSURES_PRINTED,
    MOST_LINES_PRINTED,
    MOST_PERMITS_PRINTED,
    InspectionFileSheet,
)
from reports.page import Figure
from reports.tables import Column, Phrase, Row

MOST_NAMED = 3
"""Things of each kind that the cover names; all stand among the exceptions."""
MOST_LICENCES = 12
ADVICE = frozenset((Failed.ANSWERED, Failed.UNDATED, Failed.UNDECIDED))
"""What is to be known, and nobody has to act on now."""

_contents_height = 270.0  # so that they stand on one page

_open_columns = (
    Column("count", "how many", 60, align="right"),
    Column("what", "what is open", 250),
    Column("first", "the first of them", 330),
    Column("where", "told of in", 133.8),
)
_content_columns = (
    Column("number", "no.", 36, align="right"),
    Column("section", "section", 420),
    Column("page", "page", 60, align="right"),
)


def draw_cover(file: Sections, sheet: InspectionFileSheet, failures: list[Failure], *, pages: Mapping[int, int]) -> None:
    """Draw the title, what is open, and the contents with the ``pages`` on which sections begin, where these are known already."""
    paper = file.paper
    period = f"{words.long_date(sheet.from_on)} to {words.long_date(sheet.until_on)}"
    paper.title(f"Inspection file · {sheet.site}", under=[period, *([sheet.address] if sheet.address else [])])
    file.say(DISCLAIMER)
    paper.skip(between)
    paper.figures(_figures(sheet, failures))
    file.begin(1)
    file.say(*_about(sheet))
    by_kind = counted(failures)
    heading = f"Open items · {words.number(len(failures))}"
    file.rows("Open items", [_open_row(kind, found, pages) for kind, found in by_kind.items()], _open_columns, heading=heading)
    if not failures:
        file.under(heading)
        file.say("None by what is on record.")
    paper.need(_contents_height)
    file.rows("Contents", _content_rows(pages), _content_columns, heading="Contents")
    paper.skip(between)


def _figures(sheet: InspectionFileSheet, failures: list[Failure]) -> tuple[Figure, ...]:
    animals = total(line.account for line in sheet.stock.lines).closing
    permits = sum(one.failed is Failed.PERMIT for one in failures)
    overdue = sum(one.failed is Failed.OVERDUE for one in failures)
    wrong = sum(one.failed is Failed.SUM for one in failures)
    return (
        Figure(words.number(animals), f"animals and eggs in {words.plural(sheet.animals_in_all, 'record')}"),
        Figure(words.number(sheet.uncovered_in_all), "records not in order", alarm=bool(sheet.uncovered_in_all)),
        Figure(words.number(permits), "permits that want action", alarm=bool(permits)),
        Figure(words.number(overdue), "items of equipment overdue", alarm=bool(overdue)),
        Figure(words.number(wrong), "sums that do not reconcile", alarm=bool(wrong)),
    )


def _about(sheet: InspectionFileSheet) -> Iterator[str]:
    good = [line for line in sheet.permits if line.standing in (PermitStanding.GOOD, PermitStanding.ENDING)]
    named = "; ".join(f"{line.number} ({line.authority})" for line in good[:MOST_LICENCES])
    yield f"Licences and permits that are good on the last day: {len(good) or 'none on record'}"
    yield from (f"    {line.number} · {line.authority}" for line in good[:MOST_LICENCES]) if named else ()
    if len(good) > MOST_LICENCES:
        yield f"    and {len(good) - MOST_LICENCES} more, in section 5."
    yield f"Jurisdictions: {', '.join(sheet.jurisdictions) or 'not on record'}. Contact: {sheet.address or 'not on record'}."
    yield f"Data as of {words.clock(sheet.data_as_of, zone=sheet.zone)}, times in {words.zone_name(sheet.zone)}."


def _open_row(kind: Failed, found: list[Failure], pages: Mapping[int, int]) -> Row:
    first = tuple(Phrase(one.about) for one in found[:MOST_NAMED])
    more = (Phrase(f"and {words.number(len(found) - MOST_NAMED)} more", tone="muted"),) if len(found) > MOST_NAMED else ()
    wants = kind not in ADVICE
    what = (Phrase("ACT NOW", Face.BOLD, "alarm"),) if wants else ()
    section = SECTION_OF[kind]
    places = [f"section {number}{_on_page(pages, number)}" for number in (section, 12)]
    return Row(
        {
            "count": (Phrase(words.number(len(found)), Face.BOLD),),
            "what": (*what, Phrase(FAILED_WORDS[kind])),
            "first": (*first, *more),
            "where": tuple(map(Phrase, places)),
        },
        act_now=wants,
    )


def _on_page(pages: Mapping[int, int], number: int) -> str:
    return f", page {pages[number]}" if number in pages else ""


def _content_rows(pages: Mapping[int, int]) -> list[Row]:
    return [
        Row({"number": str(number), "section": name, "page": str(pages.get(number, ""))}) for number, name in enumerate(SECTIONS, start=1)
    ]


def draw_scope(file: Sections, sheet: InspectionFileSheet) -> None:
    """Draw what the file holds, what it leaves out, and of what this system has no records."""
    file.begin(2)
    file.under("Included")
    file.say(
        f"Everything on record of {sheet.site} from {words.short_date(sheet.from_on)} until {words.short_date(sheet.until_on)}, both days "
        f"included; states are those at the end of {words.short_date(sheet.until_on)}, as known on {words.short_date(sheet.today)}.",
        "Every figure bears the id of its record, the number of its movement, or the address at which what is behind it is listed.",
    )
    file.under("Not included")
    file.say(*_left_out(sheet))
    file.paper.skip(between)


def _left_out(sheet: InspectionFileSheet) -> Iterator[str]:
    if sheet.first_day is None:
        yield "No animal is on record as ever having been at this site."
    elif sheet.first_day > sheet.from_on:
        yield f"Nothing is on record here before {words.short_date(sheet.first_day)}: the days of the period before that are a gap."
    yield "Animals that were in no enclosure at the end of the period, such as those away or missing: they are in no site's file."
    yield "Other sites of the organisation; of permits that are the whole organisation's only what covers animals here."
    yield "Names of staff: they are given by the records of their competences, and stand with the records of staff for who may see those."
    yield "Set points, readings of air and water, and hours out of range; veterinary visits, treatments and quarantine."
    yield "Whether the returns, checks and drills that rules ask for were done: that is not recorded in this system."
    for what, records in (("Incidents and bites", sheet.incidents), ("Findings of inspections", sheet.findings)):
        if records is None:
            yield f"{what}. {NOT_RECORDED}"
    yield "What was withdrawn from the records, or corrected; the journal keeps it."
    yield from _too_long(sheet)


def _too_long(sheet: InspectionFileSheet) -> Iterator[str]:
    if sheet.animals_in_all > min(len(sheet.animals), MOST_ANIMALS_PRINTED):
        printed = words.number(min(len(sheet.animals), MOST_ANIMALS_PRINTED))
        yield f"The register prints the first {printed} of {words.number(sheet.animals_in_all)} records; its CSV goes on."
    if sheet.uncovered_in_all > len(sheet.uncovered):
        held = words.number(len(sheet.uncovered))
        in_all = words.number(sheet.uncovered_in_all)
        yield f"Of {in_all} records that are not in order the first {held} are here; /v1/compliance lists all."
    for name, number, most in (
        ("permits", len(sheet.permits), MOST_PERMITS_PRINTED),
        ("enclosures", len(sheet.enclosures), MOST_ENCLOSURES_PRINTED),
        ("items of equipment that are overdue or cannot be dated", len(sheet.overdue), MOST_LINES_PRINTED),
        ("deaths", len(sheet.deaths), MOST_LINES_PRINTED),
    ):
        if number > most:
            yield f"Of {words.number(number)} {name} the first {words.number(most)} are printed; the JSON has all."
