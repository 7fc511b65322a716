"""Papers: asked for, made in the background, found again and fetched."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from datetime import date
from functools import partial
from uuid import UUID

import sqlalchemy as sa

from api.answers import created
from api.bodies.reports import NewReport, Report, ReportPage
from api.context import Call, House, read, stated_in, stay_within_reach, write
from api.doors import Door
from api.errors import Answer
from api.filing.giving import digest_header, to_be_saved
from api.issuing import Press, new_paper_id
from api.nouns import IDEMPOTENCY_KEY, IF_NONE_MATCH, get_one, id_parameter
from api.pages import Listing
from api.printing import FORMS, SUFFIXES, Form, make_report
from api.query import fault_in, one_of, refusal_of
from api.seal_files import CertificateLapsed
from domain.actions.lives import PLACEMENTS_OF
from domain.actions.periodic_return import return_asked
from domain.actions.recording import referred, referred_reached, refuse_later_than
from domain.actions.sites import today_at
from domain.errors import NotFound, Refusal, RuleBroken, StorageBusy
from domain.records import nights as records
from domain.records.animals import Animal, Placement
from domain.records.base import table_of
from domain.records.enclosures import Enclosure
from domain.records.engine import run_unit
from domain.records.incidents import Incident
from domain.records.journal import Origin
from domain.records.sites import Site
from domain.records.statements import Row, Statement
from domain.records.transfers import Transfer
from domain.records.unit import Unit
from domain.rules.file_names import kept_file_name

log = logging.getLogger("reedbed")

_file, _report, _animal = table_of(records.ReportFile), table_of(records.Report), table_of(Animal)
FILE_OF_REPORT = Statement(
    sa.select(_file.c.content, _file.c.sha256, _report.c.local_date, _report.c.kind, _animal.c.tag)
    .join(_report, sa.and_(_report.c.organisation_id == _file.c.organisation_id, _report.c.id == _file.c.report_id))
    .outerjoin(_animal, sa.and_(_animal.c.organisation_id == _report.c.organisation_id, _animal.c.id == _report.c.animal_id))
    .where(
        _file.c.organisation_id == sa.bindparam("organisation_id"),
        _file.c.report_id == sa.bindparam("report_id"),
        _file.c.form == sa.bindparam("form"),
    )
)
FORMS_OF_REPORT = Statement(
    sa.select(_file.c.form)
    .where(_file.c.organisation_id == sa.bindparam("organisation_id"), _file.c.report_id == sa.bindparam("report_id"))
    .order_by(_file.c.form)
)
UNFINISHED = Statement(
    sa.select(_report.c.id).where(
        _report.c.organisation_id == sa.bindparam("organisation_id"),
        _report.c.state == sa.bindparam("state", type_=_report.c.state.type),
    )
)


def ask_for_report(call: Call) -> Answer:
    """Put a paper on record as waiting, have it made, and answer where to look."""
    stated = stated_in(call, NewReport)
    answer = write(call, lambda unit: _waiting(unit, stated, at=call.path))
    report_id = UUID(dict(answer.raw_headers)[b"location"].decode().rpartition("/")[2])
    call.house.work.submit(partial(make, call.house, call.caller.organisation_id, report_id))
    return answer


async def get_file(call: Call) -> Answer:
    """Answer with one form of a finished paper, to be saved.

    Raises:
        NotFound: There is no such report, or it is not finished.
        RuleBroken: Papers of its kind do not come in that form.
    """
    form = call.query.get("form", Form.PDF)
    await stay_within_reach(call, records.Report, call.ids[0])
    rows = await read(call, FILE_OF_REPORT, report_id=call.ids[0], form=form.value)
    if not rows:
        raise _absent(await read(call, FORMS_OF_REPORT, report_id=call.ids[0]))
    content, digest, on, kind, tag = rows[0]
    headers = [(b"etag", f'"{digest}"'.encode()), to_be_saved(_file_name(kind, on, tag, form)), digest_header(digest)]
    if call.headers.get(b"if-none-match", b"").strip() == f'"{digest}"'.encode():
        return Answer(status=304, headers=headers[:1])
    return Answer(bytes(content), headers=headers, media=FORMS[form].encode())


def resume(house: House) -> None:
    """Make the papers that were left waiting.

    Raises:
        StorageBusy: The database could not be asked in time; what is left stays on record.
    """
    for organisation_id, *_ in house.store.organisations():
        with house.store.snapshot(Origin(organisation_id, house.clock(), actor="service", request_id="resume")) as unit:
            waiting = unit.rows(UNFINISHED, state=records.WorkState.WAITING)
        for (report_id,) in waiting:
            make(house, organisation_id, report_id)


def make(house: House, organisation_id: int, report_id: UUID) -> None:
    """Make a paper that is on record as waiting; one that is finished already, or that is just made, is left alone.

    Raises:
        StorageBusy: The database could not be asked in time; the paper stays on record as waiting.
    """
    with house.work.alone_at(report_id) as alone:
        if alone:
            _make_alone(house, organisation_id, report_id)


def fail_report(unit: Unit, report_id: UUID, *, sentence: str) -> bool:
    """Keep why a paper came to nothing, and return whether it did: one that is finished already stays as it is."""
    report = unit.fetch(records.Report, report_id)
    if report.state is not records.WorkState.WAITING:
        return False
    unit.change(report, {"state": records.WorkState.FAILED, "error": sentence}, action="fail_report")
    return True


def _absent(kept: Sequence[Row]) -> Refusal:
    """Return why a form of a report is not given out; ``kept`` are the forms that there are."""
    if not kept:
        return NotFound("There is no such report, or it is not finished yet.")
    forms = ", ".join(form for (form,) in kept)
    return refusal_of(fault_in("form", "not-in-form", f"Papers of this kind do not come in this form, but in: {forms}."))


def _file_name(kind: str, on: date | str, tag: str | None, form: Form) -> str:
    """Return the name that a form of a paper is saved under: its kind, the animal that it is of, and its day."""
    parts = (kind, tag.translate(_NO_PLACE) if tag else None, str(on))
    return kept_file_name("-".join(part for part in parts if part), suffix=f".{SUFFIXES[form]}")


def _waiting(unit: Unit, stated: NewReport, *, at: str) -> Answer:
    site = _filed_at(unit, stated)
    today = unit.origin.at.date() if site is None else today_at(unit, site)
    refuse_later_than(today, field="local_date", on=stated.local_date)
    refuse_later_than(today, field="until_on", on=stated.until_on)
    from_on, until_on = _period(unit, stated, site, today=today)
    report = records.Report(
        organisation_id=unit.organisation_id,
        id=stated.id or unit.new_id(),
        created_at=unit.origin.at,
        kind=stated.kind,
        site_id=None if site is None else site.id,
        local_date=stated.local_date or today,
        later_days=stated.later_days,
        animal_id=stated.animal_id,
        from_on=from_on,
        until_on=until_on,
        requirement_code=stated.requirement_code,
        incident_id=stated.incident_id,
        transfer_id=stated.transfer_id,
        first_label=stated.first_label,
        state=records.WorkState.WAITING,
        paper_id=new_paper_id(unit.organisation_id) if stated.kind in records.LEAVE_THE_HOUSE else None,
    )
    answer = created(unit.add(report, action="ask_for_report"), at=at)
    answer.status_code = 202
    return answer


def _period(unit: Unit, stated: NewReport, site: Site | None, *, today: date) -> tuple[date | None, date | None]:
    """Return the first and the last day of the period that a paper is of, where it is of one; of a return, that of its rule."""
    if stated.requirement_code is None or site is None:
        return stated.from_on, stated.until_on
    asked = return_asked(unit, site, stated.requirement_code, today=today, from_on=stated.from_on, year=stated.year)
    return asked.from_on, asked.until_on


def _filed_at(unit: Unit, stated: NewReport) -> Site | None:
    """Return the site that a paper is filed at: that of what it is about, or the stated one; none for all sites together."""
    if stated.incident_id is not None:
        return unit.fetch(Site, referred_reached(unit, Incident, stated.incident_id, field="incident_id").site_id)
    if stated.transfer_id is not None:
        return unit.fetch(Site, referred_reached(unit, Transfer, stated.transfer_id, field="transfer_id").site_id)
    if stated.animal_id is not None:
        return _where_it_was(unit, stated.animal_id, stated=stated.site_id)
    return None if stated.site_id is None else referred(unit, Site, stated.site_id, field="site_id")


def _where_it_was(unit: Unit, animal_id: UUID, *, stated: UUID | None) -> Site:
    """Return the site of an animal's latest enclosure, and the stated one for an animal that was in none."""
    animal = unit.find(Animal, animal_id)
    if animal is None:
        raise RuleBroken("There is no such animal.", code="reference-unknown", field="animal_id")
    unit.fetch_reached(Animal, animal.id)
    places = unit.all(Placement, PLACEMENTS_OF, animal_id=animal.id)
    if places:
        return unit.fetch(Site, unit.fetch(Enclosure, places[-1].enclosure_id).site_id)
    if stated is None:
        raise RuleBroken(
            "This animal was in no enclosure yet. Say at which site its paper is to be filed.", code="required", field="site_id"
        )
    return referred(unit, Site, stated, field="site_id")


def _make_alone(house: House, organisation_id: int, report_id: UUID) -> None:
    origin = Origin(organisation_id, house.clock(), actor="service", request_id=f"report-{report_id}")
    try:
        run_unit(house.store, lambda unit: _made(unit, report_id, house.press), origin=origin)
    except StorageBusy:
        raise
    except Exception as failure:
        why = str(failure) if isinstance(failure, CertificateLapsed) else type(failure).__name__
        sentence = f"The paper could not be made: {why}."
        if run_unit(house.store, lambda unit: fail_report(unit, report_id, sentence=sentence), origin=origin):
            log.exception("report %s failed", report_id)


def _made(unit: Unit, report_id: UUID, press: Press) -> None:
    unit.take_time()
    if unit.fetch(records.Report, report_id).state is records.WorkState.WAITING:
        make_report(unit, report_id, press)


_NO_PLACE = str.maketrans("/\\", "__")
"""Of what looks like a path a file's name would keep the last part alone."""
_LISTING = Listing(records.Report, ("site_id", "state", "kind", "animal_id", "transfer_id", "paper_id"))
_ID = id_parameter("report_id")
_FORM = {
    "name": "form",
    "in": "query",
    "required": False,
    "schema": {"type": "string", "enum": [form.value for form in Form], "default": Form.PDF.value},
    "description": "The paper itself, its rows as CSV, its whole record as JSON, or what to order as CSV. Records of animals and labels "
    "have no rows, and only a replacement-due list has something to order.",
}

DOORS = (
    Door(
        method="GET",
        path="/v1/reports",
        action="list_reports",
        operation_id="list_reports",
        summary="List reports",
        tag="reports",
        subject="report",
        answers=ReportPage,
        reads=_LISTING.page,
        query=_LISTING.readers,
        parameters=_LISTING.parameters,
        headers=["Link"],
    ),
    Door(
        method="POST",
        path="/v1/reports",
        action="ask_for_report",
        operation_id="ask_for_report",
        summary="Ask for a report",
        tag="reports",
        subject="report",
        answers=Report,
        status=202,
        writes=ask_for_report,
        body=NewReport,
        parameters=[IDEMPOTENCY_KEY],
        headers=["ETag", "Location"],
    ),
    Door(
        method="GET",
        path="/v1/reports/{report_id}",
        action="get_report",
        operation_id="get_report",
        summary="Get report",
        tag="reports",
        subject="report",
        answers=Report,
        reads=partial(get_one, record=records.Report, subject="report"),
        parameters=[_ID, IF_NONE_MATCH],
        headers=["ETag"],
    ),
    Door(
        method="GET",
        path="/v1/reports/{report_id}/file",
        action="get_report_file",
        operation_id="get_report_file",
        summary="Get a report's file",
        tag="reports",
        subject="report",
        answers=Report,
        files=tuple(dict.fromkeys(media.partition(";")[0] for media in FORMS.values())),
        reads=get_file,
        query={"form": one_of(Form)},
        parameters=[_ID, _FORM, IF_NONE_MATCH],
        headers=["ETag", "Content-Disposition"],
    ),
)
