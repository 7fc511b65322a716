"""The smallest valid sheets, and how a printed paper is read back."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import fields
from datetime import UTC, date, datetime, timedelta
from io import BytesIO

import pdfplumber

from domain.rules.compliance import Standing
from domain.rules.fitness import Hazard
from domain.rules.incidents import IncidentKind
from domain.rules.law.requirements import Period
from domain.rules.lives import EventKind, Grouping, LifeStage, Sex, Status
from domain.rules.measures import MeasureKind
from domain.rules.permits import EndReason, PermitStanding
from domain.rules.stock import COLUMNS, Account
from reports.animal_record import (
    AnimalRecordSheet,
    DocumentLine,
    EventLine,
    HoldingLine,
    MarkLine,
    MeasurementLine,
    NameLine,
    OffspringLine,
    ParentLine,
    PlacementLine,
    StateLine,
)
from reports.due_list import DueRow, DueSheet, OrderLine
from reports.incident_sheet import ConcernedAnimal, IncidentSheet, NoticeLine
from reports.inspection_file import InspectionFileSheet
from reports.inspection_file.sheet import (
    AnimalLine,
    EnclosureLine,
    FindingLine,
    IncidentLine,
    LodgerLine,
    OverdueLine,
    TellLine,
    VisitLine,
)
from reports.labels import EnclosureLabel, LabelSheet, LabelTaxon
from reports.labels.sheet import Targets
from reports.page import FOOTER, HEADER, TOP
from reports.periodic_return import PeriodicReturnSheet, ReturnLine
from reports.permit_register import ConditionLine, PermitLine, PermitRegisterSheet, ScanLine, UncoveredLine
from reports.stock_statement import MovementEntry, MovementLine, StockLine, StockStatementSheet
from reports.transfer_file import TransferFileSheet
from reports.transfer_file.sheet import FORM, VERSION, Carriage, End, GoingAnimal, GoingPaper, Licence, MarkToRead, Output, RulePack, Weight

TODAY = date(2026, 11, 24)


def due_row(**stated) -> DueRow:
    return DueRow(
        **{
            "number": 1,
            "equipment_id": "0190-1",
            "tag": "EQ-1",
            "place": "North House",
            "walking_order": None,
            "position": "001-C",
            "model": "Tube 54 W",
            "kind": "uv_lamp",
            "standing": "overdue",
            "section": "overdue",
            "needs": "replacement",
            "binding": "age",
            "because": "The age limit was reached on 21 November.",
            "reason": "12 months old, limit 9 months",
            "due_on": date(2026, 11, 21),
            "no_later_than": None,
            "do_on": None,
            "conflict": None,
            "order_by": None,
            "cautions": (),
            "spares_on_hand": 1,
            "spares_on_order": 0,
            "shelf": "B4",
            "supplier": "Lamp House",
            "missing": (),
        }
        | stated
    )


def order_line(**stated) -> OrderLine:
    return OrderLine(
        **{
            "supplier": "Lamp House",
            "model": "Tube 54 W",
            "quantity": 2,
            "order_by": date(2026, 11, 30),
            "lead_days": 10,
            "unit_cost_minor": 2395,
            "currency": "EUR",
            "tags": ("EQ-1",),
            "late": False,
        }
        | stated
    )


def due_sheet(*rows: DueRow, **stated) -> DueSheet:
    return DueSheet(
        **{
            "paper_id": "RDL-1",
            "organisation": "Example Animal Trust",
            "site": "North Campus",
            "address": "1 Reed Lane, Exampleton",
            "zone": "Pacific/Auckland",
            "today": TODAY,
            "data_as_of": datetime(2026, 11, 23, 12, 30, tzinfo=UTC),
            "generated_at": datetime(2026, 11, 23, 13, 0, tzinfo=UTC),
            "later_days": None,
            "rows": rows,
            "orders": (),
            "counts_good": 7,
        }
        | stated
    )


def with_text(text: str) -> DueSheet:
    """A sheet in which every text that people can type is this one."""
    row = dict.fromkeys(text_fields(DueRow), text) | {"cautions": (text,), "missing": (text,), "do_on": TODAY}
    row |= {"due_on": date(2026, 11, 28), "section": "within_14_days", "standing": "due_soon", "needs": "replacement"}
    order = dict.fromkeys(text_fields(OrderLine), text) | {"tags": (text,), "currency": "EUR"}
    sheet = dict.fromkeys(text_fields(DueSheet), text)
    return due_sheet(due_row(**row), **sheet, orders=(order_line(**order),))


def text_fields(kind: type) -> tuple[str, ...]:
    return tuple(field.name for field in fields(kind) if field.type in {"str", "str | None", str, str | None})


@contextmanager
def opened(pdf: bytes) -> Iterator[pdfplumber.PDF]:
    with pdfplumber.open(BytesIO(pdf)) as paper:
        yield paper


def text_of(pdf: bytes) -> str:
    """The paper's text, line by line as it is read."""
    with opened(pdf) as paper:
        return "\n".join(page.extract_text() for page in paper.pages)


def letters_of(pdf: bytes) -> str:
    """Every character in the order it was written, so cell by cell, without white space."""
    with opened(pdf) as paper:
        return squeezed("".join(letter["text"] for page in paper.pages for letter in page.chars))


def squeezed(text: str) -> str:
    return "".join(text.split())


def in_body(letter: dict, *, height: float) -> bool:
    """Whether a character stands between header and footer, below the line that says what is continued."""
    return letter["top"] > TOP + HEADER + 16 and letter["bottom"] < height - FOOTER


def name_line(**stated) -> NameLine:
    return NameLine(**{"name": "Minna", "from_on": date(2021, 7, 1), "until_on": None, "note": ""} | stated)


def mark_line(**stated) -> MarkLine:
    return MarkLine(
        **{
            "kind": "transponder",
            "code": "900 012 345 678 901",
            "scheme": None,
            "body_site": None,
            "from_on": date(2021, 7, 1),
            "until_on": None,
            "until_reason": None,
            "is_primary": True,
            "reading": None,
            "reader": None,
            "applied_by": None,
            "view": None,
            "scale_mm": None,
            "note": "",
        }
        | stated
    )


def state_line(**stated) -> StateLine:
    return StateLine(
        **{
            "from_on": date(2021, 7, 1),
            "until_on": None,
            "status": Status.PRESENT,
            "sex": Sex.UNKNOWN,
            "life_stage": LifeStage.UNKNOWN,
        }
        | stated
    )


def placement_line(**stated) -> PlacementLine:
    return PlacementLine(
        **{
            "from_on": date(2021, 7, 1),
            "until_on": None,
            "enclosure": "T-14",
            "site": "North Campus",
            "override_reason": None,
            "note": "",
        }
        | stated
    )


def measurement_line(**stated) -> MeasurementLine:
    return MeasurementLine(
        **{
            "kind": MeasureKind.MASS,
            "measured_on": date(2022, 3, 1),
            "mass_g": 412.5,
            "length_mm": None,
            "method": None,
            "by": None,
            "of_number": None,
            "surprising": False,
            "note": "",
        }
        | stated
    )


def parent_line(**stated) -> ParentLine:
    return ParentLine(
        **{
            "role": "dam",
            "tag": "A-0007",
            "scientific_name": "Testudo hermanni",
            "rank": "species",
            "elsewhere": None,
            "certainty": "certain",
            "known_by": None,
            "note": "",
        }
        | stated
    )


def offspring_line(**stated) -> OffspringLine:
    return OffspringLine(
        **{
            "tag": "A-0300",
            "scientific_name": "Testudo hermanni",
            "rank": "species",
            "role": "dam",
            "certainty": "certain",
            "hatched_on": None,
            "hatched_precision": "day",
            "count": 1,
            "status": Status.PRESENT,
        }
        | stated
    )


def holding_line(**stated) -> HoldingLine:
    return HoldingLine(
        **{
            "kind": "owned",
            "from_on": date(2021, 7, 1),
            "until_on": None,
            "party": None,
            "terms": "",
            "due_back_on": None,
            "note": "",
        }
        | stated
    )


def event_line(**stated) -> EventLine:
    return EventLine(
        **{
            "happened_on": date(2021, 7, 1),
            "kind": EventKind.ACQUIRED,
            "number": 1,
            "change": 1,
            "sex": None,
            "life_stage": None,
            "basis": None,
            "party": None,
            "cause": None,
            "reference": None,
            "other_tag": None,
            "override_reason": None,
            "note": "",
        }
        | stated
    )


def document_line(**stated) -> DocumentLine:
    return DocumentLine(
        **{
            "title": "Breeder's certificate",
            "dated_on": None,
            "reference": None,
            "role": None,
            "media_type": "application/pdf",
            "sha256": "0123456789abcdef" * 4,
            "note": "",
        }
        | stated
    )


def animal_record(**stated) -> AnimalRecordSheet:
    """The record of an animal of which nothing is known but its tag and taxon."""
    return AnimalRecordSheet(
        **{
            "paper_id": "AR-1",
            "organisation": "Example Animal Trust",
            "zone": "Pacific/Auckland",
            "today": TODAY,
            "data_as_of": datetime(2026, 11, 23, 12, 30, tzinfo=UTC),
            "generated_at": datetime(2026, 11, 23, 13, 0, tzinfo=UTC),
            "animal_id": "0190-1",
            "tag": "A-0017",
            "name": None,
            "scientific_name": "Testudo hermanni",
            "name_authorship": None,
            "rank": "species",
            "common_name": None,
            "name_as_printed": None,
            "hazard": Hazard.HARMLESS,
            "grouping": Grouping.INDIVIDUAL,
            "count": 1,
            "estimated": False,
            "hatched_on": None,
            "hatched_precision": "day",
            "origin": None,
            "locality": None,
            "note": "",
            "names": (),
            "marks": (),
            "states": (),
            "placements": (),
            "measurements": (),
            "parents": (),
            "offspring": (),
            "holdings": (),
            "events": (),
            "documents": (),
            "withdrawn": 0,
            "corrected": 0,
        }
        | stated
    )


def label_taxon(**stated) -> LabelTaxon:
    return LabelTaxon(
        **{
            "scientific_name": "Testudo hermanni",
            "rank": "species",
            "males": 1,
            "females": 1,
            "unsexed": 0,
            "in_groups": 0,
            "estimated": False,
            "hazard": Hazard.HARMLESS,
            "targets": None,
        }
        | stated
    )


def enclosure_label(*taxa: LabelTaxon, **stated) -> EnclosureLabel:
    return EnclosureLabel(
        **{
            "code": "T-14",
            "place": "North House",
            "life_support_system": None,
            "taxa": taxa,
            "uv_lamp": False,
            "quarantine": False,
            "short_id": "7KQ4M0",
            "revision": 3,
        }
        | stated
    )


def label_sheet(*labels: EnclosureLabel, **stated) -> LabelSheet:
    return LabelSheet(
        **{
            "paper_id": "LBL-1",
            "organisation": "Example Animal Trust",
            "site": "North Campus",
            "zone": "Pacific/Auckland",
            "data_as_of": datetime(2026, 11, 23, 12, 30, tzinfo=UTC),
            "generated_at": datetime(2026, 11, 23, 13, 0, tzinfo=UTC),
            "link_base": "https://records.example.org/e/",
            "first_label": 1,
            "labels": labels,
        }
        | stated
    )


def stock_line(**stated) -> StockLine:
    """Three animals of one kind, to which nothing happened."""
    numbers = {name: stated.pop(name) for name in COLUMNS if name in stated}
    return StockLine(
        **{
            "scientific_name": "Testudo hermanni",
            "rank": "species",
            "common_name": None,
            "sex": Sex.FEMALE,
            "life_stage": LifeStage.ADULT,
            "account": Account(**({"opening": 3, "closing": 3} | numbers)),
        }
        | stated
    )


def stock_movement(**stated) -> MovementLine:
    """A birth of one animal."""
    return MovementLine(
        **{
            "number": 1,
            "on": date(2026, 4, 2),
            "tag": "A-0017",
            "scientific_name": "Testudo hermanni",
            "rank": "species",
            "happening": "event",
            "event_kind": EventKind.BORN,
            "animals": 1,
            "entries": (MovementEntry(sex=Sex.UNKNOWN, life_stage=LifeStage.NEONATE, column="births"),),
        }
        | stated
    )


def stock_statement(*lines: StockLine, **stated) -> StockStatementSheet:
    """The statement of a site for a year."""
    return StockStatementSheet(
        **{
            "paper_id": "ST-1",
            "organisation": "Example Animal Trust",
            "site": "Otter House",
            "address": "",
            "zone": "Pacific/Auckland",
            "today": TODAY,
            "data_as_of": datetime(2026, 11, 23, 12, 30, tzinfo=UTC),
            "generated_at": datetime(2026, 11, 23, 13, 0, tzinfo=UTC),
            "from_on": date(2025, 1, 1),
            "until_on": date(2025, 12, 31),
            "lines": lines,
            "movements": (),
            "movements_in_all": len(stated.get("movements", ())),
            "estimated": 0,
        }
        | stated
    )


def permit_line(**stated) -> PermitLine:
    """A permit for animals of any taxon at a site, good without an end."""
    return PermitLine(
        **{
            "id": "0190-5",
            "number": "P-1",
            "kind": "keeping",
            "kind_title": "Keeping permit",
            "citation": "Invented Act, s. 1",
            "lasts": None,
            "jurisdiction": "XR",
            "authority": "Reed County",
            "holder": None,
            "site": "North Campus",
            "issued_on": date(2025, 1, 1),
            "valid_from": date(2025, 1, 1),
            "good_until": None,
            "end_reason": None,
            "end_occasion": None,
            "renew_by": None,
            "standing": PermitStanding.GOOD,
            "activities": (),
            "any_taxon": True,
            "taxa": (),
            "tags": (),
            "is_for_none": False,
            "total_number": None,
            "taken": 0,
            "left": None,
            "expected": 0,
            "is_replaced": False,
            "replaced_by": None,
            "follows_on": False,
            "is_shared": False,
            "note": "",
            "conditions": (),
            "scans": (),
        }
        | stated
    )


def ended_permit(days_ago: int = 3, **stated) -> PermitLine:
    """A permit that ended by its own last day, some days before today."""
    ended = {"good_until": TODAY - timedelta(days=days_ago), "end_reason": EndReason.OWN_LAST_DAY, "standing": PermitStanding.ENDED}
    return permit_line(**{**ended, "taken": None} | stated)


def permit_condition(**stated) -> ConditionLine:
    return ConditionLine(
        **{
            "id": "0190-6",
            "text": "Keep the outer door locked.",
            "due_on": None,
            "every_months": None,
            "met_on": None,
            "proof": "",
        }
        | stated
    )


def permit_scan(**stated) -> ScanLine:
    return ScanLine(
        **{
            "id": "0190-7",
            "title": "Permit, scanned",
            "role": None,
            "dated_on": None,
            "reference": None,
            "media_type": "application/pdf",
            "sha256": "0123456789abcdef" * 4,
        }
        | stated
    )


def uncovered_line(**stated) -> UncoveredLine:
    return UncoveredLine(
        **{
            "id": "0190-8",
            "tag": "A-0017",
            "scientific_name": "Testudo hermanni",
            "rank": "species",
            "site": "North Campus",
            "number": 1,
            "uncovered": 1,
            "standing": Standing.UNCOVERED,
            "needs_mark": False,
            "needs": (("Keeping permit",),),
            "rules": ("XR-1: Invented Act, s. 1",),
            "missing": (),
        }
        | stated
    )


def permit_register(*permits: PermitLine, **stated) -> PermitRegisterSheet:
    """The register of a site on a day on which every animal is covered."""
    return PermitRegisterSheet(
        **{
            "paper_id": "PR-1",
            "organisation": "Example Animal Trust",
            "site": "North Campus",
            "address": "",
            "zone": "Pacific/Auckland",
            "today": TODAY,
            "data_as_of": datetime(2026, 11, 23, 12, 30, tzinfo=UTC),
            "generated_at": datetime(2026, 11, 23, 13, 0, tzinfo=UTC),
            "check_at": None,
            "sealed": False,
            "permits": permits,
            "uncovered": (),
            "uncovered_in_all": len(stated.get("uncovered", ())),
            "animals": 12,
            "animals_open": 0,
            "animals_overridden": 0,
        }
        | stated
    )


def return_line(**stated) -> ReturnLine:
    """Three animals of one taxon, to which nothing happened."""
    numbers = {name: stated.pop(name) for name in COLUMNS if name in stated}
    return ReturnLine(
        **{
            "scientific_name": "Testudo hermanni",
            "rank": "species",
            "common_name": None,
            "group": "Testudines",
            "are_eggs": False,
            "sex": None,
            "life_stage": None,
            "account": Account(**({"opening": 3, "closing": 3} | numbers)),
            "estimated": 0,
            "permit_numbers": ("P-1",),
            "transponders": (),
            "without_transponder": 0,
            "taxon_ids": ("0190-9",),
        }
        | stated
    )


def periodic_return(*lines: ReturnLine, **stated) -> PeriodicReturnSheet:
    """The return of a year, due in the January after it, of a rule that lists a whole sum."""
    return PeriodicReturnSheet(
        **{
            "paper_id": "RT-1",
            "organisation": "Example Animal Trust",
            "site": "North Campus",
            "site_id": "0190-2",
            "address": "",
            "zone": "Pacific/Auckland",
            "today": date(2026, 1, 10),
            "data_as_of": datetime(2026, 1, 9, 12, 30, tzinfo=UTC),
            "generated_at": datetime(2026, 1, 9, 13, 0, tzinfo=UTC),
            "requirement": "XR-COL-1",
            "edition": "2018",
            "title": "Collections return their stock",
            "instrument": "Invented Ordinance",
            "citation": "s. 12",
            "jurisdiction": "XR",
            "obligation": "annual-return",
            "applies_from": date(2018, 1, 1),
            "applies_until": None,
            "period": Period.CALENDAR_YEAR,
            "from_on": date(2025, 1, 1),
            "until_on": date(2025, 12, 31),
            "due_on": date(2026, 1, 31),
            "fields": ("taxon", "stock_at_start", "births", "arrivals", "deaths", "departures", "stock_at_end"),
            "lines": lines,
            "asked_of": 3,
            "missing": (),
            "unsure": (),
            "permits_on_record": 1,
        }
        | stated
    )


def animal_in_register(**stated) -> AnimalLine:
    return AnimalLine(
        **{
            "id": "0190-a",
            "tag": "A-0017",
            "scientific_name": "Testudo hermanni",
            "rank": "species",
            "sex": Sex.FEMALE,
            "life_stage": LifeStage.ADULT,
            "number": 1,
            "estimated": False,
            "origin": None,
            "enclosure": "T-14",
            "marks": (),
            "came_by": None,
            "came_on": None,
            "basis": None,
            "party": None,
            "source_id": None,
            "permits": (),
            "standing": None,
        }
        | stated
    )


def lodger_line(**stated) -> LodgerLine:
    return LodgerLine(
        **{
            "scientific_name": "Testudo hermanni",
            "life_stage": LifeStage.ADULT,
            "number": 1,
            "outcome": "fits",
            "against": (),
            "missing": (),
            "source": None,
        }
        | stated
    )


def enclosure_line(*lodgers: LodgerLine, **stated) -> EnclosureLine:
    return EnclosureLine(
        **{
            "id": "0190-b",
            "name": "T-14",
            "kind": "terrarium",
            "floor_m2": 2.0,
            "volume_l": None,
            "capacity": None,
            "closure": None,
            "quarantine": False,
            "lodgers": lodgers,
        }
        | stated
    )


def overdue_line(**stated) -> OverdueLine:
    return OverdueLine(
        **{
            "id": "0190-c",
            "tag": "EQ-1",
            "place": "T-14",
            "model": "Tube 54 W",
            "standing": "overdue",
            "due_on": date(2025, 11, 1),
            "reason": "It reached its age limit.",
        }
        | stated
    )


def tell_line(**stated) -> TellLine:
    return TellLine(
        **{
            "requirement": "XR-INV-1",
            "citation": "Invented Act, s. 7 (fictional)",
            "tell_by": datetime(2026, 1, 20, 20, 0, tzinfo=UTC),
            "standing": "open",
            "missing": (),
        }
        | stated
    )


def incident_line(*to_tell: TellLine, **stated) -> IncidentLine:
    return IncidentLine(
        **{
            "id": "/v1/incidents/0190-i",
            "on": date(2025, 4, 2),
            "what": "A keeper was bitten.",
            "people": None,
            "action": "Wound washed.",
            "to_tell": to_tell,
            "missing": (),
        }
        | stated
    )


def visit_line(**stated) -> VisitLine:
    return VisitLine(
        **{
            "id": "/v1/inspections/0190-v",
            "on": date(2025, 3, 1),
            "kind": "follow_up",
            "authority": "Reed County",
            "reference": None,
            "summary": "",
            "found": 1,
            "open": 1,
        }
        | stated
    )


def finding_line(**stated) -> FindingLine:
    return FindingLine(
        **{
            "id": "/v1/inspections/0190-v/findings/0190-f",
            "found_on": date(2025, 3, 1),
            "what": "The fence leans.",
            "requirement": None,
            "due_on": None,
            "action": None,
            "closed_on": None,
            "closing": "",
        }
        | stated
    )


def inspection_file(**stated) -> InspectionFileSheet:
    """The file of a site of which nothing but its name is on record."""
    instants = {"data_as_of": datetime(2026, 1, 9, 12, 30, tzinfo=UTC), "generated_at": datetime(2026, 1, 9, 13, 0, tzinfo=UTC)}
    return InspectionFileSheet(
        **{
            "paper_id": "IF-1",
            "organisation": "Example Animal Trust",
            "site": "North Campus",
            "site_id": "0190-2",
            "address": "",
            "zone": "Pacific/Auckland",
            "jurisdictions": ("XR",),
            "today": date(2026, 1, 10),
            **instants,
            "check_at": None,
            "sealed": False,
            "from_on": date(2025, 1, 1),
            "until_on": date(2025, 12, 31),
            "first_day": date(2020, 1, 1),
            "stock": stock_statement(**instants),
            "animals": (),
            "animals_in_all": len(stated.get("animals", ())),
            "permits": (),
            "uncovered": (),
            "uncovered_in_all": len(stated.get("uncovered", ())),
            "answered": (),
            "enclosures": (),
            "overdue": (),
            "items_good": 0,
            "replaced": (),
            "checks": (),
            "outputs": (),
            "deaths": (),
            "incidents": None,
            "visits": (),
            "findings": None,
            "closed": (),
            "competences": (),
            "rules": (),
            "packs": (),
            "journal_position": 7,
            "journal_hash": "ab" * 32,
        }
        | stated
    )


def notice_line(**stated) -> NoticeLine:
    return NoticeLine(
        **{
            "requirement": "XR-INV-1",
            "edition": "2024",
            "jurisdiction": "XR",
            "place": "Republic of Arvenne (fictional)",
            "title": "Escaped listed animals are told (fictional)",
            "citation": "Invented Act, s. 7 (fictional)",
            "tell_by": datetime(2026, 3, 1, 20, 0, tzinfo=UTC),
            "standing": "open",
            "told_at": None,
            "missing": (),
        }
        | stated
    )


def incident_sheet(*notices: NoticeLine, **stated) -> IncidentSheet:
    return IncidentSheet(
        **{
            "paper_id": "2026-03-01-1a2b3c4d",
            "organisation": "Example Animal Trust",
            "site": "Reedmere House",
            "address": "1 Mill Lane",
            "zone": "Europe/Berlin",
            "data_as_of": datetime(2026, 3, 1, 12, 0, tzinfo=UTC),
            "generated_at": datetime(2026, 3, 1, 12, 0, tzinfo=UTC),
            "incident_id": "019ca945-0a00-7203-9638-1290684dfbc9",
            "kind": IncidentKind.ESCAPE,
            "found_at": datetime(2026, 2, 28, 20, 0, tzinfo=UTC),
            "enclosure": "Hot room 3",
            "persons_hurt": 0,
            "account": "The lid was found open at the evening round.",
            "outcome": "",
            "animals": (
                ConcernedAnimal(tag="V-3", scientific_name="Bitis ficta", rank="species", hazard=Hazard.VENOMOUS, note="not found yet"),
            ),
            "notices": notices,
            "told": (),
            "missing": (),
        }
        | stated
    )


def going_animal(**stated) -> GoingAnimal:
    return GoingAnimal(
        **{
            "number": 1,
            "tag": "V-3",
            "name": None,
            "scientific_name": "Bitis ficta",
            "name_authorship": "(Nobody, 1801)",
            "rank": "species",
            "common_name": "invented viper",
            "name_as_printed": None,
            "grouping": "individual",
            "count": 1,
            "estimated": False,
            "sex": "female",
            "life_stage": "adult",
            "hatched_on": date(2021, 6, 14),
            "hatched_precision": "day",
            "origin": "captive_bred",
            "locality": None,
            "hazard": "venomous",
            "acquired": "acquired 3 May 2022, gift",
            "held": "the sender's own",
            "marks": (MarkToRead(kind="transponder", code="999000000000123", scheme=None, body_site="left neck", note=""),),
            "weights": (Weight(measured_on=date(2026, 11, 20), mass_g=1140.0),),
            "parents": (),
            "history": (),
            "lived_in": "Hot room 3",
            "measured_there": (Output(measured_on=date(2026, 11, 2), value=3.1, unit="UV index", method="at the basking place"),),
            "target": Targets(air_low_c=24.0, air_high_c=30.0, humidity_low_pct=50.0, humidity_high_pct=70.0),
            "target_source": "House manual (invented)",
            "note": "",
            "mark_loaded": None,
            "mark_arrived": None,
            "arrived": None,
            "arrived_number": None,
            "arrived_dead": None,
            "condition": None,
            "discrepancy": None,
        }
        | stated
    )


def going_paper(**stated) -> GoingPaper:
    return GoingPaper(
        **{
            "title": "Health certificate",
            "kind": "health-certificate",
            "kind_title": "Certificate of health (fictional)",
            "number": "HC-88121",
            "authority": "Veterinary office (fictional)",
            "issued_on": date(2026, 11, 20),
            "inspected_on": date(2026, 11, 18),
            "valid_until": None,
            "good_until": date(2026, 12, 18),
            "lapses": False,
            "requirement_code": None,
            "covers": (),
            "sha256": "c4f1" * 16,
            "note": "",
        }
        | stated
    )


def end(**stated) -> End:
    return End(
        **{
            "name": "Example Animal Trust",
            "site": "Reedmere House",
            "address": "1 Mill Lane",
            "contact": None,
            "jurisdiction": "XR",
            "licences": (Licence(number="LIC-0042", title=None, sha256=None, until_on=date(2028, 3, 31), lapses=False),),
        }
        | stated
    )


def transfer_file(*animals: GoingAnimal, **stated) -> TransferFileSheet:
    return TransferFileSheet(
        **{
            "form": FORM,
            "form_version": VERSION,
            "paper_id": "2026-11-24-1a2b3c4d",
            "organisation": "Example Animal Trust",
            "zone": "Europe/Berlin",
            "today": TODAY,
            "data_as_of": datetime(2026, 11, 24, 12, 0, tzinfo=UTC),
            "generated_at": datetime(2026, 11, 24, 12, 0, tzinfo=UTC),
            "check_at": None,
            "sealed": False,
            "transfer_id": "019ca945-0a00-7203-9638-1290684dfbc9",
            "reference": "T-2026-14",
            "basis": "gift",
            "stage": "draft",
            "sender": end(),
            "receiver": end(name="Bay Collection (fictional)", site=None, contact="Curator on duty", jurisdiction="XG-BAY"),
            "carriage": Carriage(
                carrier="Example Live Carriage", contact=None, authorisation=None, container="Locked box", least_c=22.0, most_c=28.0
            ),
            "dispatch_on": date(2026, 12, 2),
            "arrive_on": date(2026, 12, 3),
            "buffer_days": 2,
            "through_on": date(2026, 12, 5),
            "dispatched_at": None,
            "arrived_at": None,
            "quarantine_days": 30,
            "quarantine_place": None,
            "due_back_on": None,
            "offspring_split": None,
            "report_after_days": (7, 30),
            "care": "",
            "note": "",
            "open_items": (),
            "earliest": None,
            "renewals": (),
            "animals": animals,
            "papers": (going_paper(),),
            "rules": (RulePack(name="Arvenne (fictional)", edition="1", digest="ab" * 32),),
        }
        | stated
    )
