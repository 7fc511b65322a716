"""The return as separated text, with the rule's own columns and no other, and as JSON."""

from domain.rules.law.returns import FIELDS
from reports.canonical import canonical_json
from reports.periodic_return.sheet import PeriodicReturnSheet, ReturnLine
from reports.separated import separated


def periodic_return_csv(sheet: PeriodicReturnSheet) -> bytes:
    """Return the rows of the return; the headings are the names of the rule's fields, in its order."""
    return separated(sheet.fields, (tuple(_cell(name, line) for name in sheet.fields) for line in sheet.lines))


def periodic_return_json(sheet: PeriodicReturnSheet) -> bytes:
    """Return the whole sheet as canonical JSON, the bytes that ``record_hash`` is taken of."""
    return canonical_json(sheet)


def _cell(name: str, line: ReturnLine) -> object:
    if name not in FIELDS:
        return None
    if FIELDS[name].is_number:
        return FIELDS[name].entry(line.account)
    if name == "taxon":
        return f"{line.scientific_name} (eggs)" if line.are_eggs else line.scientific_name
    return getattr(line, name)
