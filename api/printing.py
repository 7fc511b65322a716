"""The papers: from what an action found to a frozen sheet, and from the sheet to its files."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from typing import TypeVar
from uuid import UUID

from api.animal_papers import animal_record_sheet, label_sheet, stock_statement_sheet
from api.incident_papers import incident_sheet
from api.inspection_papers import inspection_file_sheet
from api.issuing import Press, issue, new_paper_id
from api.permit_papers import permit_register_sheet
from api.return_papers import periodic_return_sheet
from api.transfer_papers import transfer_file_sheet
from domain.actions.due_list import SOON_DAYS, DueItem, DueList, Order, due_list, judge_site
from domain.actions.law import packs_behind
from domain.actions.night import PaperFile, keep_files
from domain.actions.organisations import ORGANISATION
from domain.actions.premises import SITES
from domain.records.nights import LEAVE_THE_HOUSE, Report, ReportKind, WorkState
from domain.records.organisations import Organisation
from domain.records.requirements import RulePack
from domain.records.sites import Site
from domain.records.unit import Unit
from domain.rules.cautions import cautions_for
from domain.rules.forecast import Need
from domain.rules.service_life import Standing
from reports.animal_record import animal_record_json, animal_record_pdf
from reports.due_list import (
    DueRow,
    DueSheet,
    OrderLine,
    due_list_csv,
    due_list_json,
    due_list_pdf,
    order_list_csv,
    record_hash,
    rows_csv,
)
from reports.due_list.sheet import SECTIONS, Section
from reports.incident_sheet import incident_sheet_json, incident_sheet_pdf
from reports.inspection_file import inspection_file_csv, inspection_file_json, inspection_file_pdf
from reports.labels import labels_json, labels_pdf
from reports.periodic_return import periodic_return_csv, periodic_return_json, periodic_return_pdf
from reports.permit_register import permit_register_csv, permit_register_json, permit_register_pdf
from reports.stock_statement import stock_statement_csv, stock_statement_json, stock_statement_pdf
from reports.transfer_file import transfer_file_json, transfer_file_pdf


class Form(StrEnum):
    """The forms that papers come in: not every kind comes in all of them."""

    PDF = "pdf"
    CSV = "csv"
    JSON = "json"
    ORDERS = "orders"


FORMS = {
    Form.PDF: "application/pdf",
    Form.CSV: "text/csv; charset=utf-8",
    Form.JSON: "application/json",
    Form.ORDERS: "text/csv; charset=utf-8",
}
"""Media type of each form."""

SUFFIXES = {Form.PDF: "pdf", Form.CSV: "csv", Form.JSON: "json", Form.ORDERS: "orders.csv"}
WITHIN_48_H_DAYS = 2


def due_sheet(unit: Unit, due: DueList, *, report_id: UUID, later_days: int | None) -> DueSheet:
    """Return the sheet of a site's replacement-due list; the unit's instant is that of the data and of the paper."""
    organisation = unit.first(Organisation, ORGANISATION)
    name, currency = (organisation.name, organisation.base_currency) if organisation else ("", "")
    in_reading_order = sorted(due.items, key=lambda item: (SECTIONS.index(_section(item, due.today)), item.order_key))
    rows = tuple(_row(item, number=number, today=due.today) for number, item in enumerate(in_reading_order, start=1))
    return DueSheet(
        paper_id=f"{due.today.isoformat()}-{str(report_id)[-8:]}",
        organisation=name,
        site=due.site.name,
        address=due.site.address,
        zone=due.site.zone,
        today=due.today,
        data_as_of=unit.origin.at,
        generated_at=unit.origin.at,
        later_days=later_days,
        rows=rows,
        orders=tuple(_order_line(order, currency=currency, today=due.today) for order in due.orders),
        counts_good=due.counts[Standing.GOOD],
    )


def files_of(sheet: DueSheet) -> list[PaperFile]:
    """Return the paper in all its forms."""
    return [
        PaperFile(Form.PDF, due_list_pdf(sheet)),
        PaperFile(Form.CSV, due_list_csv(sheet)),
        PaperFile(Form.JSON, due_list_json(sheet)),
        PaperFile(Form.ORDERS, order_list_csv(sheet)),
    ]


def make_report(unit: Unit, report_id: UUID, press: Press) -> Report:
    """Make the paper that a waiting report asks for, and keep its files; what leaves the house is issued.

    Raises:
        CertificateLapsed: It has to be sealed, and the seal's certificate is not good any more.
    """
    report = unit.fetch(Report, report_id)
    if report.state is WorkState.DONE:
        return report
    if report.kind in LEAVE_THE_HOUSE and report.paper_id is None:
        report = unit.change(report, {"paper_id": new_paper_id(unit.organisation_id)}, action="make_report")
    made = MAKERS[report.kind](unit, report, press)
    files = made.files
    done: dict[str, object] = {"state": WorkState.DONE, "record_hash": made.record_hash, "error": None}
    if report.kind in LEAVE_THE_HOUSE:
        files, issued = issue(unit, files, press, packs=made.packs)
        done |= issued
    keep_files(unit, report_id, files)
    return unit.change(report, done, action="make_report")


T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Made:
    """A paper's files and the hash of its record; ``packs`` are the rule packs behind it, ``None`` where all that are on record are."""

    files: list[PaperFile]
    record_hash: str
    packs: Sequence[RulePack] | None = None


def _replacement_due(unit: Unit, report: Report, _: Press) -> Made:
    site = _site(unit, report)
    judged = judge_site(unit, site, today=report.local_date)
    due = due_list(unit, site, judged, ahead_days=report.later_days or SOON_DAYS)
    sheet = due_sheet(unit, due, report_id=report.id, later_days=report.later_days)
    return Made(files_of(sheet), record_hash(sheet))


def _animal_record(unit: Unit, report: Report, _: Press) -> Made:
    sheet = animal_record_sheet(unit, _told(report.animal_id), report_id=report.id, filed_at=_told(report.site_id))
    return Made([PaperFile(Form.PDF, animal_record_pdf(sheet)), PaperFile(Form.JSON, animal_record_json(sheet))], record_hash(sheet))


def _enclosure_labels(unit: Unit, report: Report, _: Press) -> Made:
    site = _site(unit, report)
    sheet = label_sheet(unit, site, on=report.local_date, first_label=report.first_label or 1, link_base="", report_id=report.id)
    return Made([PaperFile(Form.PDF, labels_pdf(sheet)), PaperFile(Form.JSON, labels_json(sheet))], record_hash(sheet))


def _stock_statement(unit: Unit, report: Report, _: Press) -> Made:
    site = _site(unit, report)
    from_on, until_on = _told(report.from_on), _told(report.until_on)
    sheet = stock_statement_sheet(unit, site, from_on=from_on, until_on=until_on, report_id=report.id)
    files = [
        PaperFile(Form.PDF, stock_statement_pdf(sheet)),
        PaperFile(Form.CSV, stock_statement_csv(sheet)),
        PaperFile(Form.JSON, stock_statement_json(sheet)),
    ]
    return Made(files, record_hash(sheet))


def _permit_register(unit: Unit, report: Report, press: Press) -> Made:
    site = None if report.site_id is None else unit.fetch(Site, report.site_id)
    sheet = permit_register_sheet(unit, site, on=report.local_date, report_id=report.id, imprint=press.imprint(report))
    files = [
        PaperFile(Form.PDF, permit_register_pdf(sheet)),
        PaperFile(Form.CSV, permit_register_csv(sheet)),
        PaperFile(Form.JSON, permit_register_json(sheet)),
    ]
    there = {jurisdiction for site_id, jurisdiction in unit.rows(SITES) if jurisdiction and (site is None or site_id == site.id)}
    return Made(files, record_hash(sheet), packs_behind(unit, jurisdictions=there, kinds={line.kind for line in sheet.permits}))


def _periodic_return(unit: Unit, report: Report, _: Press) -> Made:
    code, from_on = _told(report.requirement_code), _told(report.from_on)
    sheet = periodic_return_sheet(unit, _site(unit, report), code, from_on=from_on, report_id=report.id)
    files = [
        PaperFile(Form.PDF, periodic_return_pdf(sheet)),
        PaperFile(Form.CSV, periodic_return_csv(sheet)),
        PaperFile(Form.JSON, periodic_return_json(sheet)),
    ]
    return Made(files, record_hash(sheet))


def _inspection_file(unit: Unit, report: Report, press: Press) -> Made:
    from_on, until_on = _told(report.from_on), _told(report.until_on)
    of_period = {"from_on": from_on, "until_on": until_on}
    sheet = inspection_file_sheet(unit, _site(unit, report), **of_period, report_id=report.id, imprint=press.imprint(report))
    files = [
        PaperFile(Form.PDF, inspection_file_pdf(sheet)),
        PaperFile(Form.CSV, inspection_file_csv(sheet)),
        PaperFile(Form.JSON, inspection_file_json(sheet)),
    ]
    packs = packs_behind(unit, jurisdictions=sheet.jurisdictions, kinds={line.kind for line in sheet.permits})
    return Made(files, record_hash(sheet), packs)


def _incident_sheet(unit: Unit, report: Report, _: Press) -> Made:
    sheet = incident_sheet(unit, _told(report.incident_id), report_id=report.id)
    return Made([PaperFile(Form.PDF, incident_sheet_pdf(sheet)), PaperFile(Form.JSON, incident_sheet_json(sheet))], record_hash(sheet))


def _transfer_file(unit: Unit, report: Report, press: Press) -> Made:
    imprint = press.imprint(report)
    sheet = transfer_file_sheet(unit, _told(report.transfer_id), report_id=report.id, imprint=imprint, filed_at=report.site_id)
    return Made([PaperFile(Form.PDF, transfer_file_pdf(sheet)), PaperFile(Form.JSON, transfer_file_json(sheet))], record_hash(sheet))


def _site(unit: Unit, report: Report) -> Site:
    return unit.fetch(Site, _told(report.site_id))


def _told(value: T | None) -> T:
    assert value is not None, "whoever asks for a paper has to say what it is of"  # noqa: S101 - asking refuses it otherwise
    return value


MAKERS: Mapping[ReportKind, Callable[[Unit, Report, Press], Made]] = {
    ReportKind.REPLACEMENT_DUE: _replacement_due,
    ReportKind.ANIMAL_RECORD: _animal_record,
    ReportKind.ENCLOSURE_LABELS: _enclosure_labels,
    ReportKind.STOCK_STATEMENT: _stock_statement,
    ReportKind.PERMIT_REGISTER: _permit_register,
    ReportKind.PERIODIC_RETURN: _periodic_return,
    ReportKind.INSPECTION_FILE: _inspection_file,
    ReportKind.INCIDENT_SHEET: _incident_sheet,
    ReportKind.TRANSFER_FILE: _transfer_file,
}


def due_csv(items: Iterable[tuple[Site, date, DueItem]]) -> bytes:
    """Return what is due at several sites as CSV; ``today`` stands beside each site."""
    numbered = enumerate(items, start=1)
    return rows_csv((site.name, today, _row(item, number=number, today=today)) for number, (site, today, item) in numbered)


def _row(item: DueItem, *, number: int, today: date) -> DueRow:
    seen = item.forecast
    return DueRow(
        number=number,
        equipment_id=str(item.equipment_id),
        tag=item.tag,
        place=item.place,
        walking_order=item.walking_order,
        position=item.position or "",
        model=item.model.name,
        kind=item.model.kind.value,
        standing=seen.standing.value,
        section=_section(item, today),
        needs=(seen.needs or Need.REPLACEMENT).value,
        binding=seen.binding.value if seen.binding else None,
        because=item.because,
        reason=seen.reason,
        due_on=seen.due_on,
        no_later_than=seen.no_later_than,
        do_on=item.do_on,
        conflict=item.conflict,
        order_by=seen.order_by,
        cautions=_cautions(item),
        spares_on_hand=sum(one.on_hand for one in item.spares),
        spares_on_order=sum(one.on_order for one in item.spares),
        shelf=", ".join(one.shelf for one in item.spares if one.on_hand),
        supplier=item.model.supplier or "",
        missing=seen.missing,
    )


def _cautions(item: DueItem) -> tuple[str, ...]:
    seen = item.forecast
    check = next((rule.check for rule in seen.rules if rule.check), None) if seen.needs is Need.CHECK else None
    return cautions_for(item.model.kind.value, item.model.cautions, check=check)


def _section(item: DueItem, today: date) -> Section:
    due = item.forecast.due_on or item.forecast.no_later_than
    if due is not None and due < today:
        return "overdue"
    days = [day for day in (due, item.do_on) if day is not None]
    if not days:
        return "unknown"
    if min(days) <= today + timedelta(days=WITHIN_48_H_DAYS):
        return "within_48_h"
    if min(days) <= today + timedelta(days=SOON_DAYS):
        return "within_14_days"
    return "unknown" if item.forecast.standing is Standing.UNKNOWN else "later"


def _order_line(order: Order, *, currency: str, today: date) -> OrderLine:
    return OrderLine(
        supplier=order.model.supplier or "",
        model=order.model.name,
        quantity=order.quantity,
        order_by=order.order_by,
        lead_days=order.model.lead_days,
        unit_cost_minor=order.model.unit_cost_minor,
        currency=currency,
        tags=order.tags,
        late=order.order_by is not None and order.order_by < today,
    )


def outlook_json(item: DueItem) -> dict[str, object]:
    """Return what answers say of an item's outlook, wherever they show it."""
    seen = item.forecast
    return {
        "equipment_id": item.equipment_id,
        "standing": seen.standing,
        "due_on": seen.due_on,
        "no_later_than": seen.no_later_than,
        "binding": seen.binding,
        "needs": seen.needs,
        "do_on": item.do_on,
        "conflict": item.conflict,
        "order_by": seen.order_by,
        "missing": seen.missing,
        "reason": seen.reason,
        "because": item.because,
        "cautions": _cautions(item),
    }


def item_json(item: DueItem) -> dict[str, object]:
    """Return an item of the list as answers and ``--json`` show it."""
    return {
        **outlook_json(item),
        "tag": item.tag,
        "place": item.place or None,
        "position": item.position,
        "model": item.model.name,
        "kind": item.model.kind,
        "spares_on_hand": sum(one.on_hand for one in item.spares),
        "shelves": [one.shelf for one in item.spares if one.on_hand],
        "supplier": item.model.supplier,
    }
