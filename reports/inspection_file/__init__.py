"""The inspection file of a site for a period: fourteen sections, what is open first; as paper, as JSON, and its register as CSV."""

from reports.inspection_file.exports import inspection_file_csv, inspection_file_json
from reports.inspection_file.render import inspection_file_pdf
from reports.inspection_file.sheet import InspectionFileSheet

__all__ = ["InspectionFileSheet", "inspection_file_csv", "inspection_file_json", "inspection_file_pdf"]
