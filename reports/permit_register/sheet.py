"""The frozen sheet behind the permit register."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Final

from domain.rules.compliance import Standing
from domain.rules.permits import EndReason, PermitStanding

MOST_PERMITS: Final = 600
"""Permits that the paper prints; the CSV and the JSON hold all."""
MOST_UNCOVERED: Final = 300
"""Animals that the paper and the sheet list as uncovered; it says how many there are in all."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TaxonOfPermit:
    """A taxon that a permit is for, under its accepted name, and how many of it at most."""

    scientific_name: str
    rank: str
    number: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ConditionLine:
    """What a permit asks for; ``id`` is that of the record."""

    id: str
    text: str
    due_on: date | None
    every_months: int | None
    met_on: date | None
    proof: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ScanLine:
    """A document that is attached to a permit; ``sha256`` is the digest of its file [64 hex digits]."""

    id: str
    title: str
    role: str | None
    dated_on: date | None
    reference: str | None
    media_type: str
    sha256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PermitLine:
    """A permit as it stands on the day of the paper.

    ``good_until`` is its last day for ``end_reason``, by an event of the kind ``end_occasion`` where it is one. ``lasts`` is how long its
    kind is good, in words, by ``citation``. ``taken`` is how many animals stand against it, ``left`` how many more it allows. A permit that
    ``is_shared`` is the whole organisation's on the paper of a site: only its animals there are counted, and its scope, conditions and
    scans are not told.
    """

    id: str
    number: str
    kind: str
    kind_title: str | None
    citation: str | None
    lasts: str | None
    jurisdiction: str
    authority: str
    holder: str | None
    site: str | None
    issued_on: date
    valid_from: date
    good_until: date | None
    end_reason: EndReason | None
    end_occasion: str | None
    renew_by: date | None
    standing: PermitStanding
    activities: tuple[str, ...]
    any_taxon: bool
    taxa: tuple[TaxonOfPermit, ...]
    tags: tuple[str, ...]
    is_for_none: bool
    total_number: int | None
    taken: int | None
    left: int | None
    expected: int
    is_replaced: bool
    replaced_by: str | None
    follows_on: bool
    is_shared: bool
    note: str
    conditions: tuple[ConditionLine, ...]
    scans: tuple[ScanLine, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class UncoveredLine:
    """An animal or group whose keeping is not in order.

    ``uncovered`` is how many of its ``number`` are not in order. ``needs`` are all to be met, each by one of its kinds, which are given by
    their titles. ``rules`` are the citations of the requirements behind it, and ``missing`` the facts without which it cannot be decided.
    """

    id: str
    tag: str
    scientific_name: str
    rank: str
    site: str | None
    number: int
    uncovered: int
    standing: Standing
    needs_mark: bool
    needs: tuple[tuple[str, ...], ...]
    rules: tuple[str, ...]
    missing: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PermitRegisterSheet:
    """The permits on ``today`` [date at the site, or in UTC], by their last day; without a ``site`` the whole organisation's.

    ``uncovered`` are the first of ``uncovered_in_all`` records whose keeping is not in order, the worst first; ``animals`` counts those
    that were looked at, ``animals_open`` those of them that are not in order, of a group only the ones that are not, and
    ``animals_overridden`` those that are in order only since a named person answers for them. ``check_at`` is the address at which the
    paper can be looked up, and ``sealed`` that its PDF bears a seal.
    """

    paper_id: str
    organisation: str
    site: str | None
    address: str
    zone: str
    today: date
    data_as_of: datetime
    generated_at: datetime
    check_at: str | None
    sealed: bool
    permits: tuple[PermitLine, ...]
    uncovered: tuple[UncoveredLine, ...]
    uncovered_in_all: int
    animals: int
    animals_open: int
    animals_overridden: int
