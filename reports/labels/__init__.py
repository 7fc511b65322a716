"""Enclosure labels of a site, ten to a page, each with a code to be scanned; as paper and JSON."""

from reports.labels.render import labels_json, labels_pdf
from reports.labels.sheet import EnclosureLabel, LabelSheet, LabelTaxon, Targets

__all__ = ["EnclosureLabel", "LabelSheet", "LabelTaxon", "Targets", "labels_json", "labels_pdf"]
