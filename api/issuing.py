"""Papers that leave the house: the number that each is looked up by, the press that knows where, and what is kept once one is issued."""

from __future__ import annotations

import re
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from hashlib import sha256
from typing import TYPE_CHECKING, Any, Final

from domain.actions.inspection_file import PACKS_ON_RECORD
from domain.actions.night import PaperFile
from domain.records.nights import Report, ReportKind
from domain.records.requirements import RulePack
from domain.records.unit import Unit

if TYPE_CHECKING:
    from api.sealing import Seal
    from api.settings import Settings

LETTERS: Final = "abcdefghjkmnpqrstuvwxyz23456789"
"""Without those that are mistaken for each other most: 0 and o, 1, i and l."""
DRAWN: Final = 20
"""Letters drawn at random: 99 bits, so that nobody finds a paper by trying."""
NUMBER: Final = re.compile(f"([1-9][0-9]{{0,18}})-[{LETTERS}]{{{DRAWN}}}")
"""A paper's number: its organisation's, and what was drawn."""
PRINTED: Final = "pdf"
"""The form that is sealed."""
_OF_PACK = ("name", "edition", "digest")
OF_ALL_RULES: Final = frozenset({ReportKind.TRANSFER_FILE})
"""Kinds of papers of which all rule packs on record are kept: what they rest on may be the law of any place on the way."""


def new_paper_id(organisation_id: int) -> str:
    """Return a number that nobody guesses."""
    return f"{organisation_id}-{''.join(secrets.choice(LETTERS) for _ in range(DRAWN))}"


def canonical(typed: str) -> str:
    """Return a number that somebody typed as it is kept: in small letters."""
    return typed.lower() if typed.isascii() else typed


def organisation_in(paper_id: str) -> int | None:
    """Return the organisation whose paper a number is of; ``None`` for what is no such number."""
    found = NUMBER.fullmatch(paper_id)
    organisation_id = int(found[1]) if found else 0
    return organisation_id if 0 < organisation_id < 1 << 63 else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Dated:
    """Of when a paper is: a register of a day, an inspection file of a period, a transfer file of the moment.

    ``asked_on`` is the date at its site, or in UTC, when it was asked for.
    """

    kind: ReportKind
    local_date: date
    from_on: date | None
    until_on: date | None
    asked_on: date

    @property
    def is_of_now(self) -> bool:
        """Whether it is of how things stood when it was asked for, and not of an earlier day."""
        if self.kind is ReportKind.TRANSFER_FILE:
            return True
        return (self.until_on or self.local_date) >= self.asked_on

    @property
    def stated(self) -> tuple[date, date]:
        """The first and the last day that it is of."""
        return self.from_on or self.local_date, self.until_on or self.local_date


def supersedes(later: Dated, paper: Dated) -> bool:
    """Return whether a paper of the same kind and subject that was issued later takes the place of one.

    It does where both are of the same days, and where both are of now, unless it begins later with a period than the other.
    """
    if later.stated == paper.stated:
        return True
    covers = later.from_on is None or paper.from_on is None or later.from_on <= paper.from_on
    return later.is_of_now and paper.is_of_now and covers


@dataclass(frozen=True, slots=True)
class Imprint:
    """What a paper that leaves the house says of itself: its number, where it can be looked up, and whether it bears a seal."""

    paper_id: str | None = None
    check_at: str | None = None
    sealed: bool = False


@dataclass(frozen=True, slots=True)
class Press:
    """What makes papers fit to leave the house: the address at which others reach the service, and the seal; neither has to be there."""

    address: str | None = None
    seal: Seal | None = None

    @classmethod
    def of(cls, settings: Settings) -> Press:
        """Return the press that is set.

        Raises:
            ValueError: The seal cannot be used; ``weaknesses`` says so before.
        """
        return cls(settings.public_url, _seal_of(settings))

    def check_at(self, report: Report) -> str | None:
        """Return the address at which a paper can be looked up."""
        return None if self.address is None or report.paper_id is None else f"{self.address}/v/{report.paper_id}"

    def imprint(self, report: Report) -> Imprint:
        """Return what a paper says of itself."""
        return Imprint(report.paper_id, self.check_at(report), sealed=self.seal is not None)


NO_PRESS: Final = Press()


def _seal_of(settings: Settings) -> Seal | None:
    if settings.seal_file is None:
        return None
    from api.sealing import Seal  # noqa: PLC0415 - it needs an extra

    return Seal.read(settings.seal_file, settings.seal_password)


def issue(
    unit: Unit, files: Sequence[PaperFile], press: Press, *, packs: Sequence[RulePack] | None
) -> tuple[list[PaperFile], dict[str, Any]]:
    """Return the files of a paper as they leave the house, its PDF sealed where there is a seal, and what is kept of that on its record.

    ``packs`` are the rule packs behind it, ``None`` where all that are on record count.

    Raises:
        CertificateLapsed: The seal's certificate is not good at this instant.
    """
    [printed] = [file for file in files if file.form == PRINTED]
    at, seal = unit.origin.at, press.seal
    behind = unit.named(PACKS_ON_RECORD) if packs is None else [{name: getattr(one, name) for name in _OF_PACK} for one in packs]
    sealed = printed if seal is None else PaperFile(PRINTED, seal.sealed(printed.content, at=at))
    kept = {
        "issued_at": at,
        "rules": [{name: row[name] for name in _OF_PACK} for row in behind],
        "sealed_with": None if seal is None else seal.certificate_sha256,
        "unsealed_sha256": sha256(printed.content).hexdigest(),
    }
    return [sealed if file is printed else file for file in files], kept
