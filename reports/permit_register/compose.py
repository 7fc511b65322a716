"""What is printed of permits: how each stands, what it is for, the conditions and scans, and the animals that are left uncovered."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date
from typing import Final

from domain.rules.compliance import Standing
from domain.rules.permits import EndReason, PermitStanding
from reports import words
from reports.fonts import Face
from reports.notes import Notes
from reports.page import Figure
from reports.permit_register.sheet import (
    ConditionLine,
    PermitLine,
    PermitRegisterSheet,
    ScanLine,
    TaxonOfPermit,
    UncoveredLine,
)
from reports.tables import Cell, Phrase, Row

MOST_TAXA: Final = 12
MOST_TAGS: Final = 10
"""Taxa and tags that a cell names; it says how many more there are."""
STANDING_WORDS: Final[Mapping[Standing, str]] = {
    Standing.NOTHING_NEEDED: "nothing needed",
    Standing.COVERED: "covered",
    Standing.OVERRIDDEN: "in order by an override",
    Standing.UNCOVERED: "UNCOVERED",
    Standing.CANNOT_DECIDE: "CANNOT BE DECIDED",
    Standing.PROHIBITED: "PROHIBITED",
}
TOO_LATE: Final = "THE DAY TO APPLY HAS PASSED"
SHARED: Final = "The whole organisation's: its scope, conditions and scans stand in the organisation's own register."
BY_WHICH: Final = (
    "The last day is the earliest of: the day that a permit says itself, the end of what its kind lasts, the day before it was withdrawn, "
    "before another replaced it or before an event that ends its kind, and the day on which a permit for one consignment was used. Animals "
    "are assigned to permits so that the fewest are left uncovered; an animal that several permits cover counts against one of them."
)


def figures(sheet: PermitRegisterSheet) -> tuple[Figure, ...]:
    """Return the key figures: permits, how many need something, and animals that are not in order."""
    open_ = [one for one in sheet.permits if wants_action(one, on=sheet.today)]
    ended = sum(one.standing is PermitStanding.ENDED for one in open_)
    ending = sum(one.standing is PermitStanding.ENDING or is_late_to_apply(one, on=sheet.today) for one in open_)
    late = sum(is_late(each, on=sheet.today) for one in sheet.permits for each in one.conditions)
    return (
        Figure(words.number(len(sheet.permits)), "permits on record"),
        Figure(words.number(ended), "ended, and not replaced", alarm=bool(ended)),
        Figure(words.number(ending), "end within 60 days, or are past the day to apply", alarm=bool(ending)),
        Figure(words.number(late), "conditions overdue", alarm=bool(late)),
        Figure(words.number(sheet.animals_open), f"of {words.number(sheet.animals)} animals not in order", alarm=bool(sheet.animals_open)),
    )


def overridden(number: int) -> str:
    """Return how many animals are in order by overrides alone, in a sentence."""
    return (
        f"In order only since a named person answers for it: {words.plural(number, 'animal')}; /v1/overrides names who, why and until when."
    )


def wants_action(line: PermitLine, *, on: date) -> bool:
    """Return whether somebody has to act on a permit on a day.

    It has ended or ends soon with nothing that follows, the day to apply has passed, or it takes too many animals. One that was used for
    its consignment, or until another took its place, is over and done with.
    """
    if (line.left is not None and line.left < 0) or is_late_to_apply(line, on=on):
        return True
    if line.standing is PermitStanding.KIND_UNKNOWN:
        return True
    over = line.standing in (PermitStanding.ENDED, PermitStanding.ENDING)
    return over and not line.follows_on and line.end_reason not in (EndReason.USED, EndReason.REPLACED)


def is_late_to_apply(line: PermitLine, *, on: date) -> bool:
    """Return whether the last day to apply for the permit that follows has passed, and none is on record."""
    return line.renew_by is not None and line.renew_by < on and not line.is_replaced


def is_over(line: PermitLine, *, on: date) -> bool:
    """Return whether a permit has ended and nothing is to be done about it any more."""
    return line.standing is PermitStanding.ENDED and not wants_action(line, on=on)


def is_late(line: ConditionLine, *, on: date) -> bool:
    """Return whether a condition should have been met before a day and was not."""
    return line.due_on is not None and line.due_on < on and (line.met_on is None or line.met_on > on)


def standing_words(line: PermitLine, *, on: date) -> str:
    """Return how a permit stands on a day in words."""
    until = line.good_until
    match line.standing:
        case PermitStanding.KIND_UNKNOWN:
            return "KIND NOT KNOWN to any rule pack: it covers no animals"
        case PermitStanding.NOT_YET:
            return f"good from {words.short_date(line.valid_from)}"
        case PermitStanding.GOOD:
            return "good"
        case PermitStanding.ENDING if until is not None:
            days = (until - on).days
            return "ENDS today" if days == 0 else f"ENDS in {words.plural(days, 'day')}"
        case _ if line.end_reason is EndReason.NOT_INSPECTED or until is None:
            return "NOT YET GOOD: no inspection on record"
        case _:
            return f"ENDED {words.plural((on - until).days, 'day')} ago"


def open_items(sheet: PermitRegisterSheet) -> list[str]:
    """Return what somebody has to look at besides the animals, in sentences."""
    found = [
        f"Permit {line.number}, {line.authority}: {'; '.join(urgencies(line, on=sheet.today))}."
        for line in sheet.permits
        if wants_action(line, on=sheet.today)
    ]
    for line in sheet.permits:
        found += [
            f"Permit {line.number}: a condition was due on {words.short_date(each.due_on)} and is not on record as met."
            for each in line.conditions
            if each.due_on is not None and is_late(each, on=sheet.today)
        ]
    return found


def urgencies(line: PermitLine, *, on: date) -> Iterator[str]:
    """Yield how a permit that wants action stands on a day, and what else is wrong with it, in words."""
    yield standing_words(line, on=on)
    if is_late_to_apply(line, on=on) and line.renew_by is not None:
        yield f"{TOO_LATE}, {words.short_date(line.renew_by)}"
    if line.left is not None and line.left < 0:
        yield f"{words.plural(-line.left, 'animal')} MORE THAN IT ALLOWS"


def permit_rows(permits: Iterable[PermitLine], notes: Notes, *, on: date, first: int = 1, of_sites: bool = False) -> list[Row]:
    """Return the rows of permits, numbered from ``first``; ``of_sites`` says at which site each is."""
    return [_permit_row(number, line, notes, on=on, of_sites=of_sites) for number, line in enumerate(permits, start=first)]


def _permit_row(number: int, line: PermitLine, notes: Notes, *, on: date, of_sites: bool) -> Row:
    urgent = wants_action(line, on=on)
    until = words.short_date(line.good_until) if line.good_until and line.end_reason is not EndReason.NOT_INSPECTED else "no last day"
    act = (Phrase("ACT NOW", Face.BOLD, "alarm"),) if urgent else ()
    at = line.site if line.site is not None else "any site"
    cells: dict[str, Cell] = {
        "number": str(number),
        "until": (
            Phrase(until, Face.BOLD),
            Phrase(standing_words(line, on=on), tone="alarm" if urgent else "ink"),
            *act,
            *_replaced(line),
        ),
        "permit": (Phrase(line.number, Face.BOLD), Phrase(line.kind_title or line.kind), Phrase(line.id, Face.MONO, "muted")),
        "whose": (Phrase(line.authority), Phrase(f"held by {line.holder or 'nobody named'}"), *((Phrase(at),) if of_sites else ())),
        "scope": (*scope(line), *notes.cell(line.note, about=f"Permit {line.number}")),
        "validity": validity(line, on=on),
        "animals": _animals(line),
    }
    return Row(cells, act_now=urgent)


def _replaced(line: PermitLine) -> Iterator[Phrase]:
    if line.is_replaced:
        yield Phrase(f"replaced by {line.replaced_by}" if line.replaced_by else "replaced by another permit")
        if not line.follows_on:
            yield Phrase("which is not good on this day", tone="alarm")


def scope(line: PermitLine) -> tuple[Phrase, ...]:
    """Return what a permit is for, in words."""
    if line.is_shared:
        return (Phrase(SHARED, tone="muted"),)
    done = ", ".join(words.spoken(one) for one in line.activities) if line.activities else "anything that is done with them"
    most = (Phrase(f"at most {words.plural(line.total_number, 'animal')} in all"),) if line.total_number is not None else ()
    return (Phrase(f"For: {done}"), *_of_what(line), *most)


def _of_what(line: PermitLine) -> Iterator[Phrase]:
    if line.is_for_none:
        nothing = "NO ANIMAL ANY MORE" if line.any_taxon or line.taxa else "NO TAXON AND NO ANIMAL"
        yield Phrase(f"{nothing} on record: it covers none", tone="alarm")
    if line.any_taxon:
        yield Phrase("animals of any taxon")
    for taxon in line.taxa[:MOST_TAXA]:
        yield _taxon(taxon)
    if len(line.taxa) > MOST_TAXA:
        yield Phrase(f"and {len(line.taxa) - MOST_TAXA} more taxa, which the CSV names")
    if line.tags:
        yield Phrase("only these:")
        yield from (Phrase(tag) for tag in line.tags[:MOST_TAGS])
    if len(line.tags) > MOST_TAGS:
        yield Phrase(f"and {len(line.tags) - MOST_TAGS} more, which the CSV names")


def _taxon(taxon: TaxonOfPermit) -> Phrase:
    most = "" if taxon.number is None else f", at most {words.number(taxon.number)}"
    return Phrase(taxon.scientific_name + most, Face.OBLIQUE if words.is_italic(taxon.rank) else Face.REGULAR)


def validity(line: PermitLine, *, on: date) -> tuple[Phrase, ...]:
    """Return from when until when a permit is good, the rule that this comes from, and by when to apply for the next."""
    found = [Phrase(f"issued {words.short_date(line.issued_on)}, good from {words.short_date(line.valid_from)}"), Phrase(_because(line))]
    if line.citation:
        lasts = f"lasts {line.lasts}: " if line.lasts else ""
        found.append(Phrase(f"{lasts}{line.citation}", tone="muted"))
    if line.renew_by is not None:
        found.append(Phrase(f"apply for the next by {words.short_date(line.renew_by)}", Face.BOLD))
    if is_late_to_apply(line, on=on):
        found.append(Phrase(TOO_LATE, Face.BOLD, "alarm"))
    return tuple(found)


def _because(line: PermitLine) -> str:
    if line.end_reason is None:
        return "no end yet by what is on record" if line.kind_title else "no rule says until when"
    said = {
        EndReason.OWN_LAST_DAY: "the last day that it says itself",
        EndReason.SPAN: "the end of what its kind lasts",
        EndReason.NOT_INSPECTED: "runs from an inspection, and none is on record",
        EndReason.WITHDRAWN: "was withdrawn the day after",
        EndReason.EVENT: f"ends with: {words.spoken(line.end_occasion or '')}",
        EndReason.USED: "for one consignment, and used on that day",
        EndReason.REPLACED: "another takes its place the day after",
    }
    return said[line.end_reason]


def _animals(line: PermitLine) -> tuple[Phrase, ...]:
    if line.taken is None:
        return (Phrase("not good on this day", tone="muted"),)
    where = " here" if line.is_shared else ""
    found = [Phrase(f"{words.number(line.taken)} counted{where}", Face.BOLD)]
    if line.left is None:
        found.append(Phrase(_without_head_room(line)))
    elif line.left < 0:
        found.append(Phrase(f"{words.number(-line.left)} MORE THAN IT ALLOWS", tone="alarm"))
    else:
        found.append(Phrase(f"room for {words.number(line.left)} more"))
    if line.expected:
        found.append(Phrase(f"{words.number(line.expected)} young expected", tone="muted"))
    return tuple(found)


def _without_head_room(line: PermitLine) -> str:
    if line.is_shared:
        return "room for more: see the organisation's register"
    return "numbers for some taxa only" if any(one.number is not None for one in line.taxa) else "names no number"


def condition_rows(permits: Sequence[PermitLine], notes: Notes, *, on: date, first: int = 1) -> list[Row]:
    """Return the rows of the conditions of permits, those that are due first at the head; each bears the number of its permit's row."""
    found = [(number, line, each) for number, line in enumerate(permits, start=first) for each in line.conditions]
    ordered = sorted(found, key=lambda one: (one[2].met_on is not None, one[2].due_on or date.max, one[0], one[2].id))
    return [_condition_row(number, line, each, notes, on=on) for number, line, each in ordered]


def _condition_row(number: int, line: PermitLine, each: ConditionLine, notes: Notes, *, on: date) -> Row:
    late = is_late(each, on=on)
    due = words.short_date(each.due_on) if each.due_on else "all the time"
    often = (Phrase(f"every {words.plural(each.every_months, 'month')}"),) if each.every_months else ()
    overdue = (Phrase(f"ACT NOW: {words.distance(each.due_on, today=on)}", tone="alarm"),) if late and each.due_on else ()
    about = f"Condition of permit {line.number}"
    cells: dict[str, Cell] = {
        "number": str(number),
        "permit": (Phrase(line.number, Face.BOLD), Phrase(each.id, Face.MONO, "muted")),
        "text": notes.cell(each.text, about=about),
        "due": (Phrase(due, Face.BOLD), *often, *overdue),
        "met": words.short_date(each.met_on) if each.met_on else "not on record" if each.due_on else "",
        "proof": notes.cell(each.proof, about=f"Proof of a condition of permit {line.number}"),
    }
    return Row(cells, act_now=late)


def scan_rows(permits: Sequence[PermitLine], *, first: int = 1) -> list[Row]:
    """Return the rows of the attached scans; each bears the number of its permit's row."""
    return [_scan_row(number, line, each) for number, line in enumerate(permits, start=first) for each in line.scans]


def _scan_row(number: int, line: PermitLine, each: ScanLine) -> Row:
    role = (Phrase(each.role),) if each.role else ()
    return Row(
        {
            "number": str(number),
            "permit": (Phrase(line.number, Face.BOLD),),
            "document": (Phrase(each.title, Face.BOLD), *role, Phrase(each.media_type, tone="muted"), Phrase(each.id, Face.MONO, "muted")),
            "dated": words.short_date(each.dated_on) if each.dated_on else "not on record",
            "reference": each.reference or "",
            "fingerprint": (Phrase(words.in_eights(each.sha256), Face.MONO),),
        }
    )


def uncovered_rows(lines: Iterable[UncoveredLine]) -> list[Row]:
    """Return the rows of the animals whose keeping is not in order, every one of which wants action."""
    return [_uncovered_row(line) for line in lines]


def _uncovered_row(line: UncoveredLine) -> Row:
    name = Phrase(line.scientific_name, Face.OBLIQUE if words.is_italic(line.rank) else Face.REGULAR)
    of = words.number(line.number) if line.uncovered == line.number else f"{words.number(line.uncovered)} of {words.number(line.number)}"
    return Row(
        {
            "animal": (Phrase(line.tag, Face.BOLD), Phrase(line.id, Face.MONO, "muted")),
            "taxon": (name,),
            "where": line.site or "in no enclosure",
            "count": of,
            "why": (
                Phrase(f"ACT NOW: {STANDING_WORDS[line.standing]}", Face.BOLD, "alarm"),
                *map(Phrase, lacks(line)),
                *(Phrase(rule, tone="muted") for rule in line.rules),
            ),
        },
        act_now=True,
    )


def lacks(line: UncoveredLine) -> Iterator[str]:
    """Yield what an animal lacks to be in order, in words; where one of several documents is enough, they stand together."""
    yield from (f"needs one of: {'; '.join(kinds)}" for kinds in line.needs)
    if line.needs_mark:
        yield "needs a mark"
    if line.missing:
        yield f"not on record: {', '.join(words.spoken(one) for one in line.missing)}"
