"""Sections 7 to 11: environment, equipment, health, incidents and findings, and who of the staff is competent for what."""

from collections.abc import Iterator
from datetime import date

from reports import words
from reports.fonts import Face
from reports.inspection_file.drawing import NOT_RECORDED, Sections, between
from reports.inspection_file.exceptions import FAILED_LABELS, FAILED_TELLING, by_when, has_run_out
from reports.inspection_file.sheet import (
    CheckedLine,
    CompetenceLine,
    DeathLine,
    FindingLine,
    IncidentLine,
    InspectionFileSheet,
    OverdueLine,
    ReplacedLine,
    TellLine,
    VisitLine,
)
from reports.notes import Notes
from reports.tables import Cell, Column, Phrase, Row

ELECTRICAL = frozenset(("electrical-inspection", "residual-current-test"))
"""Checks that are electrical tests."""

_overdue_columns = (
    Column("item", "item and its record", 200),
    Column("place", "where", 130),
    Column("due", "due", 100),
    Column("why", "why", 343.8),
)
_replaced_columns = (
    Column("on", "on", 76),
    Column("item", "new item and its record", 250),
    Column("old", "in place of", 210),
    Column("why", "why that one ended", 237.8),
)
_checked_columns = (
    Column("what", "what", 260),
    Column("result", "result", 160),
    Column("number", "how many", 90, align="right"),
    Column("latest", "latest", 120),
)
_death_columns = (
    Column("on", "on", 76),
    Column("animal", "animal and the record of its death", 250),
    Column("taxon", "taxon", 160),
    Column("number", "number", 60, align="right"),
    Column("cause", "cause", 227.8),
)
_incident_columns = (
    Column("on", "on", 76),
    Column("what", "what happened, and its record", 330),
    Column("people", "people", 140),
    Column("action", "what was done", 227.8),
)
_finding_columns = (
    Column("on", "found on", 76),
    Column("what", "finding, and its record", 330),
    Column("due", "due", 100),
    Column("action", "corrective action", 267.8),
)
_visit_columns = (
    Column("on", "on", 76),
    Column("what", "visit, and its record", 250),
    Column("summary", "what was said of it in all", 307.8),
    Column("found", "findings", 140),
)
_closed_columns = (
    Column("on", "found on", 76),
    Column("what", "finding, and its record", 270),
    Column("closed", "closed on, with what result", 190),
    Column("action", "what was done, and how that can be shown", 237.8),
)
_competence_columns = (
    Column("who", "role, and record of the member of staff", 220),
    Column("hazard", "for animals that are", 140),
    Column("from", "from", 90),
    Column("expires", "until", 130),
    Column("record", "record of the competence", 193.8),
)


def draw_environment(file: Sections) -> None:
    """Draw that readings of air and water are not kept here."""
    file.begin(7)
    file.say(f"Charts of temperature, humidity, light and water by system. {NOT_RECORDED}")
    file.paper.skip(between)


def draw_equipment(file: Sections, sheet: InspectionFileSheet) -> None:
    """Draw what is overdue, what was replaced, tested and measured."""
    overdue = [_overdue_row(line) for line in sheet.overdue]
    good = f"{words.plural(sheet.items_good, 'item')} neither overdue nor without a date on {words.short_date(sheet.until_on)}."
    file.begin(8, good, room=file.room_for(overdue, _overdue_columns))
    file.table("Overdue, or cannot be dated", overdue, _overdue_columns, nothing="None.")
    replaced = [_replaced_row(line) for line in sheet.replaced]
    file.table("Replacements done in the period", replaced, _replaced_columns)
    electrical = [line for line in sheet.checks if line.what in ELECTRICAL]
    others = [line for line in sheet.checks if line.what not in ELECTRICAL]
    for name, lines in (("Electrical tests of the period", electrical), ("Other checks of the period", others)):
        file.table(name, [_checked_row(line) for line in lines], _checked_columns)
    file.table("Measurements of output of the period", [_checked_row(line) for line in sheet.outputs], _checked_columns)
    file.paper.skip(between)


def _overdue_row(line: OverdueLine) -> Row:
    late = line.standing == "overdue"
    due = words.short_date(line.due_on) if line.due_on else "cannot be said"
    act = (Phrase("ACT NOW: OVERDUE", Face.BOLD, "alarm"),) if late else (Phrase("cannot be dated"),)
    item = (Phrase(line.tag, Face.BOLD), Phrase(line.model), Phrase(line.id, Face.MONO, "muted"))
    return Row({"item": item, "place": line.place or "not on record", "due": (Phrase(due), *act), "why": line.reason}, act_now=late)


def _replaced_row(line: ReplacedLine) -> Row:
    return Row(
        {
            "on": words.short_date(line.installed_on),
            "item": (Phrase(line.tag, Face.BOLD), Phrase(line.model), Phrase(line.id, Face.MONO, "muted")),
            "old": (Phrase(line.old_id, Face.MONO, "muted"),),
            "why": line.reason or "not on record",
        }
    )


def _checked_row(line: CheckedLine) -> Row:
    failed = line.result == "failed"
    result = (Phrase(line.result, Face.BOLD if failed else Face.REGULAR),)
    what = line.what.replace("-", " ")
    return Row({"what": what, "result": result, "number": words.number(line.number), "latest": words.short_date(line.latest_on)})


def draw_health(file: Sections, sheet: InspectionFileSheet) -> None:
    """Draw the deaths of the period; visits, treatments and quarantine are not kept here."""
    deaths = [_death_row(line) for line in sheet.deaths]
    file.begin(9, f"Visits, treatments and quarantine. {NOT_RECORDED}", room=file.room_for(deaths, _death_columns))
    file.table("Deaths of the period", deaths, _death_columns)
    file.paper.skip(between)


def _death_row(line: DeathLine) -> Row:
    name = Phrase(line.scientific_name, Face.OBLIQUE if words.is_italic(line.rank) else Face.REGULAR)
    return Row(
        {
            "on": words.short_date(line.on),
            "animal": (Phrase(line.tag, Face.BOLD), Phrase(line.id, Face.MONO, "muted")),
            "taxon": (name,),
            "number": words.number(line.number),
            "cause": line.cause or "not on record",
        }
    )


def draw_incidents(file: Sections, sheet: InspectionFileSheet, notes: Notes) -> None:
    """Draw incidents, visits and findings of the period and those open at its end, or that this system has no such records."""
    if sheet.incidents is None:
        file.begin(10, f"Incidents and bites. {NOT_RECORDED}")
    else:
        rows = [_incident_row(line, notes, sheet=sheet) for line in sheet.incidents]
        told = f"Whether an incident was told is said as known on {words.clock(sheet.data_as_of, zone=sheet.zone)}."
        file.begin(10, told, room=file.room_for(rows, _incident_columns))
        file.table("Incidents and bites", rows, _incident_columns, nothing="None on record in this period.")
    if sheet.findings is None:
        file.say(f"Findings of inspections. {NOT_RECORDED}")
    else:
        on = sheet.until_on
        visits = [_visit_row(line, notes, on=on) for line in sheet.visits]
        file.table("Inspections of the period", visits, _visit_columns, nothing="None on record in this period.")
        file.table("Open findings", [_finding_row(line, notes, on=on) for line in sheet.findings], _finding_columns)
        closed = [_closed_row(line, notes) for line in sheet.closed]
        file.table("Findings closed in the period", closed, _closed_columns, nothing="None on record in this period.")
    file.paper.skip(between)


def _incident_row(line: IncidentLine, notes: Notes, *, sheet: InspectionFileSheet) -> Row:
    about = f"Incident of {words.short_date(line.on)}"
    to_tell = tuple(phrase for one in line.to_tell for phrase in _tell(one, sheet))
    missing = (Phrase(f"ACT NOW: cannot be decided, not on record: {', '.join(map(words.spoken, line.missing))}"),) if line.missing else ()
    return Row(
        {
            "on": words.short_date(line.on),
            "what": (*notes.cell(line.what, about=about), Phrase(line.id, Face.MONO, "muted")),
            "people": notes.cell(line.people or "", about=f"People, {about}"),
            "action": (*to_tell, *missing, *notes.cell(line.action or "no outcome on record", about=f"What was done, {about}")),
        },
        act_now=bool(missing) or any(one.standing in FAILED_TELLING for one in line.to_tell),
    )


def _tell(one: TellLine, sheet: InspectionFileSheet) -> Iterator[Phrase]:
    """Yield a notice that an incident asks for, and how it stands."""
    failed = FAILED_TELLING.get(one.standing)
    if failed is None:
        yield Phrase(f"{one.requirement}: {words.spoken(one.standing)}")
        return
    yield Phrase(f"ACT NOW: {FAILED_LABELS[failed]}", Face.BOLD, "alarm")
    yield Phrase(f"{one.requirement}, {by_when(one, sheet)}")


def _visit_row(line: VisitLine, notes: Notes, *, on: date) -> Row:
    about = f"Inspection of {words.short_date(line.on)}"
    reference = (Phrase(line.reference),) if line.reference else ()
    return Row(
        {
            "on": words.short_date(line.on),
            "what": (
                Phrase(line.authority, Face.BOLD),
                Phrase(f"{words.spoken(line.kind)} visit"),
                *reference,
                Phrase(line.id, Face.MONO, "muted"),
            ),
            "summary": notes.cell(line.summary, about=about),
            "found": f"{words.number(line.found)} on record, {words.number(line.open)} open on {words.short_date(on)}",
        }
    )


def _finding_row(line: FindingLine, notes: Notes, *, on: date) -> Row:
    about = f"Finding of {words.short_date(line.found_on)}"
    late = line.due_on is not None and line.due_on < on
    due = words.short_date(line.due_on) if line.due_on else "no day said"
    act = (Phrase("ACT NOW: OVERDUE", Face.BOLD, "alarm"),) if late else ()
    cells: dict[str, Cell] = {
        "on": words.short_date(line.found_on),
        "what": _found(line, notes, about=about),
        "due": (Phrase(due), *act),
        "action": notes.cell(line.action or "not on record", about=f"Action, {about}"),
    }
    return Row(cells, act_now=late)


def _found(line: FindingLine, notes: Notes, *, about: str) -> tuple[Phrase, ...]:
    """Return what was found, by which requirement, and its record."""
    requirement = (Phrase(f"by {line.requirement}"),) if line.requirement else ()
    return (*notes.cell(line.what, about=about), *requirement, Phrase(line.id, Face.MONO, "muted"))


def _closed_row(line: FindingLine, notes: Notes) -> Row:
    about = f"Finding of {words.short_date(line.found_on)}"
    closed = words.short_date(line.closed_on) if line.closed_on else "not on record"
    return Row(
        {
            "on": words.short_date(line.found_on),
            "what": _found(line, notes, about=about),
            "closed": (Phrase(closed, Face.BOLD), *notes.cell(line.closing, about=f"Result, {about}")),
            "action": notes.cell(line.action or "not on record", about=f"Action, {about}"),
        }
    )


def draw_training(file: Sections, sheet: InspectionFileSheet) -> None:
    """Draw what the staff is competent for, by role and record and without names."""
    rows = [_competence_row(line, on=sheet.until_on) for line in sheet.competences]
    file.begin(11, room=file.room_for(rows, _competence_columns))
    nothing = "No competence of anybody at this site, or of the whole organisation, is on record."
    file.table("Competences", rows, _competence_columns, nothing=nothing)
    file.paper.skip(between)


def _competence_row(line: CompetenceLine, *, on: date) -> Row:
    over = has_run_out(line, on=on)
    until = words.short_date(line.expires_on) if line.expires_on else "no end"
    act = (Phrase("ACT NOW: RAN OUT", Face.BOLD, "alarm"),) if over else (Phrase("assessed again since"),) if line.is_renewed else ()
    where = "whole organisation" if line.whole_organisation else "this site"
    return Row(
        {
            "who": (Phrase(words.spoken(line.role), Face.BOLD), Phrase(where), Phrase(line.staff_id, Face.MONO, "muted")),
            "hazard": words.spoken(line.hazard) if line.hazard else "of no class said",
            "from": words.short_date(line.from_on),
            "expires": (Phrase(until), *act),
            "record": (Phrase(line.id, Face.MONO, "muted"),),
        },
        act_now=over,
    )
