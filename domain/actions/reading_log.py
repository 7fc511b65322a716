"""The reading log: who read what is sensitive, or took a file away. It is in no chain, and kept as long as a rule says."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

import sqlalchemy as sa

from domain.records.base import row_of, table_of
from domain.records.journal import ReadingLog
from domain.records.statements import Statement
from domain.records.unit import Unit

KIND = "reading_log"
"""What rules and holds call it; it is no kind of record."""

_log = table_of(ReadingLog)
KEEP_READING = Statement(sa.insert(_log))
FORGET_READINGS = Statement(
    sa.delete(_log).where(
        _log.c.organisation_id == sa.bindparam("at_organisation_id", type_=sa.BigInteger()), _log.c.at < sa.bindparam("before")
    )
)


def log_reading(unit: Unit, action: str, *, subject_id: UUID | None) -> None:
    """Write down that the origin of a unit read something; ``subject_id`` is the record that was named, if one was."""
    origin = unit.origin
    row = ReadingLog(
        organisation_id=origin.organisation_id,
        id=unit.new_id(),
        at=origin.at,
        actor=origin.actor,
        credential=origin.credential,
        on_behalf_of=origin.on_behalf_of,
        request_id=origin.request_id,
        action=action,
        subject_id=subject_id,
    )
    unit.run(KEEP_READING, **row_of(row))


def forget_readings(unit: Unit, *, before: datetime) -> int:
    """Delete what was written down before an instant, and return how much it was. Needs the role that owns the tables."""
    return unit.run(FORGET_READINGS, at_organisation_id=unit.organisation_id, before=before)
