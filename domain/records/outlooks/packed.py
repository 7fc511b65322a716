"""The columns that nearly every item has, packed by the database: all cells of a column in one value.

Handing over a million rows one by one costs more than judging them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

import msgspec
import numpy as np
import numpy.typing as npt
import sqlalchemy as sa

from domain.records.outlooks.scopes import HAS_EXTRAS, IN_SERVICE_AT_SITE, ITEM
from domain.records.statements import DialectName, Statement
from domain.records.unit import Unit
from domain.rules.calendar import Days


def _following(*cells: sa.ColumnElement[Any]) -> Any:  # noqa: ANN401 - the columns of a subquery
    """Return the columns of the next items of a site: what was asked for, and whether each has anything beside the columns."""
    return (
        sa.select(*cells, HAS_EXTRAS.label("extras"), ITEM.c.organisation_id)
        .where(*IN_SERVICE_AT_SITE, ITEM.c.id >= sa.bindparam("first"))
        .order_by(ITEM.c.id)
        .limit(sa.bindparam("size"))
        .subquery()
        .c
    )


def _packed_on_postgres() -> Statement:
    """Each column's cells in binary, one after the other; no date is minus infinity, no hours are not a number."""
    following = _following(
        ITEM.c.id,
        ITEM.c.model_id,
        sa.func.coalesce(ITEM.c.installed_on, sa.literal_column("'-infinity'::date")).label("installed"),
        sa.func.coalesce(ITEM.c.hours_per_day, sa.literal_column("'NaN'::float8")).label("hours"),
    )
    cells = (
        sa.func.uuid_send(following.id),
        sa.func.uuid_send(following.model_id),
        sa.func.date_send(following.installed),
        sa.func.float8send(following.hours),
    )
    packed = [sa.func.string_agg(cell, sa.literal_column("''::bytea")) for cell in cells]
    return Statement(sa.select(*packed, sa.func.bool_or(following.extras)))


def _packed_on_sqlite() -> Statement:
    """Ids as bytes and dates as text, one after the other; hours as a JSON list, in which a number keeps all its digits.

    A cast between blob and text keeps the bytes, as the database's encoding is UTF-8.
    """
    following = _following(
        ITEM.c.id,
        ITEM.c.model_id,
        sa.func.coalesce(ITEM.c.installed_on, sa.literal_column("'0000-00-00'")).label("installed"),
        ITEM.c.hours_per_day,
    )
    nothing: sa.ColumnElement[str] = sa.literal_column("''")
    ids = [sa.cast(sa.func.group_concat(sa.cast(one, sa.Text), nothing), sa.LargeBinary) for one in (following.id, following.model_id)]
    return Statement(
        sa.select(
            *ids,
            sa.func.group_concat(following.installed, nothing),
            sa.func.json_group_array(following.hours_per_day),
            sa.func.max(following.extras),
        )
    )


_PACKED: Mapping[DialectName, Statement] = {"postgresql": _packed_on_postgres(), "sqlite": _packed_on_sqlite()}

_PACKED_EPOCH = np.datetime64("2000-01-01", "D")
"""The day that PostgreSQL's binary dates count from."""
_PACKED_NO_DATE = -(2**31)
_ID_BYTES = 16


@dataclass(frozen=True, slots=True)
class Columns:
    """What nearly every item has, one array each. ``has_extras``: some of the items may have more than that."""

    ids: npt.NDArray[np.void]
    model_ids: npt.NDArray[np.void]
    installed: Days
    hours: npt.NDArray[np.float64]
    has_extras: bool


def site_columns(unit: Unit, site_id: UUID, *, on: date, size: int) -> Iterator[Columns]:
    """Yield the columns of a site's items in the order of their ids."""
    compiled = unit.compiled(_PACKED[unit.dialect])
    connection = unit.cursor.connection
    cursor: Any = connection.cursor(binary=True) if unit.dialect == "postgresql" else connection.cursor()
    asked = {"organisation_id": unit.organisation_id, "site_id": site_id, "on": on, "size": size}
    first, beyond = 0, 1 << 128
    while first < beyond:
        cursor.execute(compiled.sql, compiled.bound({**asked, "first": UUID(int=first)}))
        [(ids, *others)] = compiled.own(cursor.fetchall(), unit.organisation_id)
        if ids is None:
            break
        yield _UNPACKED[unit.dialect](ids, *others)
        full = len(ids) == size * _ID_BYTES
        first = int.from_bytes(ids[-_ID_BYTES:], "big") + 1 if full else beyond
    cursor.close()


def _unpacked_postgres(ids: bytes, model_ids: bytes, installed: bytes, hours: bytes, has_extras: bool) -> Columns:  # noqa: FBT001 - a column
    days = np.frombuffer(installed, dtype=">i4").astype(np.int64)
    return Columns(
        np.frombuffer(ids, dtype="V16"),
        np.frombuffer(model_ids, dtype="V16"),
        np.where(days == _PACKED_NO_DATE, np.datetime64("NaT", "D"), _PACKED_EPOCH + days.astype("timedelta64[D]")),
        np.frombuffer(hours, dtype=">f8").astype(np.float64),
        has_extras,
    )


def _unpacked_sqlite(ids: bytes, model_ids: bytes, installed: str, hours: str, has_extras: int) -> Columns:
    return Columns(
        np.frombuffer(ids, dtype="V16"),
        np.frombuffer(model_ids, dtype="V16"),
        _days_of(installed),
        np.array(msgspec.json.decode(hours, type=list[float | None]), dtype=np.float64),
        bool(has_extras),
    )


def _days_of(dates: str) -> Days:
    """Return dates that stand one after the other as YYYY-MM-DD; 0000-00-00 is none."""
    digits = np.frombuffer(dates.encode(), dtype=np.uint8).reshape(-1, 10).astype(np.int64) - ord("0")
    years, months = digits[:, :4] @ [1000, 100, 10, 1], digits[:, 5:7] @ [10, 1]
    starts = (12 * (years - 1970) + months - 1).astype("datetime64[M]").astype("datetime64[D]")
    days = starts + (digits[:, 8:] @ [10, 1] - 1).astype("timedelta64[D]")
    return np.where(years == 0, np.datetime64("NaT", "D"), days)


_UNPACKED: Mapping[DialectName, Callable[..., Columns]] = {"postgresql": _unpacked_postgres, "sqlite": _unpacked_sqlite}


def as_columns(rows: Sequence[Sequence[Any]]) -> Columns:
    """Return rows of id, model id (both as bytes), installation date, hours a day and whether there is more, as columns."""
    ids, model_ids, installed, hours, has_extras = zip(*rows, strict=True)
    return Columns(
        np.frombuffer(b"".join(ids), dtype="V16"),
        np.frombuffer(b"".join(model_ids), dtype="V16"),
        np.array(installed, dtype="datetime64[D]"),
        np.array(hours, dtype=np.float64),
        any(has_extras),
    )
