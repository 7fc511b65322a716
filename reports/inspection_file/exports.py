"""The inspection file as separated text, which is its register of animals, and as JSON."""

from reports.canonical import canonical_json
from reports.inspection_file.sheet import AnimalLine, InspectionFileSheet
from reports.separated import separated

_plain = ("id", "tag", "scientific_name", "sex", "life_stage", "number", "estimated", "origin", "enclosure")
_source = ("came_by", "came_on", "basis", "party", "source_id")


def inspection_file_csv(sheet: InspectionFileSheet) -> bytes:
    """Return the register of animals, one record a row, as far as the sheet holds it."""
    return separated(("as_of", *_plain, "marks", *_source, "permits", "standing"), (_row(sheet, line) for line in sheet.animals))


def inspection_file_json(sheet: InspectionFileSheet) -> bytes:
    """Return the whole sheet as canonical JSON, the bytes that ``record_hash`` is taken of."""
    return canonical_json(sheet)


def _row(sheet: InspectionFileSheet, line: AnimalLine) -> tuple[object, ...]:
    marks = tuple(f"{one.kind} {one.code}" if one.code else one.kind for one in line.marks)
    plain, source = ([getattr(line, name) for name in names] for names in (_plain, _source))
    return (sheet.until_on, *plain, marks, *source, line.permits, line.standing)
