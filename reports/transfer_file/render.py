"""The transfer file as a paper with its data attached: what is open, then what is done at the box, then what is read later."""

from collections.abc import Sequence
from typing import Final

from domain.rules.fitness import Hazard
from domain.rules.law.decision import DISCLAIMER
from domain.rules.transfers import CARED_DAYS, LOOKED_BACK_DAYS
from reports.canonical import record_hash
from reports.caution_box import draw_cautions
from reports.cautions import of_journey
from reports.check_box import draw_check_box
from reports.fonts import Face
from reports.notes import Notes, draw_notes
from reports.page import BODY_SIZE, SECTION_HEIGHT, Furniture, Paper
from reports.tables import MOST_CELL_LINES, Column, Row, Setting, Table
from reports.transfer_file import compose
from reports.transfer_file.exports import transfer_file_json
from reports.transfer_file.sheet import ATTACHMENT_NAME, TransferFileSheet

NAME: Final = "Animal transfer file"

_between = 10.0
_setting = Setting(pad=3.0, lowest_row=20.0, most_lines=MOST_CELL_LINES)
_to_tick = Setting(pad=3.5, lowest_row=30.0, most_lines=MOST_CELL_LINES)
_end_columns = (
    Column("role", "role", 56, font=Face.BOLD),
    Column("who", "organisation and address", 214),
    Column("contact", "contact on the day", 132),
    Column("licence", "licence or authorisation", 125.2),
)
_animal_columns = (
    Column("number", "no.", 32, align="right"),
    Column("tag", "animal", 66),
    Column("taxon", "taxon", 114),
    Column("what", "sex, stage, age", 80),
    Column("mark", "mark, to be read back", 102),
    Column("mass", "mass, day", 60),
    Column("loaded", "loaded", 40, box=True),
    Column("arrived", "there", 33.2, box=True),
)
_paper_columns = (
    Column("title", "paper", 130),
    Column("number", "number and authority", 106),
    Column("covers", "for", 70),
    Column("valid", "good until", 90),
    Column("fingerprint", "fingerprint of the scan (SHA-256)", 97.2),
    Column("there", "there", 34, box=True),
)
_care_columns = (
    Column("who", "who", 120),
    Column("needs", "what they need", 160),
    Column("source", "who says so", 120),
    Column("lived", "lived in, and what was measured there", 127.2),
)
_history_columns = (
    Column("tag", "animal", 78, font=Face.BOLD),
    Column("origin", "origin, parents, how the sender has it", 180),
    Column("masses", f"masses of {LOOKED_BACK_DAYS} days, or the last", 110),
    Column("lately", f"entered in the last {LOOKED_BACK_DAYS} days", 159.2),
)
_arrival_columns = (
    Column("tag", "animal", 110, font=Face.BOLD),
    Column("condition", "condition on arrival", 190, line=True),
    Column("differs", "what differs from this file", 227.2, line=True),
)
_counted_arrival_columns = (
    Column("tag", "animal", 110, font=Face.BOLD),
    Column("alive", "alive", 45, line=True),
    Column("dead", "dead", 45, line=True),
    Column("condition", "condition on arrival", 150, line=True),
    Column("differs", "what differs from this file", 177.2, line=True),
)
_hand_over_columns = (
    Column("step", "step", 110, font=Face.BOLD),
    Column("name", "name and signature", 210, line=True),
    Column("when", "date and time", 120, line=True),
    Column("c", "°C in the box", 87.2, line=True),
)
_steps = ("Handed over by", "Taken over to carry", "Received by")


def transfer_file_pdf(sheet: TransferFileSheet) -> bytes:
    """Return the paper with the sheet's canonical JSON attached; equal sheets give equal bytes."""
    furniture, notes = _furniture(sheet), Notes()
    paper = Paper(furniture)
    paper.attach(
        ATTACHMENT_NAME,
        transfer_file_json(sheet),
        media_type="application/json",
        about="The data of this file, for the receiver's records to be read from",
    )
    paper.title(f"{NAME} · {sheet.reference}", under=compose.under_title(sheet))
    paper.sentence(DISCLAIMER, size=BODY_SIZE)
    paper.skip(_between)
    paper.figures(compose.figures(sheet))
    _draw_sentences(paper, compose.open_heading(sheet), list(compose.open_sentences(sheet)))
    draw_cautions(paper, of_journey([None if one.hazard is None else Hazard(one.hazard) for one in sheet.animals]))
    _draw_table(paper, "Sender, receiver, carrier", compose.end_rows(sheet), _end_columns, _setting)
    _draw_table(paper, "Animals", compose.animal_rows(sheet), _animal_columns, _to_tick)
    _draw_table(paper, "Papers that go along", compose.paper_rows(sheet, notes), _paper_columns, _to_tick)
    _draw_sentences(paper, f"Care on the way and for the first {CARED_DAYS} days", list(compose.journey_sentences(sheet)))
    _draw_rows(paper, "What they need", compose.care_rows(sheet), _care_columns, _setting)
    _draw_table(paper, "Where they come from", compose.history_rows(sheet, notes), _history_columns, _setting)
    draw_notes(paper, notes.long)
    arrival_columns = _counted_arrival_columns if compose.are_counted(sheet) else _arrival_columns
    _draw_table(paper, "On arrival", compose.arrival_rows(sheet), arrival_columns, _to_tick)
    _draw_table(paper, "Hand-over", [Row({"step": one}) for one in _steps], _hand_over_columns, _to_tick)
    of_record = furniture.record_hash
    draw_check_box(paper, paper_id=sheet.paper_id, record_hash=of_record, check_at=sheet.check_at, sealed=sheet.sealed)
    return paper.finished()


def _furniture(sheet: TransferFileSheet) -> Furniture:
    return Furniture(
        paper_id=sheet.paper_id,
        organisation=sheet.organisation,
        name=NAME,
        title=f"{NAME} · {sheet.reference}",
        data_as_of=sheet.data_as_of,
        generated_at=sheet.generated_at,
        zone=sheet.zone,
        record_hash=record_hash(sheet),
        check_at=sheet.check_at,
    )


def _draw_sentences(paper: Paper, heading: str, sentences: Sequence[str]) -> None:
    paper.need(SECTION_HEIGHT + 3 * BODY_SIZE)
    paper.section(heading)
    for one in sentences:
        paper.sentence(one, size=BODY_SIZE + 0.5)
        paper.skip(2)
    paper.skip(_between)


def _draw_table(paper: Paper, name: str, rows: Sequence[Row], columns: Sequence[Column], setting: Setting) -> None:
    if not rows:
        _draw_sentences(paper, name, ["None on record."])
        return
    table = Table(columns, rows, setting=setting)
    paper.need(SECTION_HEIGHT + table.least_height)
    paper.section(name)
    table.draw(paper, name=name)
    paper.skip(_between)


def _draw_rows(paper: Paper, name: str, rows: Sequence[Row], columns: Sequence[Column], setting: Setting) -> None:
    """Draw a table that belongs to the section above it."""
    if rows:
        table = Table(columns, rows, setting=setting)
        paper.need(table.least_height)
        table.draw(paper, name=name)
        paper.skip(_between)
