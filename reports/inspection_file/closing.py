"""Sections 12 to 14: everything that failed with room for what is done about it, what the file rests on, and the signatures."""

from reports import words
from reports.check_box import draw_check_box
from reports.fonts import Face
from reports.inspection_file.cover import ADVICE
from reports.inspection_file.drawing import Sections, between
from reports.inspection_file.exceptions import FAILED_LABELS, Failure
from reports.inspection_file.sheet import MOST_EXCEPTIONS_PRINTED, InspectionFileSheet, PackLine, RuleLine
from reports.page import RULE
from reports.tables import Column, Phrase, Row
from reports.text import fitted

_exception_columns = (
    Column("number", "no.", 34, align="right"),
    Column("what", "what failed", 268),
    Column("rule", "rule", 152),
    Column("record", "its record", 168),
    Column("action", "corrective action, by whom and when", 151.8, line=True),
)
_rule_columns = (
    Column("rule", "requirement and edition", 130),
    Column("title", "what it says", 270),
    Column("citation", "where it stands", 190),
    Column("days", "in force", 110),
    Column("pack", "rule pack", 73.8),
)
_pack_columns = (
    Column("pack", "rule pack and its record", 250),
    Column("digest", "fingerprint of its text (SHA-256)", 523.8),
)
SIGNATURES = ("Prepared by", "Reviewed by", "Seen by the inspector")
REMARK_LINES = 3
_signature_height = 86.0
_remark_height = 24.0


def draw_exceptions(file: Sections, failures: list[Failure]) -> None:
    """Draw everything that failed, each with the record that it leads to and room to write down what is done about it."""
    rows = [_failure_row(number, one) for number, one in enumerate(failures[:MOST_EXCEPTIONS_PRINTED], start=1)]
    file.begin_with(12, rows, _exception_columns, nothing="Nothing failed by what is on record.")
    if len(failures) > len(rows):
        file.say(f"{words.number(len(failures) - len(rows))} more are left off this paper; what they are of is in the JSON.")
    file.paper.skip(between)


def _failure_row(number: int, one: Failure) -> Row:
    wants = one.failed not in ADVICE
    act = (Phrase("ACT NOW", Face.BOLD, "alarm"),) if wants else ()
    return Row(
        {
            "number": str(number),
            "what": (*act, Phrase(one.about, Face.BOLD), Phrase(FAILED_LABELS[one.failed]), *map(Phrase, one.what)),
            "rule": tuple(Phrase(rule) for rule in one.rules) or (Phrase("of this system's records", tone="muted"),),
            "record": (Phrase(one.record, Face.MONO, "muted"),),
            "action": "",
        },
        act_now=wants,
    )


def draw_provenance(file: Sections, sheet: InspectionFileSheet, *, record_hash: str) -> None:
    """Draw what the file rests on: its own fingerprint and how that is checked, the end of the journal, and the rules with their days."""
    file.begin(13)
    file.say(
        f"This file: fingerprint of its record (SHA-256) {words.in_eights(record_hash)}; its JSON has these very bytes.",
        f"Journal: entry {words.number(sheet.journal_position)} was its last when this was read; hash "
        f"{words.in_eights(sheet.journal_hash)}. The command reedbed verify proves the chain up to it.",
        f"Data as of {words.clock(sheet.data_as_of, zone=sheet.zone)}, generated {words.clock(sheet.generated_at, zone=sheet.zone)}, "
        f"times in {words.zone_name(sheet.zone)}; paper {sheet.paper_id}.",
    )
    rules = [_rule_row(line) for line in sheet.rules]
    nothing = "No requirement of the jurisdictions of this site is on record: whether its animals are in order could not be decided."
    file.table("Requirements in force on the last day", rules, _rule_columns, nothing=nothing)
    file.table("Rule packs on record", [_pack_row(line) for line in sheet.packs], _pack_columns, nothing="None.")
    file.paper.skip(between)
    of_file = {"paper_id": sheet.paper_id, "record_hash": record_hash}
    draw_check_box(file.paper, **of_file, check_at=sheet.check_at, sealed=sheet.sealed)


def _rule_row(line: RuleLine) -> Row:
    until = f"until {words.short_date(line.applies_until)}" if line.applies_until else "until further notice"
    reviewed = (Phrase(f"reviewed {words.short_date(line.reviewed_on)}", tone="muted"),) if line.reviewed_on else ()
    return Row(
        {
            "rule": (Phrase(line.code, Face.BOLD), Phrase(f"edition {line.edition}")),
            "title": (Phrase(line.title), Phrase(line.jurisdiction, tone="muted")),
            "citation": line.citation,
            "days": (Phrase(f"from {words.short_date(line.applies_from)}"), Phrase(until), *reviewed),
            "pack": line.pack,
        }
    )


def _pack_row(line: PackLine) -> Row:
    pack = (Phrase(f"{line.name} {line.edition}", Face.BOLD), Phrase(line.id, Face.MONO, "muted"))
    return Row({"pack": pack, "digest": (Phrase(words.in_eights(line.digest), Face.MONO),)})


def draw_signatures(file: Sections) -> None:
    """Draw the lines to sign on, those of the inspector with room for remarks; all on one page."""
    file.begin(14, room=_signature_height * len(SIGNATURES) + _remark_height * (REMARK_LINES + 1))
    for name in SIGNATURES:
        _draw_signature(file, name)
    file.under("Remarks of the inspector")
    for _ in range(REMARK_LINES):
        file.paper.skip(_remark_height)
        _draw_line(file, file.paper.left, file.paper.width)


def _draw_signature(file: Sections, name: str) -> None:
    paper = file.paper
    file.under(name)
    paper.skip(30)
    third = paper.width / 3
    for number, label in enumerate(("name and role", "date", "signature")):
        left = paper.left + number * third
        _draw_line(file, left, third - 20)
        _label(file, label, x=left)
    paper.skip(14)


def _draw_line(file: Sections, left: float, width: float) -> None:
    canvas, y = file.paper.canvas, file.paper.y
    canvas.setStrokeColor(RULE)
    canvas.setLineWidth(0.6)
    canvas.line(left, y, left + width, y)


def _label(file: Sections, text: str, *, x: float) -> None:
    ink = file.paper.ink()
    ink.tag("P")
    ink.write(fitted(text, face=Face.REGULAR, size=8, width=120, tone="muted"), x=x, y=file.paper.y - 10, size=8)
    ink.dry(file.paper.canvas)
