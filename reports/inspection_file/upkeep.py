"""Sections 7 to 11: environment, equipment, health, incidents and findings, and who of the staff is competent for what."""

from datetime import date

from reports import words
from reports.fonts import Face
from reports.inspection_file.drawing import NOT_RECORDED, Sections, between
from reports.inspection_file.sheet import (
    CheckedLine,
    CompetenceLine,
    DeathLine,
    FindingLine,
    IncidentLine,
    InspectionFileSheet,
    OverdueLine,
    ReplacedLine,
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
    file.begin(8)
    overdue = [_overdue_row(line) for line in sheet.overdue]
    file.say(f"{words.plural(sheet.items_good, 'item')} neither overdue nor without a date on {words.short_date(sheet.until_on)}.")
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
    file.begin(9)
    file.say(f"Visits, treatments and quarantine. {NOT_RECORDED}")
    deaths = [_death_row(line) for line in sheet.deaths]
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
    """Draw incidents of the period and findings of inspections that are open, or that this system has no such records."""
    file.begin(10)
    if sheet.incidents is None:
        file.say(f"Incidents and bites. {NOT_RECORDED}")
    else:
        rows = [_incident_row(line, notes) for line in sheet.incidents]
        file.table("Incidents and bites", rows, _incident_columns, nothing="None on record in this period.")
    if sheet.findings is None:
        file.say(f"Findings of inspections. {NOT_RECORDED}")
    else:
        rows = [_finding_row(line, notes, on=sheet.until_on) for line in sheet.findings]
        file.table("Open findings", rows, _finding_columns)
    file.paper.skip(between)


def _incident_row(line: IncidentLine, notes: Notes) -> Row:
    about = f"Incident of {words.short_date(line.on)}"
    return Row(
        {
            "on": words.short_date(line.on),
            "what": (*notes.cell(line.what, about=about), Phrase(line.id, Face.MONO, "muted")),
            "people": notes.cell(line.people or "", about=f"People, {about}"),
            "action": notes.cell(line.action or "not on record", about=f"What was done, {about}"),
        }
    )


def _finding_row(line: FindingLine, notes: Notes, *, on: date) -> Row:
    about = f"Finding of {words.short_date(line.found_on)}"
    late = line.due_on is not None and line.due_on < on
    due = words.short_date(line.due_on) if line.due_on else "no day said"
    act = (Phrase("ACT NOW: OVERDUE", Face.BOLD, "alarm"),) if late else ()
    what = (*notes.cell(line.what, about=about), Phrase(line.id, Face.MONO, "muted"))
    cells: dict[str, Cell] = {
        "on": words.short_date(line.found_on),
        "what": what,
        "due": (Phrase(due), *act),
        "action": notes.cell(line.action or "not on record", about=f"Action, {about}"),
    }
    return Row(cells, act_now=late)


def draw_training(file: Sections, sheet: InspectionFileSheet) -> None:
    """Draw what the staff is competent for, by role and record and without names."""
    file.begin(11)
    rows = [_competence_row(line, on=sheet.until_on) for line in sheet.competences]
    nothing = "No competence of anybody at this site, or of the whole organisation, is on record."
    file.table("Competences", rows, _competence_columns, nothing=nothing)
    file.paper.skip(between)


def _competence_row(line: CompetenceLine, *, on: date) -> Row:
    over = line.expires_on is not None and line.expires_on < on
    until = words.short_date(line.expires_on) if line.expires_on else "no end"
    act = (Phrase("ACT NOW: RAN OUT", Face.BOLD, "alarm"),) if over else ()
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
