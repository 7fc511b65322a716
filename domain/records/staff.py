"""Staff: the people of an organisation. How they sign in is kept apart."""

from __future__ import annotations

from typing import ClassVar

from sqlmodel import Field

from domain.records.base import Record, Stated, owned_by_organisation, refers_to
from domain.records.columns import Id, Name, Note, UuidColumn, words_of
from domain.rules.permissions import Role


class StaffStated(Stated):
    """A person: name, role, the site they work at (none: the whole organisation), and how to reach them."""

    name: Name
    role: Role = Field(sa_type=words_of(Role))
    site_id: Id | None = Field(default=None, sa_type=UuidColumn)
    contact: Note = ""
    note: Note = ""


class Staff(Record, StaffStated, table=True):
    """A stored member of staff."""

    __tablename__ = "staff"
    __table_args__ = (owned_by_organisation(), refers_to("site", "site_id"))
    noun: ClassVar[str] = "staff"
    personal: ClassVar[frozenset[str]] = frozenset(("name", "contact", "note"))
