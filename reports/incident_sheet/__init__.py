"""The sheet of an incident: what to heed, what has to be told to whom by when, and lines to write down that it was done."""

from reports.incident_sheet.render import incident_sheet_json, incident_sheet_pdf
from reports.incident_sheet.sheet import ConcernedAnimal, IncidentSheet, NoticeLine, ToldLine

__all__ = ["ConcernedAnimal", "IncidentSheet", "NoticeLine", "ToldLine", "incident_sheet_json", "incident_sheet_pdf"]
