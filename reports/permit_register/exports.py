"""The permit register as separated text and as JSON."""

from reports.canonical import canonical_json
from reports.permit_register.sheet import ConditionLine, PermitLine, PermitRegisterSheet, TaxonOfPermit
from reports.separated import separated

_plain = (
    *("id", "number", "kind", "kind_title", "citation", "jurisdiction", "authority", "holder", "site", "issued_on", "valid_from"),
    *("good_until", "end_reason", "end_occasion", "renew_by", "standing", "activities", "any_taxon"),
)
_counted = ("total_number", "taken", "left", "expected", "is_replaced", "replaced_by", "is_shared")


def permit_register_csv(sheet: PermitRegisterSheet) -> bytes:
    """Return every permit of the register, one a row; what there may be several of is one cell."""
    headings = ("as_of", *_plain, "taxa", "animals", *_counted, "conditions", "scans_sha256", "note")
    return separated(headings, (_row(sheet, line) for line in sheet.permits))


def permit_register_json(sheet: PermitRegisterSheet) -> bytes:
    """Return the whole sheet as canonical JSON, the bytes that ``record_hash`` is taken of."""
    return canonical_json(sheet)


def _row(sheet: PermitRegisterSheet, line: PermitLine) -> tuple[object, ...]:
    return (
        sheet.today,
        *(getattr(line, name) for name in _plain),
        tuple(_taxon(one) for one in line.taxa),
        line.tags,
        *(getattr(line, name) for name in _counted),
        tuple(_condition(one) for one in line.conditions),
        tuple(one.sha256 for one in line.scans),
        line.note,
    )


def _taxon(one: TaxonOfPermit) -> str:
    return one.scientific_name if one.number is None else f"{one.scientific_name} (at most {one.number})"


def _condition(one: ConditionLine) -> str:
    due = f" (due {one.due_on.isoformat()})" if one.due_on else ""
    met = f" (met {one.met_on.isoformat()})" if one.met_on else ""
    return f"{one.text}{due}{met}"
