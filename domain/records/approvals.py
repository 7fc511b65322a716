"""Approvals: what law or safety wants two people for, asked by one and given by another."""

from __future__ import annotations

from datetime import datetime
from typing import ClassVar

from sqlmodel import Field

from domain.records.base import Record, Stated, owned_by_organisation
from domain.records.columns import Id, InstantColumn, Name, UuidColumn


class ApprovalStated(Stated):
    """What a second person is asked for: an action, and the record that it is to be done to."""

    action: Name
    subject_id: Id = Field(sa_type=UuidColumn)
    why: Name


class Approval(Record, ApprovalStated, table=True):
    """A stored approval. It is good once, until it expires."""

    __tablename__ = "approval"
    __table_args__ = (owned_by_organisation(),)
    noun: ClassVar[str] = "approval"

    asked_by: str = Field(max_length=64)
    given_by: str | None = Field(default=None, max_length=64)
    given_at: datetime | None = Field(default=None, sa_type=InstantColumn)
    expires_at: datetime = Field(sa_type=InstantColumn)
    used_at: datetime | None = Field(default=None, sa_type=InstantColumn)
