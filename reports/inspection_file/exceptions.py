"""What failed by the records of an inspection file: every rule that is not kept, each with the record that it leads to."""

from collections.abc import Iterable, Iterator
from datetime import date
from enum import StrEnum
from typing import Final, NamedTuple

from domain.rules.compliance import Standing
from reports import words
from reports.inspection_file.sheet import EnclosureLine, InspectionFileSheet
from reports.permit_register.compose import is_late, standing_words, wants_action
from reports.permit_register.sheet import UncoveredLine
from reports.stock_statement.compose import sex_and_stage


class Failed(StrEnum):
    """What failed, the most urgent first."""

    PROHIBITED = "prohibited"
    UNCOVERED = "uncovered"
    CANNOT_DECIDE = "cannot_decide"
    PERMIT = "permit"
    CONDITION = "condition"
    FINDING = "finding"
    UNSUITED = "unsuited"
    OVERDUE = "overdue"
    SUM = "sum"
    COMPETENCE = "competence"
    UNDATED = "undated"
    ANSWERED = "answered"


FAILED_WORDS: Final = {
    Failed.PROHIBITED: "animals whose keeping is prohibited",
    Failed.UNCOVERED: "animals without a document or a mark that they need",
    Failed.CANNOT_DECIDE: "animals of which it cannot be decided",
    Failed.PERMIT: "permits that have ended, end within 60 days, or cover nobody",
    Failed.CONDITION: "conditions of permits that are overdue",
    Failed.FINDING: "findings of inspections that are open",
    Failed.UNSUITED: "enclosures that do not suit their animals",
    Failed.OVERDUE: "items of equipment that are overdue",
    Failed.SUM: "sums of the stock that do not reconcile",
    Failed.COMPETENCE: "competences that have run out",
    Failed.UNDATED: "items of equipment that cannot be dated",
    Failed.ANSWERED: "requirements not heeded, for which somebody answers",
}
FAILED_LABELS: Final = {
    Failed.PROHIBITED: "prohibited",
    Failed.UNCOVERED: "without a document or mark",
    Failed.CANNOT_DECIDE: "cannot be decided",
    Failed.PERMIT: "permit",
    Failed.CONDITION: "condition overdue",
    Failed.FINDING: "open finding",
    Failed.UNSUITED: "does not suit its animals",
    Failed.OVERDUE: "overdue",
    Failed.SUM: "does not reconcile",
    Failed.COMPETENCE: "ran out",
    Failed.UNDATED: "cannot be dated",
    Failed.ANSWERED: "not heeded",
}
"""What failed, said of one."""
LONGEST: Final = 280
"""Characters of a text that the exceptions repeat; a longer one stands in its section only."""
SECTION_OF: Final = {
    Failed.PROHIBITED: 4,
    Failed.UNCOVERED: 4,
    Failed.CANNOT_DECIDE: 4,
    Failed.PERMIT: 5,
    Failed.CONDITION: 5,
    Failed.FINDING: 10,
    Failed.UNSUITED: 6,
    Failed.OVERDUE: 8,
    Failed.SUM: 3,
    Failed.COMPETENCE: 11,
    Failed.UNDATED: 8,
    Failed.ANSWERED: 4,
}
"""The section of the file in which what failed is told of."""
_OF_STANDING = {
    Standing.PROHIBITED: Failed.PROHIBITED,
    Standing.UNCOVERED: Failed.UNCOVERED,
    Standing.CANNOT_DECIDE: Failed.CANNOT_DECIDE,
}


class Failure(NamedTuple):
    """One thing that failed: what it is about, what is wrong, by which rules, and where its record is."""

    failed: Failed
    about: str
    what: tuple[str, ...]
    rules: tuple[str, ...]
    record: str


def exceptions(sheet: InspectionFileSheet) -> list[Failure]:
    """Return everything that failed, the most urgent first; within that, in the order of its section."""
    order = list(Failed)
    return sorted(_found(sheet), key=lambda one: order.index(one.failed))


def _found(sheet: InspectionFileSheet) -> Iterator[Failure]:
    on = sheet.until_on
    yield from (_of_animal(line) for line in sheet.uncovered)
    for line in sheet.permits:
        path = f"/v1/permits/{line.id}"
        if wants_action(line):
            rules = (line.citation,) if line.citation else ()
            yield Failure(Failed.PERMIT, f"permit {line.number}", (standing_words(line, on=on),), rules, path)
        for each in line.conditions:
            if each.due_on is not None and is_late(each, on=on):
                what = (f"a condition, {words.distance(each.due_on, today=on)}",)
                yield Failure(Failed.CONDITION, f"permit {line.number}", what, (), f"{path}/conditions/{each.id}")
    yield from _open_findings(sheet)
    yield from (one for line in sheet.enclosures for one in _of_enclosure(line))
    yield from _of_equipment(sheet)
    for row in sheet.stock.lines:
        if not row.account.balances:
            what = (f"{words.number(row.account.reckoned)} were reckoned and {words.number(row.account.closing)} counted",)
            period = f"from_on={sheet.from_on.isoformat()}&until_on={on.isoformat()}&site_id={sheet.site_id}"
            about = f"{row.scientific_name}, {sex_and_stage(row)}"
            yield Failure(Failed.SUM, about, what, (), f"/v1/census/movements?{period}")
    yield from _of_staff(sheet, on=on)
    for one in sheet.answered:
        about = f"{one.tag}, {one.scientific_name}"
        rules = (f"{one.requirement}: {one.citation}",)
        yield Failure(Failed.ANSWERED, about, ("a named person answers for it",), rules, f"/v1/overrides/{one.override_id}")


def _of_animal(line: UncoveredLine) -> Failure:
    said = [f"needs one of: {'; '.join(line.needs)}"] if line.needs else []
    said += ["needs a mark"] if line.needs_mark else []
    said += [f"not on record: {', '.join(words.spoken(one) for one in line.missing)}"] if line.missing else []
    number = f" ({words.number(line.uncovered or line.number)} animals)" if line.number > 1 else ""
    about = f"{line.tag}, {line.scientific_name}{number}"
    return Failure(_OF_STANDING[line.standing], about, tuple(said), line.rules, f"/v1/animals/{line.id}/compliance")


def _open_findings(sheet: InspectionFileSheet) -> Iterator[Failure]:
    for line in sheet.findings or ():
        due = f", due {words.short_date(line.due_on)}" if line.due_on else ""
        yield Failure(
            Failed.FINDING,
            f"finding of {words.short_date(line.found_on)}{due}",
            (line.what if len(line.what) <= LONGEST else "told of in section 10",),
            (),
            line.id,
        )


def _of_enclosure(line: EnclosureLine) -> Iterator[Failure]:
    against = tuple(dict.fromkeys(reason for lodgers in line.lodgers for reason in lodgers.against))
    if against:
        sources = tuple(dict.fromkeys(one.source for one in line.lodgers if one.against and one.source))
        yield Failure(Failed.UNSUITED, f"enclosure {line.name}", against, sources, f"/v1/enclosures/{line.id}")


def _of_equipment(sheet: InspectionFileSheet) -> Iterator[Failure]:
    for line in sheet.overdue:
        failed = Failed.OVERDUE if line.standing == "overdue" else Failed.UNDATED
        yield Failure(failed, f"{line.tag}, {line.model}, {line.place}", (line.reason,), (), f"/v1/equipment/{line.id}")


def _of_staff(sheet: InspectionFileSheet, *, on: date) -> Iterator[Failure]:
    for line in sheet.competences:
        if line.expires_on is not None and line.expires_on < on:
            whom = words.spoken(line.hazard) if line.hazard else "no hazard class"
            what = (f"competence for {whom}, on {words.short_date(line.expires_on)}",)
            yield Failure(Failed.COMPETENCE, words.spoken(line.role), what, (), f"/v1/staff/{line.staff_id}/competences/{line.id}")


def counted(found: Iterable[Failure]) -> dict[Failed, list[Failure]]:
    """Return what failed by what it is, only that of which there is any."""
    by_kind: dict[Failed, list[Failure]] = {}
    for one in found:
        by_kind.setdefault(one.failed, []).append(one)
    return by_kind
