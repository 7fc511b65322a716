"""The inspection file as a paper, lying: fourteen sections, what is open first, every figure with the record that it leads to."""

from collections.abc import Mapping
from typing import Final

from reports.canonical import record_hash
from reports.inspection_file.closing import draw_exceptions, draw_provenance, draw_signatures
from reports.inspection_file.collection import draw_enclosures, draw_permits, draw_register, draw_stock
from reports.inspection_file.cover import draw_cover, draw_scope
from reports.inspection_file.drawing import Sections
from reports.inspection_file.exceptions import Failure, exceptions
from reports.inspection_file.sheet import InspectionFileSheet
from reports.inspection_file.upkeep import draw_environment, draw_equipment, draw_health, draw_incidents, draw_training
from reports.notes import Notes, draw_notes
from reports.page import LYING, Furniture, Paper

NAME: Final = "Inspection file"


def inspection_file_pdf(sheet: InspectionFileSheet) -> bytes:
    """Return the paper; equal sheets give equal bytes.

    It is laid out twice: what the contents and the open items say of pages is known only once all sections have theirs.
    """
    furniture, failures = _furniture(sheet), exceptions(sheet)
    _, pages = _drawn(sheet, furniture, failures, pages={})
    pdf, _ = _drawn(sheet, furniture, failures, pages=pages)
    return pdf


def _drawn(
    sheet: InspectionFileSheet, furniture: Furniture, failures: list[Failure], *, pages: Mapping[int, int]
) -> tuple[bytes, Mapping[int, int]]:
    """Return the paper, and on which page each section of it begins."""
    paper, notes = Paper(furniture, size=LYING), Notes()
    file = Sections(paper)
    draw_cover(file, sheet, failures, pages=pages)
    draw_scope(file, sheet)
    draw_stock(file, sheet)
    draw_register(file, sheet)
    draw_permits(file, sheet, notes)
    draw_enclosures(file, sheet)
    draw_environment(file)
    draw_equipment(file, sheet)
    draw_health(file, sheet)
    draw_incidents(file, sheet, notes)
    draw_training(file, sheet)
    draw_exceptions(file, failures)
    draw_provenance(file, sheet, record_hash=furniture.record_hash)
    draw_notes(paper, notes.long)
    draw_signatures(file)
    return paper.finished(), file.pages


def _furniture(sheet: InspectionFileSheet) -> Furniture:
    return Furniture(
        paper_id=sheet.paper_id,
        organisation=sheet.organisation,
        name=NAME,
        title=f"{NAME} · {sheet.site} · {sheet.from_on.isoformat()} to {sheet.until_on.isoformat()}",
        data_as_of=sheet.data_as_of,
        generated_at=sheet.generated_at,
        zone=sheet.zone,
        record_hash=record_hash(sheet),
        check_at=sheet.check_at,
    )
