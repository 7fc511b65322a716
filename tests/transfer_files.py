"""Transfer files as another installation makes them: the sheet, its canonical JSON, and a PDF that has it attached."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Any

from pypdf import PdfWriter

from reports.canonical import canonical_json
from reports.labels.sheet import Targets
from reports.transfer_file import transfer_file_pdf
from reports.transfer_file.sheet import (
    ATTACHMENT_NAME,
    FORM,
    VERSION,
    Ancestor,
    Carriage,
    End,
    GoingAnimal,
    GoingPaper,
    Happening,
    Licence,
    MarkToRead,
    OpenLine,
    Output,
    RulePack,
    TransferFileSheet,
    Weight,
)

CODE = "900008800000017"
PAPER = "77-abcdefghjkmnpqrstuvw"
THEIR_TRANSFER = "019ca900-0000-7000-8000-000000000001"
MADE_AT = datetime(2026, 2, 27, 9, 30, tzinfo=UTC)


def animal(number: int = 1, **facts: Any) -> GoingAnimal:
    """Return an animal with everything that a file can tell of one."""
    told: dict[str, Any] = {
        "number": number,
        "tag": f"F-{number}",
        "name": "Fenja",
        "scientific_name": "Boa ficta",
        "name_authorship": "Nobody, 1900",
        "rank": "species",
        "common_name": "invented boa",
        "name_as_printed": None,
        "grouping": "individual",
        "count": 1,
        "estimated": False,
        "sex": "female",
        "life_stage": "adult",
        "hatched_on": date(2020, 6, 1),
        "hatched_precision": "month",
        "origin": "captive_bred",
        "locality": "North Fen",
        "hazard": "can_injure",
        "acquired": "bred here, since 1 June 2020",
        "held": "owned",
        "marks": (
            MarkToRead(kind="transponder", code=CODE, scheme=None, body_site="neck, left", note=""),
            MarkToRead(kind="scale_clip", code="V3 L", scheme="ventral scales", body_site=None, note="grown over"),
        ),
        "weights": (Weight(measured_on=date(2026, 2, 20), mass_g=1510.5), Weight(measured_on=date(2026, 1, 20), mass_g=1490.0)),
        "parents": (Ancestor(role="dam", who="F-0", scientific_name="Boa ficta", certainty="certain"),),
        "history": (Happening(on=date(2026, 2, 1), what="Shed in one piece."), Happening(on=date(2026, 2, 14), what="Ate two rats.")),
        "lived_in": "Hall 2, enclosure 7",
        "measured_there": (Output(measured_on=date(2026, 2, 3), value=3.1, unit="UV index", method="at the basking place"),),
        "target": Targets(air_low_c=24.0, air_high_c=30.0, water="fresh"),
        "target_source": "own rule",
        "note": "Bites when lifted.",
        "mark_loaded": None,
        "mark_arrived": None,
        "arrived": None,
        "arrived_number": None,
        "arrived_dead": None,
        "condition": None,
        "discrepancy": None,
    }
    return GoingAnimal(**{**told, **facts})


def plain_animal(number: int, **facts: Any) -> GoingAnimal:
    """Return an animal of which little is known."""
    nothing: dict[str, Any] = dict.fromkeys(("name", "locality", "hazard", "acquired", "held", "lived_in", "target", "target_source"))
    return animal(
        number, **{**nothing, "marks": (), "weights": (), "parents": (), "history": (), "measured_there": (), "note": "", **facts}
    )


def paper(**facts: Any) -> GoingPaper:
    """Return a health certificate of which a scan is kept."""
    told: dict[str, Any] = {
        "title": "Health certificate",
        "kind": None,
        "kind_title": None,
        "number": "H-7",
        "authority": "Fen veterinary office",
        "issued_on": date(2026, 2, 20),
        "inspected_on": date(2026, 2, 19),
        "valid_until": date(2026, 4, 1),
        "good_until": date(2026, 4, 1),
        "lapses": False,
        "requirement_code": None,
        "covers": (),
        "sha256": "ab" * 32,
        "note": "",
    }
    return GoingPaper(**{**told, **facts})


def sheet(**facts: Any) -> TransferFileSheet:
    """Return a gift of an animal with a paper, from an installation that is not ours."""
    licence = Licence(number="L-77", title=None, sha256=None, until_on=date(2027, 1, 31), lapses=False)
    second = Licence(number="L-78", title=None, sha256=None, until_on=None, lapses=False)
    told: dict[str, Any] = {
        "form": FORM,
        "form_version": VERSION,
        "paper_id": PAPER,
        "organisation": "Fen Rescue",
        "zone": "Europe/Lisbon",
        "today": date(2026, 2, 27),
        "data_as_of": MADE_AT,
        "generated_at": MADE_AT,
        "check_at": f"https://fen.example/v/{PAPER}",
        "sealed": False,
        "transfer_id": THEIR_TRANSFER,
        "reference": "FEN-12",
        "basis": "gift",
        "stage": "approved",
        "sender": End(
            name="Fen Rescue",
            site="Fen House",
            address="1 Sluice Lane\nFen",
            contact="the keeper on duty",
            jurisdiction="XR",
            licences=(licence, second),
        ),
        "receiver": End(name="Reedmere", site="Reedmere House", address="", contact=None, jurisdiction=None, licences=()),
        "carriage": Carriage(
            carrier="Fen Carriers",
            contact="the driver",
            authorisation=Licence(number="C-1", title=None, sha256=None, until_on=date(2026, 12, 31), lapses=False),
            container="ventilated crate",
            least_c=20.0,
            most_c=28.0,
        ),
        "dispatch_on": date(2026, 3, 10),
        "arrive_on": date(2026, 3, 11),
        "buffer_days": 3,
        "through_on": date(2026, 3, 14),
        "dispatched_at": None,
        "arrived_at": None,
        "quarantine_days": 30,
        "quarantine_place": None,
        "due_back_on": None,
        "offspring_split": None,
        "report_after_days": (7, 30),
        "care": "Water on arrival, no food for two days.",
        "note": "Call before you come.",
        "open_items": (OpenLine(code="container_missing", sentence="Nothing is said of the container."),),
        "earliest": None,
        "renewals": (),
        "animals": (animal(),),
        "papers": (paper(),),
        "rules": (RulePack(name="fen", edition="1", digest="0" * 64),),
    }
    return TransferFileSheet(**{**told, **facts})


def pdf_with(*attachments: tuple[str, bytes], also: Callable[[PdfWriter], object] | None = None) -> bytes:
    """Return a PDF of one page with attachments; ``also`` may put more into it."""
    writer = PdfWriter()
    writer.add_blank_page(200, 200)
    for name, content in attachments:
        writer.add_attachment(name, content)
    if also is not None:
        also(writer)
    made = io.BytesIO()
    writer.write(made)
    return made.getvalue()


def file_of(told: TransferFileSheet | None = None, **facts: Any) -> bytes:
    """Return a sheet as it is printed."""
    return transfer_file_pdf(told or sheet(**facts))


def file_with(changed: Callable[[dict[str, Any]], object], **facts: Any) -> bytes:
    """Return the PDF of a sheet whose JSON was changed by somebody."""
    value = json.loads(canonical_json(sheet(**facts)))
    changed(value)
    return pdf_with((ATTACHMENT_NAME, json.dumps(value).encode()))
