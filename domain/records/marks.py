"""Marks by which an animal is known: transponders, notches, bands, photographs of its pattern."""

from __future__ import annotations

from datetime import date
from enum import StrEnum
from typing import Annotated, ClassVar

import sqlalchemy as sa
from pydantic import model_validator
from sqlmodel import Field

from domain.records.base import Record, Stated, owned_by_organisation, refers_to
from domain.records.columns import Day, Id, Name, Note, UuidColumn, words_of
from domain.records.stated import misstated
from domain.rules.text import same_name


class MarkKind(StrEnum):
    """What a mark is, in the trade's words."""

    TRANSPONDER = "transponder"
    OTHER_TRANSPONDER = "other_transponder"
    SCUTE_NOTCH = "scute_notch"
    SCALE_CLIP = "scale_clip"
    ELASTOMER = "elastomer"
    BAND = "band"
    TAG = "tag"
    TATTOO = "tattoo"
    PHOTOGRAPH = "photograph"
    OTHER = "other"


class MarkReading(StrEnum):
    """How a code came to be written down: from a scanner, or typed and typed again."""

    SCANNER = "scanner"
    TYPED_TWICE = "typed_twice"


TRANSPONDERS = frozenset({MarkKind.TRANSPONDER, MarkKind.OTHER_TRANSPONDER})
CODED = frozenset({MarkKind.TRANSPONDER, MarkKind.OTHER_TRANSPONDER, MarkKind.BAND, MarkKind.TAG, MarkKind.TATTOO})
"""Marks that are worth nothing without their code, which no two living animals share."""
SCHEMED = frozenset({MarkKind.SCUTE_NOTCH, MarkKind.SCALE_CLIP, MarkKind.ELASTOMER})
"""Marks whose code means nothing without its scheme; animals of different series may bear the same."""
Millimetres = Annotated[float, Field(gt=0, le=100_000)]


class MarkStated(Stated):
    """A mark: its kind, code and where on the body it is, since when.

    ``scheme`` says how a code is to be read, such as a numbering of marginal scutes. ``reader`` is the type of reader that a transponder
    needs which does not follow ISO 11785. A photograph has its ``view``, the length of the bar in it [mm], and the ``document_id`` of the
    picture.
    """

    kind: MarkKind = Field(sa_type=words_of(MarkKind))
    code: Name | None = None
    scheme: Name | None = None
    body_site: Name | None = None
    from_on: Day
    until_on: Day | None = None
    until_reason: Name | None = None
    is_primary: bool = False
    reading: MarkReading | None = Field(default=None, sa_type=words_of(MarkReading))
    reader: Name | None = None
    applied_by: Name | None = None
    view: Name | None = None
    scale_mm: Millimetres | None = None
    document_id: Id | None = Field(default=None, sa_type=UuidColumn)
    note: Note = ""

    @model_validator(mode="after")
    def _has_what_its_kind_needs(self) -> MarkStated:
        if self.kind in CODED and self.code is None:
            raise misstated("code", "this kind of mark has a code", code="required")
        if self.kind is MarkKind.PHOTOGRAPH and self.view is None:
            raise misstated("view", "say which side the photograph shows", code="required")
        if self.kind is MarkKind.OTHER_TRANSPONDER and self.reader is None:
            raise misstated("reader", "say which type of reader this transponder needs", code="required")
        if self.kind in SCHEMED and self.code is not None and self.scheme is None:
            raise misstated("scheme", "say by which scheme the code is read", code="required")
        if self.reading is not None and self.code is None:
            raise misstated("reading", "there is no code that was read")
        if self.until_on is None and self.until_reason is not None:
            raise misstated("until_on", "say until when, or leave the reason out", code="required")
        if self.until_on is not None and self.until_on < self.from_on:
            raise misstated("until_on", "this should not be before from_on")
        return self


class MarkEntered(MarkStated):
    """A mark as it is entered: a code that no scanner read is typed and typed again in ``code_again``, which is not kept."""

    code_again: Name | None = None


class Mark(Record, MarkStated, table=True):
    """A stored mark.

    ``live_key`` is what no other living animal may bear, and empty for what may be borne by several, or is over. ``warning`` is what was
    said about its code when it was recorded. ``closed_by_id`` is the event with which its bearer's life here ended: withdrawn, the mark
    holds again.
    """

    __tablename__ = "mark"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("animal", "animal_id"),
        refers_to("document", "document_id"),
        sa.Index("uq_mark_live_key", "organisation_id", "live_key", unique=True),
        sa.Index(
            "uq_mark_primary",
            "organisation_id",
            "animal_id",
            unique=True,
            sqlite_where=sa.text("is_primary AND ended_on IS NULL"),
            postgresql_where=sa.text("is_primary AND ended_on IS NULL"),
        ),
        sa.Index("ix_mark_animal", "organisation_id", "animal_id"),
        sa.Index("ix_mark_code_key", "organisation_id", "code_key"),
    )
    noun: ClassVar[str] = "mark"

    animal_id: Id = Field(sa_type=UuidColumn)
    code_key: str | None = None
    live_key: str | None = None
    warning: str | None = None
    closed_by_id: Id | None = Field(default=None, sa_type=UuidColumn)
    from_on: date
    until_on: date | None = None

    @property
    def key_among_living(self) -> str | None:
        """What no two living animals may bear; ``None`` where the kind of mark is no such.

        A transponder's code stands for itself, of whatever kind it is. Other codes are compared within one kind and scheme.
        """
        return key_among_living(self, self.code_key)


def key_among_living(stated: MarkStated, code_key: str | None) -> str | None:
    """Return what no two living animals may bear, given a mark and its code's form for comparison."""
    if stated.kind not in CODED or code_key is None:
        return None
    if stated.kind in TRANSPONDERS:
        return code_key
    return " ".join((stated.kind.value, same_name(stated.scheme or ""), code_key))
