"""Sites: places with animals."""

from __future__ import annotations

from typing import Annotated, ClassVar

from pydantic import AfterValidator, StringConstraints, WithJsonSchema
from sqlmodel import Field

from domain.records.base import Record, Stated, owned_by_organisation, unique_while_kept
from domain.records.columns import Name, Note
from domain.rules.calendar import zone_named


def _known_zone(zone: str) -> str:
    zone_named(zone)
    return zone


Zone = Annotated[
    str,
    Field(max_length=64),
    AfterValidator(_known_zone),
    WithJsonSchema({"type": "string", "minLength": 1, "maxLength": 64, "format": "iana-time-zone"}),
]


class SiteStated(Stated):
    """A site: its name, IANA zone, jurisdiction code (ISO 3166-1, or 3166-2 for a subdivision) and address."""

    name: Name
    zone: Zone
    jurisdiction: Annotated[str, StringConstraints(pattern=r"^[A-Z]{2}(-[A-Z0-9]{1,3})?$", max_length=6)] | None = None
    address: Note = ""
    note: Note = ""


class Site(Record, SiteStated, table=True):
    """A stored site; ``name_key`` is the form in which two spellings of its name are equal."""

    __tablename__ = "site"
    __table_args__ = (owned_by_organisation(), unique_while_kept("site", "name_key"))
    noun: ClassVar[str] = "site"

    name_key: str
