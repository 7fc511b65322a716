"""The permit register: what was granted, until when and for which animals, and what is not covered; as paper, CSV and JSON."""

from reports.permit_register.exports import permit_register_csv, permit_register_json
from reports.permit_register.render import permit_register_pdf
from reports.permit_register.sheet import ConditionLine, PermitLine, PermitRegisterSheet, ScanLine, TaxonOfPermit, UncoveredLine

__all__ = [
    "ConditionLine",
    "PermitLine",
    "PermitRegisterSheet",
    "ScanLine",
    "TaxonOfPermit",
    "UncoveredLine",
    "permit_register_csv",
    "permit_register_json",
    "permit_register_pdf",
]
