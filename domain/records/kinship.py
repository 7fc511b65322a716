"""Who an animal's parents are, as far as it is known."""

from __future__ import annotations

from enum import StrEnum
from typing import ClassVar

import sqlalchemy as sa
from pydantic import model_validator
from sqlmodel import Field

from domain.records.base import Record, Stated, owned_by_organisation, refers_to
from domain.records.columns import Id, Name, Note, UuidColumn, words_of
from domain.records.stated import misstated


class ParentRole(StrEnum):
    """Which parent."""

    DAM = "dam"
    SIRE = "sire"


class Certainty(StrEnum):
    """How sure a parent is."""

    CERTAIN = "certain"
    PROBABLE = "probable"
    POSSIBLE = "possible"


class ParentStated(Stated):
    """A parent of an animal or clutch: a record here, or an animal elsewhere in words; how sure it is, and what it is known by."""

    role: ParentRole = Field(sa_type=words_of(ParentRole))
    parent_id: Id | None = Field(default=None, sa_type=UuidColumn)
    elsewhere: Name | None = None
    certainty: Certainty = Field(default=Certainty.CERTAIN, sa_type=words_of(Certainty))
    known_by: Name | None = None
    note: Note = ""

    @model_validator(mode="after")
    def _names_one(self) -> ParentStated:
        if (self.parent_id is None) == (self.elsewhere is None):
            raise misstated("parent_id", "say either the parent's record or, in elsewhere, an animal that is not kept here")
        return self


class Parent(Record, ParentStated, table=True):
    """A stored parent. At most one of each role is certain."""

    __tablename__ = "parent"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("animal", "animal_id"),
        refers_to("animal", "parent_id"),
        sa.Index(
            "uq_parent_certain",
            "organisation_id",
            "animal_id",
            "role",
            unique=True,
            sqlite_where=sa.text("certainty = 'certain' AND ended_on IS NULL"),
            postgresql_where=sa.text("certainty = 'certain' AND ended_on IS NULL"),
        ),
        sa.Index("ix_parent_animal", "organisation_id", "animal_id"),
        sa.Index("ix_parent_parent", "organisation_id", "parent_id"),
    )
    noun: ClassVar[str] = "parent"

    animal_id: Id = Field(sa_type=UuidColumn)
