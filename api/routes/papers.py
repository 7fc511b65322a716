"""What is on record about a paper that left the house, for whoever has its number: nobody signs in, and nothing of what it says is told."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime
from typing import Any

import sqlalchemy as sa
from fastapi import APIRouter, Request
from starlette.responses import Response

from api import paper_page
from api.bodies.papers import FileDigest, PaperCheck, RulesEdition
from api.context import House
from api.errors import Answer
from api.issuing import LETTERS, OF_ALL_RULES, PRINTED, Dated, canonical, organisation_in, supersedes
from api.limits import Kind
from domain.errors import NotFound
from domain.records.base import table_of
from domain.records.nights import Report, ReportFile, ReportKind, WorkState
from domain.records.sites import Site
from domain.records.statements import Statement
from domain.rules.calendar import date_at_site
from domain.rules.law.decision import DISCLAIMER

_report, _file, _site = table_of(Report), table_of(ReportFile), table_of(Site)
_later = _report.alias("later")
_organisation_id, _paper_id = sa.bindparam("organisation_id", type_=sa.BigInteger()), sa.bindparam("paper_id", type_=sa.String())
_issued = (
    _report.c.organisation_id == _organisation_id,
    _report.c.paper_id == _paper_id,
    _report.c.state == sa.literal(WorkState.DONE.value, type_=sa.String()),
)
_same_subject = sa.or_(
    _later.c.transfer_id == _report.c.transfer_id,
    sa.and_(*(_later.c[name].is_not_distinct_from(_report.c[name]) for name in ("transfer_id", "site_id"))),
)
_issued_later = sa.or_(
    _later.c.issued_at > _report.c.issued_at,
    sa.and_(_later.c.issued_at == _report.c.issued_at, _later.c.id > _report.c.id),
)
_DATED = ("kind", "local_date", "from_on", "until_on", "created_at")
PAPER = Statement(
    sa.select(
        *(_report.c[name] for name in (*_DATED, "issued_at", "rules", "record_hash", "sealed_with")),
        _site.c.zone,
        _file.c.form,
        _file.c.sha256,
    )
    .join(_file, sa.and_(_file.c.organisation_id == _report.c.organisation_id, _file.c.report_id == _report.c.id))
    .outerjoin(_site, sa.and_(_site.c.organisation_id == _report.c.organisation_id, _site.c.id == _report.c.site_id))
    .where(*_issued)
    .order_by(_file.c.form)
)
"""A paper that was issued, one row for each of its files."""
LATER = Statement(
    sa.select(_later.c.paper_id, *(_later.c[name] for name in _DATED))
    .select_from(_report.join(_later, sa.and_(_later.c.organisation_id == _report.c.organisation_id, _later.c.kind == _report.c.kind)))
    .where(
        *_issued,
        _later.c.organisation_id == _organisation_id,
        _later.c.paper_id.is_not(None),
        _later.c.state == _report.c.state,
        _same_subject,
        _issued_later,
    )
    .order_by(_later.c.issued_at.desc(), _later.c.id.desc())
)
"""The papers of the kind about the same transfer, or of the same site, that were issued after one, the latest at the head."""
_NUMBER = {
    "name": "paper_id",
    "in": "path",
    "required": True,
    "schema": {"type": "string", "pattern": f"^[1-9][0-9]*-[{LETTERS}]+$", "maxLength": 40},
    "description": "The number that the paper bears.",
}

router = APIRouter(tags=["reports"])


@router.get(
    "/v/{paper_id}",  # noqa: FAST003 - read from the request: whatever stands there is looked up, and none is malformed
    operation_id="check_paper",
    summary="See what is on record about a paper that left the house, as JSON or as a page that compares files",
    response_class=Response,
    openapi_extra={"parameters": [_NUMBER]},
    responses={
        200: {
            "model": PaperCheck,
            "description": "What is on record about it",
            "content": {"text/html": {"schema": {"type": "string"}}},
        }
    },
)
async def check_paper(request: Request) -> Response:
    """Answer with what is on record about a paper, as a page for browsers.

    Raises:
        NotFound: There is none with this number, whatever the case of its letters, or it is not finished; which of these is not said.
        TooMany: It was asked too often from this address.
    """
    house: House = request.app.state.house
    client = request.client
    house.limits.refuse_excess(Kind.PAPER_ADDRESS, client.host if client else "")
    paper = await _checked(house, canonical(request.path_params["paper_id"]))
    if paper_page.wants_page(request.headers.get("Accept", "")):
        return Answer(paper_page.page_of(paper), headers=paper_page.HEADERS, media=paper_page.MEDIA)
    return Answer(paper.model_dump_json().encode(), headers=paper_page.TOLD)


async def _checked(house: House, paper_id: str) -> PaperCheck:
    organisation_id = organisation_in(paper_id)
    if organisation_id is None:
        raise _no_paper()
    rows = await _rows(house, PAPER, organisation_id=organisation_id, paper_id=paper_id)
    digests = {form: digest for *_, form, digest in rows}
    if PRINTED not in digests:
        raise _no_paper()
    kind, local_date, from_on, until_on, created_at, issued_at, rules, record_hash, sealed_with, zone, *_ = rows[0]
    paper = _dated(kind, local_date, from_on, until_on, created_at, zone=zone)
    later = await _rows(house, LATER, organisation_id=organisation_id, paper_id=paper_id)
    superseding = (number for number, *when in later if supersedes(_dated(*when, zone=zone), paper))
    return PaperCheck(
        disclaimer=DISCLAIMER,
        paper_id=paper_id,
        kind=kind,
        title=kind.value.replace("-", " ").capitalize(),
        issued_at=issued_at,
        as_of=_as_of(paper, issued_at),
        rules=_editions(rules or ()),
        rules_of="all_on_record" if kind in OF_ALL_RULES else "its_law",
        record_hash=record_hash,
        sha256=digests[PRINTED],
        files=[FileDigest(form=form, sha256=digest) for form, digest in digests.items()],
        sealed_with=sealed_with,
        superseded_by=next(superseding, None),
    )


def _dated(
    kind: ReportKind, local_date: date, from_on: date | None, until_on: date | None, created_at: datetime, *, zone: str | None
) -> Dated:
    asked_on = date_at_site(created_at, zone or "UTC")
    return Dated(kind=kind, local_date=local_date, from_on=from_on, until_on=until_on, asked_on=asked_on)


def _as_of(paper: Dated, issued_at: datetime) -> date:
    """Return the day that a paper is as of, of one of now in UTC: the date at its site would tell its zone.

    Only a register may be of an earlier day, which stands on it.
    """
    is_of_past = paper.kind is ReportKind.PERMIT_REGISTER and not paper.is_of_now
    return paper.local_date if is_of_past else issued_at.astimezone(UTC).date()


def _editions(rules: Iterable[Mapping[str, str]]) -> list[RulesEdition]:
    counted = Counter(one["edition"] for one in rules)
    return [RulesEdition(edition=edition, packs=packs) for edition, packs in sorted(counted.items())]


async def _rows(house: House, statement: Statement, *, organisation_id: int, paper_id: str) -> list[tuple[Any, ...]]:
    compiled = statement.on(house.store.dialect)
    return [compiled.python_row(row) for row in await house.store.read(statement, organisation_id=organisation_id, paper_id=paper_id)]


def _no_paper() -> NotFound:
    return NotFound("There is no such paper.")
