"""Sites: places with animals."""

from __future__ import annotations

from typing import ClassVar

from domain.records.base import Record, Stated, owned_by_organisation, unique_while_kept
from domain.records.columns import Name, Note, Zone
from domain.records.jurisdictions import JurisdictionCode


class SiteStated(Stated):
    """A site: its name, IANA zone, jurisdiction code (ISO 3166-1, 3166-2 for a subdivision, or a local authority's) and address."""

    name: Name
    zone: Zone
    jurisdiction: JurisdictionCode | None = None
    address: Note = ""
    note: Note = ""


class Site(Record, SiteStated, table=True):
    """A stored site; ``name_key`` is the form in which two spellings of its name are equal."""

    __tablename__ = "site"
    __table_args__ = (owned_by_organisation(), unique_while_kept("site", "name_key"))
    noun: ClassVar[str] = "site"

    name_key: str
