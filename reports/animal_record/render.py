"""The animal record as a paper, upright: who it is and how it stands, cautions, then its life section by section."""

from collections.abc import Sequence
from typing import Final

from reports.animal_record import compose
from reports.animal_record.chart import HEIGHT, draw_mass_chart, weighings
from reports.animal_record.compose import Fact
from reports.animal_record.sheet import AnimalRecordSheet
from reports.canonical import canonical_json, record_hash
from reports.caution_box import draw_cautions
from reports.cautions import of_animals
from reports.fonts import Face
from reports.notes import Notes, draw_notes
from reports.page import BODY_SIZE, LEADING, SECTION_HEIGHT, Furniture, Paper
from reports.tables import MOST_CELL_LINES, Column, Phrase, Row, Setting, Table
from reports.text import Line, line_width, lines

NAME: Final = "Animal record"
HONEST: Final = "What is not on record was not entered; it may still have happened."

_under = 12.0  # type under the title [pt]
_space = 4.5  # between what follows on one line there
_label_width = 118.0
_setting = Setting(pad=2.6, lowest_row=15.2, most_lines=MOST_CELL_LINES)
_between = 10.0
_end_height = 4 * BODY_SIZE

_since = (Column("from", "from", 62), Column("until", "until", 62))
_mark_columns = (
    Column("mark", "mark", 128),
    Column("from", "from", 62),
    Column("until", "until", 92),
    Column("how", "how and where", 136),
    Column("remarks", "remarks", 109.2),
)
_name_columns = (*_since, Column("name", "called", 200), Column("remarks", "remarks", 203.2))
_state_columns = (*_since, Column("sex", "sex", 130), Column("stage", "life stage", 130), Column("status", "status", 143.2))
_placement_columns = (*_since, Column("where", "where", 190), Column("remarks", "remarks", 213.2))
_measurement_columns = (
    Column("on", "on", 62),
    Column("kind", "what", 96),
    Column("value", "measured", 72, align="right"),
    Column("method", "how", 92),
    Column("by", "by", 98),
    Column("remarks", "remarks", 107.2),
)
_parent_columns = (
    Column("role", "parent", 62),
    Column("animal", "animal", 190),
    Column("certainty", "how sure", 70),
    Column("remarks", "remarks", 205.2),
)
_offspring_columns = (
    Column("animal", "animal", 200),
    Column("role", "this one", 62),
    Column("certainty", "how sure", 70),
    Column("hatched", "hatched or born", 72),
    Column("number", "number now", 58, align="right"),
    Column("status", "status", 65.2),
)
_holding_columns = (
    *_since,
    Column("footing", "footing", 98),
    Column("party", "with or for whom", 140),
    Column("remarks", "terms and remarks", 165.2),
)
_event_columns = (
    Column("on", "on", 62),
    Column("what", "what happened", 118),
    Column("number", "number", 84, align="right"),
    Column("details", "details", 138),
    Column("remarks", "remarks", 125.2),
)
_document_columns = (
    Column("document", "document", 126),
    Column("dated", "dated", 62),
    Column("reference", "its number", 82),
    Column("fingerprint", "fingerprint of the file (SHA-256)", 190),
    Column("remarks", "remarks", 67.2),
)


def animal_record_pdf(sheet: AnimalRecordSheet) -> bytes:
    """Return the paper; equal sheets give equal bytes."""
    paper = Paper(_furniture(sheet))
    notes = Notes()
    _draw_title(paper, sheet)
    paper.figures(compose.figures(sheet))
    draw_cautions(paper, of_animals((sheet.hazard,)))
    _draw_facts(paper, "Origin and acquisition", compose.origin_facts(sheet, notes))
    _draw_table(paper, "Names", compose.name_rows(sheet, notes), columns=_name_columns)
    _draw_table(paper, "Marks", compose.mark_rows(sheet, notes), columns=_mark_columns)
    _draw_table(paper, "Sex, life stage and status", compose.state_rows(sheet), columns=_state_columns)
    _draw_table(paper, "Placements", compose.placement_rows(sheet, notes) if sheet.placements else (), columns=_placement_columns)
    _draw_measurements(paper, sheet, notes)
    _draw_table(paper, "Parents", compose.parent_rows(sheet, notes), columns=_parent_columns)
    _draw_table(paper, "Offspring", compose.offspring_rows(sheet), columns=_offspring_columns)
    _draw_table(paper, "Ownership and loans", compose.holding_rows(sheet, notes) if sheet.holdings else (), columns=_holding_columns)
    _draw_table(paper, "Events", compose.event_rows(sheet, notes), columns=_event_columns)
    _draw_table(paper, "Documents", compose.document_rows(sheet, notes), columns=_document_columns)
    _draw_facts(paper, "Fate", compose.fate_facts(sheet), below=0 if notes.long else _end_height)
    draw_notes(paper, notes.long)
    _draw_end(paper, sheet)
    return paper.finished()


def animal_record_json(sheet: AnimalRecordSheet) -> bytes:
    """Return the whole sheet as canonical JSON, the bytes that ``record_hash`` is taken of."""
    return canonical_json(sheet)


def _furniture(sheet: AnimalRecordSheet) -> Furniture:
    return Furniture(
        paper_id=sheet.paper_id,
        organisation=sheet.organisation,
        name=NAME,
        title=f"{NAME} · {compose.title(sheet)} · {sheet.today.isoformat()}",
        data_as_of=sheet.data_as_of,
        generated_at=sheet.generated_at,
        zone=sheet.zone,
        record_hash=record_hash(sheet),
    )


def _draw_title(paper: Paper, sheet: AnimalRecordSheet) -> None:
    ink = paper.ink()
    ink.tag("H1")
    for line in lines(compose.title(sheet), face=Face.BOLD, size=19, width=paper.width):
        paper.y -= 22
        ink.write(line, x=paper.left, y=paper.y + 3, size=19)
    for phrases in compose.taxon_lines(sheet):
        ink.tag("P")
        for row in _running(phrases, width=paper.width):
            paper.y -= _under * 1.3
            x = paper.left
            for line in row:
                ink.write(line, x=x, y=paper.y, size=_under)
                x += line_width(line, size=_under) + _space
    ink.dry(paper.canvas)
    paper.skip(14)


def _running(phrases: Sequence[Phrase], *, width: float) -> list[list[Line]]:
    """Return phrases as rows of what stands on one line: all of them on one, or, where they are too long for that, each on its own."""
    broken = [lines(phrase.text, face=phrase.font, size=_under, width=width, tone=phrase.tone) for phrase in phrases]
    whole = [line for set_lines in broken for line in set_lines]
    if len(whole) == len(phrases) and sum(line_width(line, size=_under) + _space for line in whole) <= width + _space:
        return [whole]
    return [[line] for line in whole]


def _draw_facts(paper: Paper, name: str, facts: Sequence[Fact], *, below: float | None = None) -> None:
    """Draw facts under a heading; with ``below`` [pt] all of them stand on one page, together with what takes that room after them."""
    set_facts = [_set_fact(fact, width=paper.width) for fact in facts]
    heights = [LEADING * max(len(label), len(text)) + 3 for label, text in set_facts]
    paper.need(SECTION_HEIGHT + (sum(heights[:2]) if below is None else sum(heights) + _between + below))
    paper.section(name)
    for (label, text), height in zip(set_facts, heights, strict=True):
        paper.need(height)
        ink = paper.ink()
        ink.tag("P")
        for x, column in ((paper.left, label), (paper.left + _label_width, text)):
            for number, line in enumerate(column):
                ink.write(line, x=x, y=paper.y - BODY_SIZE - number * LEADING, size=BODY_SIZE)
        ink.dry(paper.canvas)
        paper.skip(height)
    paper.skip(_between)


def _set_fact(fact: Fact, *, width: float) -> tuple[tuple[Line, ...], tuple[Line, ...]]:
    label = lines(fact.label, face=Face.REGULAR, size=BODY_SIZE, width=_label_width - 8, tone="muted")
    text = [
        line
        for phrase in fact.phrases
        for line in lines(phrase.text, face=phrase.font, size=BODY_SIZE, width=width - _label_width, tone=phrase.tone)
    ]
    return label, tuple(text)


def _draw_table(paper: Paper, name: str, rows: Sequence[Row], *, columns: Sequence[Column]) -> None:
    if not rows:
        paper.need(SECTION_HEIGHT)
        paper.section(f"{name} · {compose.NOT_ON_RECORD}")
        return
    table = Table(columns, rows, setting=_setting)
    on_record = sum(row.cells.get(compose.GAP) is None for row in rows)
    paper.need(SECTION_HEIGHT + table.least_height)
    paper.section(f"{name} · {on_record}")
    table.draw(paper, name=name)
    paper.skip(_between)


def _draw_measurements(paper: Paper, sheet: AnimalRecordSheet, notes: Notes) -> None:
    known = weighings(sheet)
    if len(known) > 1:
        of_group = any(line.of_number for line in sheet.measurements)
        paper.need(SECTION_HEIGHT + HEIGHT)
        paper.section("Mean mass over time [g]" if of_group else "Mass over time [g]")
        draw_mass_chart(paper, known)
        paper.skip(_between)
    _draw_table(paper, "Measurements", compose.measurement_rows(sheet, notes), columns=_measurement_columns)


def _draw_end(paper: Paper, sheet: AnimalRecordSheet) -> None:
    paper.sentence(compose.not_shown(sheet), size=BODY_SIZE)
    paper.sentence(HONEST, size=BODY_SIZE, tone="muted")
