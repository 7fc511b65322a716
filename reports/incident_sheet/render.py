"""The paper of an incident, upright: what to heed first, what has to be told by when, and lines for who did it."""

from typing import Final

from reports import words
from reports.canonical import canonical_json, record_hash
from reports.caution_box import draw_cautions
from reports.cautions import of_incident
from reports.fonts import Face
from reports.incident_sheet.sheet import ConcernedAnimal, IncidentSheet, NoticeLine, ToldLine
from reports.page import BODY_SIZE, SECTION_HEIGHT, Figure, Furniture, Paper
from reports.tables import MOST_CELL_LINES, Column, Phrase, Row, Setting, Table

NAME: Final = "Incident sheet"
LAW: Final = "Not legal advice: local codes, the issuing authority and licensed practice come first."
NO_NOTICES: Final = "The rules on record ask nobody to be told of this. Ask the authority where you doubt."
IN_DOUBT: Final = "Tell it all the same where you doubt: what is missing from the record does not excuse silence."

_between = 10.0
_setting = Setting(pad=3.0, lowest_row=26.0, most_lines=MOST_CELL_LINES)
_to_write = Setting(lowest_row=26.0)
_notice_columns = (
    Column("done", "told", 30, box=True),
    Column("by", "by when", 92),
    Column("whom", "to the authority of", 94),
    Column("what", "asked by", 160),
    Column("name", "who told, when", 86, line=True),
    Column("reference", "reference", 65.2, line=True),
)
_told_columns = (
    Column("at", "told at", 92),
    Column("whom", "to whom", 150, font=Face.BOLD),
    Column("way", "by which way", 90),
    Column("reference", "under which reference", 100),
    Column("what", "asked by", 95.2),
)
_animal_columns = (
    Column("tag", "animal", 110, font=Face.BOLD),
    Column("taxon", "taxon", 170),
    Column("hazard", "hazard class", 110),
    Column("note", "how concerned", 137.2),
)
_contact_columns = (
    Column("who", "who", 170, font=Face.BOLD),
    Column("number", "number to call, from the site's emergency sheet", 230, line=True),
    Column("when", "called at", 127.2, line=True),
)
_signature_columns = (
    Column("step", "step", 120, font=Face.BOLD),
    Column("name", "name", 180, line=True),
    Column("date", "date and time", 110, line=True),
    Column("signature", "signature", 117.2, line=True),
)
_contacts = ("Emergency services", "Poison information", "Veterinarian", "Person in charge", "Authority, out of hours")
_standing_words = {
    "open": "to be told",
    "missed": "NOT TOLD IN TIME: tell it now",
    "told": "told",
    "told_late": "told late",
    "cannot_decide": "CANNOT DECIDE",
}
LATE_IN_DOUBT: Final = "CANNOT DECIDE, AND LATE: tell it now"
_acts_now = frozenset(("open", "missed", "cannot_decide"))


def incident_sheet_pdf(sheet: IncidentSheet) -> bytes:
    """Return the paper; equal sheets give equal bytes."""
    paper = Paper(_furniture(sheet))
    paper.title(f"{words.spoken(sheet.kind.value).capitalize()} · {sheet.site}", under=_under_title(sheet))
    paper.figures(_figures(sheet))
    draw_cautions(paper, of_incident(sheet.kind, [one.hazard for one in sheet.animals]))
    _draw_notices(paper, sheet)
    _draw_told(paper, sheet)
    _draw_table(paper, "Whom to call", [Row({"who": one}) for one in _contacts], _contact_columns, _to_write)
    _draw_account(paper, sheet)
    steps = ("Reported by", "Taken over by", "Seen by the person in charge")
    _draw_table(paper, "Signatures", [Row({"step": one}) for one in steps], _signature_columns, _to_write)
    return paper.finished()


def incident_sheet_json(sheet: IncidentSheet) -> bytes:
    """Return the whole sheet as canonical JSON, the bytes that ``record_hash`` is taken of."""
    return canonical_json(sheet)


def _furniture(sheet: IncidentSheet) -> Furniture:
    return Furniture(
        paper_id=sheet.paper_id,
        organisation=sheet.organisation,
        name=NAME,
        title=f"{NAME} · {words.spoken(sheet.kind.value)} · {sheet.site} · {words.clock(sheet.found_at, zone=sheet.zone)}",
        data_as_of=sheet.data_as_of,
        generated_at=sheet.generated_at,
        zone=sheet.zone,
        record_hash=record_hash(sheet),
    )


def _under_title(sheet: IncidentSheet) -> list[str]:
    where = [sheet.enclosure] if sheet.enclosure else []
    found = " · ".join((f"found {words.clock(sheet.found_at, zone=sheet.zone)}", *where, f"record {sheet.incident_id}"))
    return [found, *([sheet.address] if sheet.address else [])]


def _figures(sheet: IncidentSheet) -> tuple[Figure, ...]:
    waiting = [one for one in sheet.notices if one.standing in _acts_now]
    dated = [one.tell_by for one in waiting if one.tell_by is not None]
    at_once = any(one.tell_by is None for one in waiting)
    first = "at once" if at_once else words.clock(min(dated), zone=sheet.zone) if dated else "none"
    return (
        Figure(sheet.persons_hurt, "persons hurt", alarm=sheet.persons_hurt > 0),
        Figure(len(sheet.animals), "animals or groups concerned"),
        Figure(len(waiting), "notices open", alarm=bool(waiting)),
        Figure(first, "the first of them by", alarm=bool(waiting)),
    )


def _draw_notices(paper: Paper, sheet: IncidentSheet) -> None:
    name = "To be told"
    if sheet.notices:
        rows = [_notice_row(one, sheet) for one in sheet.notices]
        _draw_table(paper, f"{name} · {len(rows)}", rows, _notice_columns, _setting)
    else:
        paper.need(SECTION_HEIGHT + 3 * BODY_SIZE)
        paper.section(name)
        paper.sentence(NO_NOTICES, size=BODY_SIZE)
    if sheet.missing:
        paper.sentence(f"Cannot be decided: {', '.join(map(words.spoken, sheet.missing))} not on record.", size=BODY_SIZE, face=Face.BOLD)
    if sheet.missing or any(one.missing for one in sheet.notices):
        paper.sentence(IN_DOUBT, size=BODY_SIZE)
    paper.sentence(LAW, size=BODY_SIZE)
    paper.skip(_between)


def _draw_told(paper: Paper, sheet: IncidentSheet) -> None:
    if sheet.told:
        rows = [_told_row(one, zone=sheet.zone) for one in sheet.told]
        _draw_table(paper, f"Told so far · {len(rows)}", rows, _told_columns, _setting)


def _told_row(one: ToldLine, *, zone: str) -> Row:
    return Row(
        {
            "at": words.clock(one.told_at, zone=zone),
            "whom": one.told_to,
            "way": one.way,
            "reference": one.reference or "none on record",
            "what": one.requirement or "no rule named",
        }
    )


def _notice_row(one: NoticeLine, sheet: IncidentSheet) -> Row:
    zone, acts_now = sheet.zone, one.standing in _acts_now
    late_in_doubt = one.standing == "cannot_decide" and one.tell_by is not None and one.tell_by < sheet.data_as_of
    said = LATE_IN_DOUBT if late_in_doubt else _standing_words.get(one.standing, one.standing)
    standing = Phrase(said, Face.BOLD, "alarm" if acts_now else "ink")
    told = (Phrase(words.clock(one.told_at, zone=zone)),) if one.told_at else ()
    missing = (Phrase(f"Missing: {', '.join(map(words.spoken, one.missing))}"),) if one.missing else ()
    return Row(
        {
            "by": (Phrase("at once" if one.tell_by is None else words.clock(one.tell_by, zone=zone), Face.BOLD), standing, *told),
            "whom": (
                *((Phrase(one.place, Face.BOLD),) if one.place else ()),
                Phrase(one.jurisdiction, tone="muted" if one.place else "ink"),
            ),
            "what": (
                Phrase(one.title),
                Phrase(one.citation, tone="muted"),
                Phrase(f"{one.requirement}, {one.edition}", tone="muted"),
                *missing,
            ),
        },
        act_now=acts_now,
    )


def _draw_account(paper: Paper, sheet: IncidentSheet) -> None:
    paper.need(SECTION_HEIGHT + 3 * BODY_SIZE)
    paper.section("What happened")
    paper.sentence(sheet.account, size=BODY_SIZE)
    if sheet.outcome:
        paper.sentence(f"Outcome: {sheet.outcome}", size=BODY_SIZE)
    paper.skip(_between)
    if sheet.animals:
        _draw_table(
            paper, f"Animals concerned · {len(sheet.animals)}", [_animal_row(one) for one in sheet.animals], _animal_columns, _setting
        )


def _animal_row(one: ConcernedAnimal) -> Row:
    face = Face.OBLIQUE if words.is_italic(one.rank) else Face.REGULAR
    hazard = "not on record: ask" if one.hazard is None else words.spoken(one.hazard.value)
    return Row({"tag": one.tag, "taxon": (Phrase(one.scientific_name, face),), "hazard": hazard, "note": one.note})


def _draw_table(paper: Paper, name: str, rows: list[Row], columns: tuple[Column, ...], setting: Setting) -> None:
    table = Table(columns, rows, setting=setting)
    paper.need(SECTION_HEIGHT + table.least_height)
    paper.section(name)
    table.draw(paper, name=name)
    paper.skip(_between)
