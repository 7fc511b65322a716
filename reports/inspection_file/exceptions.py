"""What failed by the records of an inspection file: every rule that is not kept, each with the record that it leads to."""

from collections.abc import Iterable, Iterator
from datetime import date
from enum import StrEnum
from typing import Final, NamedTuple

from domain.rules.compliance import Standing
from reports import words
from reports.inspection_file.sheet import CompetenceLine, EnclosureLine, IncidentLine, InspectionFileSheet, TellLine
from reports.permit_register.compose import is_late, lacks, urgencies, wants_action
from reports.permit_register.sheet import UncoveredLine
from reports.stock_statement.compose import sex_and_stage


class Failed(StrEnum):
    """What failed, the most urgent first."""

    MISSED = "missed"
    TO_TELL = "to_tell"
    UNSURE_TO_TELL = "unsure_to_tell"
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
    UNDECIDED = "undecided"
    UNDATED = "undated"
    ANSWERED = "answered"


FAILED_WORDS: Final = {
    Failed.MISSED: "notices of incidents that were not given in time",
    Failed.TO_TELL: "notices of incidents that are still to be given",
    Failed.UNSURE_TO_TELL: "notices of incidents of which it cannot be decided",
    Failed.PROHIBITED: "animals whose keeping is prohibited",
    Failed.UNCOVERED: "animals without a document or a mark that they need",
    Failed.CANNOT_DECIDE: "animals of which it cannot be decided",
    Failed.PERMIT: "permits that have ended, end within 60 days, are past the day to apply, cover nobody, or too many animals",
    Failed.CONDITION: "conditions of permits that are overdue",
    Failed.FINDING: "findings of inspections that are open",
    Failed.UNSUITED: "enclosures that do not suit their animals",
    Failed.OVERDUE: "items of equipment that are overdue",
    Failed.SUM: "sums of the stock that do not reconcile",
    Failed.COMPETENCE: "competences that have run out",
    Failed.UNDECIDED: "enclosures of which it cannot be decided whether they suit",
    Failed.UNDATED: "items of equipment that cannot be dated",
    Failed.ANSWERED: "requirements not heeded, for which somebody answers",
}
FAILED_LABELS: Final = {
    Failed.MISSED: "NOT TOLD IN TIME: tell it now",
    Failed.TO_TELL: "to be told",
    Failed.UNSURE_TO_TELL: "to be told or not: cannot be decided",
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
    Failed.UNDECIDED: "whether it suits its animals cannot be decided",
    Failed.UNDATED: "cannot be dated",
    Failed.ANSWERED: "not heeded",
}
"""What failed, said of one."""
LONGEST: Final = 280
"""Characters of a text that the exceptions repeat; a longer one stands in its section only."""
SECTION_OF: Final = {
    Failed.MISSED: 10,
    Failed.TO_TELL: 10,
    Failed.UNSURE_TO_TELL: 10,
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
    Failed.UNDECIDED: 6,
    Failed.UNDATED: 8,
    Failed.ANSWERED: 4,
}
"""The section of the file in which what failed is told of."""
_OF_STANDING = {
    Standing.PROHIBITED: Failed.PROHIBITED,
    Standing.UNCOVERED: Failed.UNCOVERED,
    Standing.CANNOT_DECIDE: Failed.CANNOT_DECIDE,
}


FAILED_TELLING = {
    "missed": Failed.MISSED,
    "open": Failed.TO_TELL,
    "cannot_decide": Failed.UNSURE_TO_TELL,
}
"""What failed by how a notice stands; one that was given failed in nothing that anybody can still do."""


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
    yield from (one for line in sheet.incidents or () for one in _of_incident(line, sheet))
    yield from (_of_animal(line) for line in sheet.uncovered)
    for line in sheet.permits:
        path = f"/v1/permits/{line.id}"
        if wants_action(line, on=on):
            rules = (line.citation,) if line.citation else ()
            yield Failure(Failed.PERMIT, f"permit {line.number}", tuple(urgencies(line, on=on)), rules, path)
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


def _of_incident(line: IncidentLine, sheet: InspectionFileSheet) -> Iterator[Failure]:
    about, record = f"incident of {words.short_date(line.on)}", f"{line.id}/notify-by"
    for one in line.to_tell:
        if one.standing in FAILED_TELLING:
            said = [by_when(one, sheet)]
            said += [f"not on record: {', '.join(map(words.spoken, one.missing))}"] if one.missing else []
            yield Failure(FAILED_TELLING[one.standing], about, tuple(said), (f"{one.requirement}: {one.citation}",), record)
    if line.missing:
        said = [f"not on record: {', '.join(map(words.spoken, line.missing))}"]
        yield Failure(Failed.UNSURE_TO_TELL, about, tuple(said), (), record)


def by_when(one: TellLine, sheet: InspectionFileSheet) -> str:
    """Return by when a notice has to be given, and where it was not yet, whether that has passed."""
    if one.tell_by is None:
        return "by when: at once"
    passed = one.standing in FAILED_TELLING and one.tell_by < sheet.data_as_of
    return f"by {words.clock(one.tell_by, zone=sheet.zone)}{', which HAS PASSED' if passed else ''}"


def _of_animal(line: UncoveredLine) -> Failure:
    number = f" ({words.plural(line.uncovered, 'animal')})" if line.number > 1 else ""
    about = f"{line.tag}, {line.scientific_name}{number}"
    return Failure(_OF_STANDING[line.standing], about, tuple(lacks(line)), line.rules, f"/v1/animals/{line.id}/compliance")


def _open_findings(sheet: InspectionFileSheet) -> Iterator[Failure]:
    for line in sheet.findings or ():
        due = f", due {words.short_date(line.due_on)}" if line.due_on else ""
        action = f"corrective action: {line.action or 'not on record'}"
        yield Failure(
            Failed.FINDING,
            f"finding of {words.short_date(line.found_on)}{due}",
            tuple(text if len(text) <= LONGEST else f"{text[:LONGEST].rstrip()}…, all of it in section 10" for text in (line.what, action)),
            (line.requirement,) if line.requirement else (),
            line.id,
        )


def _of_enclosure(line: EnclosureLine) -> Iterator[Failure]:
    against = tuple(dict.fromkeys(reason for lodgers in line.lodgers for reason in lodgers.against))
    if against:
        sources = tuple(dict.fromkeys(one.source for one in line.lodgers if one.against and one.source))
        yield Failure(Failed.UNSUITED, f"enclosure {line.name}", against, sources, f"/v1/enclosures/{line.id}")
        return
    missing = tuple(dict.fromkeys(reason for lodgers in line.lodgers for reason in lodgers.missing))
    if missing:
        yield Failure(Failed.UNDECIDED, f"enclosure {line.name}", missing, (), f"/v1/enclosures/{line.id}")


def _of_equipment(sheet: InspectionFileSheet) -> Iterator[Failure]:
    for line in sheet.overdue:
        failed = Failed.OVERDUE if line.standing == "overdue" else Failed.UNDATED
        yield Failure(failed, f"{line.tag}, {line.model}, {line.place}", (line.reason,), (), f"/v1/equipment/{line.id}")


def _of_staff(sheet: InspectionFileSheet, *, on: date) -> Iterator[Failure]:
    for line in sheet.competences:
        if line.expires_on is not None and has_run_out(line, on=on):
            whom = words.spoken(line.hazard) if line.hazard else "no hazard class"
            what = (f"competence for {whom}, on {words.short_date(line.expires_on)}",)
            yield Failure(Failed.COMPETENCE, words.spoken(line.role), what, (), f"/v1/staff/{line.staff_id}/competences/{line.id}")


def has_run_out(line: CompetenceLine, *, on: date) -> bool:
    """Return whether a competence counted for the last time before a day, and was not taken again since."""
    return line.expires_on is not None and line.expires_on < on and not line.is_renewed


def counted(found: Iterable[Failure]) -> dict[Failed, list[Failure]]:
    """Return what failed by what it is, only that of which there is any."""
    by_kind: dict[Failed, list[Failure]] = {}
    for one in found:
        by_kind.setdefault(one.failed, []).append(one)
    return by_kind
