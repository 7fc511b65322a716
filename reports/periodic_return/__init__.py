"""The draft of a periodic return to an authority: the rule's own fields, checked sums, and what cannot be said; as paper, CSV and JSON."""

from reports.periodic_return.exports import periodic_return_csv, periodic_return_json
from reports.periodic_return.render import periodic_return_pdf
from reports.periodic_return.sheet import PeriodicReturnSheet, ReturnLine, UnsureLine

__all__ = ["PeriodicReturnSheet", "ReturnLine", "UnsureLine", "periodic_return_csv", "periodic_return_json", "periodic_return_pdf"]
