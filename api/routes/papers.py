"""What is on record about a paper that left the house, for whoever has its number: nobody signs in, and nothing of what it says is told."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any

import sqlalchemy as sa
from fastapi import APIRouter, Request
from starlette.responses import Response

from api import paper_page
from api.bodies.papers import FileDigest, PaperCheck
from api.context import House
from api.errors import Answer, Header, problem_of
from api.issuing import LETTERS, PRINTED, as_numbered, organisation_in
from api.limits import Kind
from domain.errors import NotFound, Refusal
from domain.records.base import table_of
from domain.records.nights import Report, ReportFile, ReportKind, WorkState
from domain.records.statements import Statement
from domain.rules.law.decision import DISCLAIMER

_report, _file = table_of(Report), table_of(ReportFile)
_later = _report.alias("later")
_organisation_id, _paper_id = sa.bindparam("organisation_id", type_=sa.BigInteger()), sa.bindparam("paper_id", type_=sa.String())
_issued = (
    _report.c.organisation_id == _organisation_id,
    _report.c.paper_id == _paper_id,
    _report.c.state == sa.literal(WorkState.DONE.value, type_=sa.String()),
)
_same_site = sa.and_(*(_later.c[name].is_not_distinct_from(_report.c[name]) for name in ("transfer_id", "site_id")))
_issued_later = sa.or_(
    _later.c.issued_at > _report.c.issued_at, sa.and_(_later.c.issued_at == _report.c.issued_at, _later.c.id > _report.c.id)
)
_OF_WHEN = ("issued_at", "local_date", "from_on", "until_on")
PAPER = Statement(
    sa.select(
        *(_report.c[name] for name in ("kind", *_OF_WHEN, "rules", "record_hash", "sealed_with")),
        _file.c.form,
        _file.c.sha256,
    )
    .join(_file, sa.and_(_file.c.organisation_id == _report.c.organisation_id, _file.c.report_id == _report.c.id))
    .where(*_issued)
    .order_by(_file.c.form)
)
"""A paper that was issued, one row for each of its files."""
LATER = Statement(
    sa.select(_later.c.paper_id, *(_later.c[name] for name in _OF_WHEN))
    .select_from(_report.join(_later, sa.and_(_later.c.organisation_id == _report.c.organisation_id, _later.c.kind == _report.c.kind)))
    .where(
        *_issued,
        _later.c.organisation_id == _organisation_id,
        _later.c.paper_id.is_not(None),
        _later.c.state == _report.c.state,
        sa.or_(_later.c.transfer_id == _report.c.transfer_id, _same_site),
        _issued_later,
    )
    .order_by(_later.c.issued_at.desc(), _later.c.id.desc())
)
"""The papers of the same kind about the same transfer or site that were issued after one, the latest first."""


@dataclass(frozen=True, slots=True)
class _When:
    """Of when a paper is: the instant of its issue, the day at its site that it is as of, and the period that it tells of."""

    issued_at: datetime
    local_date: date
    from_on: date | None
    until_on: date | None

    @property
    def issued_on(self) -> date:
        """The day of its issue in UTC: the date at its site would tell its zone."""
        return self.issued_at.astimezone(UTC).date()

    @property
    def is_of_its_day(self) -> bool:
        """Whether it is as of the day of its issue, and not of one that was stated."""
        return abs(self.local_date - self.issued_on) <= timedelta(days=1)

    def is_superseded_by(self, later: _When, kind: ReportKind) -> bool:
        """Return whether one that was issued later about the same transfer or site took its place.

        A register is of one day: one of today follows that of yesterday, and one of a stated day only another of that day. A file of a
        period follows those of periods within it.
        """
        if kind is ReportKind.PERMIT_REGISTER:
            of_their_days = self.is_of_its_day and later.is_of_its_day and later.local_date >= self.local_date
            return of_their_days or later.local_date == self.local_date
        if self.from_on is None or self.until_on is None:
            return True
        return (later.from_on or date.max) <= self.from_on and (later.until_on or date.min) >= self.until_on


_WEIGHT = re.compile(r";\s*q=([01](?:\.[0-9]{0,3})?)")
_TOLD: Sequence[Header] = ((b"vary", b"Accept"), (b"x-robots-tag", b"noindex"))
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
        NotFound: There is none with this number, or it is not finished; which of these is not said.
        TooMany: It was asked too often from this address.
    """
    house: House = request.app.state.house
    as_page = wants_page(request.headers.get("Accept", ""))
    client = request.client
    try:
        house.limits.refuse_excess(Kind.PAPER_ADDRESS, client.host if client else "")
        paper = await _checked(house, request.path_params["paper_id"])
    except Refusal as refused:
        if not as_page:
            raise
        return _refused_as_page(request, refused)
    if as_page:
        return Answer(paper_page.page_of(paper), headers=[*_TOLD, *paper_page.HEADERS], media=paper_page.MEDIA)
    return Answer(paper.model_dump_json().encode(), headers=_TOLD)


def _refused_as_page(request: Request, refused: Refusal) -> Answer:
    """Return what a browser is shown where nothing is told: the same as programs are, with its status and headers."""
    request.scope["state"]["refused"] = refused
    told = problem_of(refused, path=request.scope["path"])
    page = paper_page.no_such_page() if isinstance(refused, NotFound) else paper_page.later_page(refused.detail)
    kept = [header for header in told.raw_headers if header[0] == b"retry-after"]
    return Answer(page, status=told.status_code, headers=[*_TOLD, *paper_page.HEADERS, *kept], media=paper_page.MEDIA)


def wants_page(accept: str) -> bool:
    """Say whether whoever asks would rather have a page than JSON: who names HTML, as browsers do, and does not like JSON better."""
    page = _wish(accept, "text/html")
    return page > 0 and page >= _wish(accept, "application/json")


def _wish(accept: str, media: str) -> float:
    """Return how much an ``Accept`` header wishes for a media type that it names [0..1]; 0 where it does not."""
    named = [one for one in accept.lower().split(",") if one.partition(";")[0].strip() == media]
    weights = [_WEIGHT.search(one) for one in named]
    return max((float(found[1]) if found else 1.0 for found in weights), default=0.0)


async def _checked(house: House, paper_id: str) -> PaperCheck:
    paper_id = as_numbered(paper_id)
    organisation_id = organisation_in(paper_id)
    if organisation_id is None:
        raise _no_paper()
    rows = await _rows(house, PAPER, organisation_id=organisation_id, paper_id=paper_id)
    digests = {form: digest for *_, form, digest in rows}
    if PRINTED not in digests:
        raise _no_paper()
    kind, *of_when, rules, record_hash, sealed_with, _, _ = rows[0]
    when = _When(*of_when)
    later = await _rows(house, LATER, organisation_id=organisation_id, paper_id=paper_id)
    return PaperCheck(
        disclaimer=DISCLAIMER,
        paper_id=paper_id,
        kind=kind,
        title=kind.value.replace("-", " ").capitalize(),
        issued_at=when.issued_at,
        as_of=when.issued_on if when.is_of_its_day else when.local_date,
        rules=sorted(one["edition"] for one in rules or ()),
        record_hash=record_hash,
        sha256=digests[PRINTED],
        files=[FileDigest(form=form, sha256=digest) for form, digest in digests.items()],
        sealed_with=sealed_with,
        superseded_by=next((number for number, *one in later if when.is_superseded_by(_When(*one), kind)), None),
    )


async def _rows(house: House, statement: Statement, *, organisation_id: int, paper_id: str) -> list[tuple[Any, ...]]:
    compiled = statement.on(house.store.dialect)
    return [compiled.python_row(row) for row in await house.store.read(statement, organisation_id=organisation_id, paper_id=paper_id)]


def _no_paper() -> NotFound:
    return NotFound("There is no such paper.")
