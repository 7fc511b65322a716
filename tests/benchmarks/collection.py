"""An invented collection of any size at one site, loaded faster than any service would."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import UUID

import numpy as np
import psycopg
from psycopg.sql import SQL, Identifier

from domain.records.engine import open_store, sqlite_driver
from domain.records.statements import instant_text
from domain.records.unit import Unit
from domain.rules.identifiers import ids_at
from tests import makers
from tests.postgres_server import dsn, url_for

MODELS = 200
RETIRED_SHARE = 0.1
NOT_ON_RECORD_SHARE = 0.01
FIRST_DAY = date(2018, 1, 1)
LAST_DAY = date(2026, 2, 28)
REGISTERED_AT = datetime(2026, 2, 28, 12, 0, tzinfo=UTC)
HOURS_PER_DAY = (6.0, 8.0, 10.5, 12.0, 14.0, 24.0)
REMEMBERED = 1000
CHUNK = 100_000
COLUMNS = (
    "organisation_id", "id", "version", "created_at", "ended_on", "end_reason", "tag", "tag_key", "model_id", "site_id", "position",
    "serial", "installed_on", "run_schedule", "hours_per_day", "counter_at_installation_h", "note",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Collection:
    """A database with items at one site; ``some_ids`` are up to a thousand of those in service, from everywhere in the table."""

    url: str
    items: int
    organisation_id: int
    site_id: UUID
    some_ids: tuple[UUID, ...]


@dataclass(frozen=True, slots=True)
class Place:
    """What items hang on."""

    organisation_id: int
    site_id: UUID
    model_ids: tuple[UUID, ...]


def load(url: str, *, items: int, server_url: str | None) -> Collection:
    """Fill an empty database with items and return what there is. ``server_url`` is the superuser's, on PostgreSQL."""
    place = lay_out(url)
    rows = item_rows(place, count=items)
    if server_url is None:
        some_ids = _into_sqlite(url, rows, step=max(1, items // REMEMBERED))
    else:
        owner = url_for(server_url, database=url.rpartition("/")[2])
        some_ids = _into_postgres(owner, rows, step=max(1, items // REMEMBERED))
    return Collection(url, items, place.organisation_id, place.site_id, some_ids)


def lay_out(url: str) -> Place:
    """Create an organisation with a site and the models, and return them."""
    store = open_store(url, pool_size=1)
    organisation_id = makers.organisation(store)
    with store.transaction(makers.origin()) as unit:
        site = makers.site(unit, name="Reedmere House", zone="UTC")
        models = tuple(_model(unit, number) for number in range(MODELS))
    store.close()
    return Place(organisation_id, site.id, models)


def item_rows(place: Place, *, count: int) -> Iterator[tuple[Any, ...]]:
    """Yield items as rows of ``COLUMNS``, the same for the same count but for their ids."""
    chance = np.random.default_rng(7)
    span = (LAST_DAY - FIRST_DAY).days
    ids = ids_at(REGISTERED_AT)
    for start in range(0, count, CHUNK):
        size = min(CHUNK, count - start)
        models = chance.integers(0, len(place.model_ids), size).tolist()
        days = chance.integers(0, span, size).tolist()
        hours = chance.choice(HOURS_PER_DAY, size).tolist()
        retired = (chance.random(size) < RETIRED_SHARE).tolist()
        dateless = (chance.random(size) < NOT_ON_RECORD_SHARE).tolist()
        hourless = (chance.random(size) < NOT_ON_RECORD_SHARE).tolist()
        for i, number in enumerate(range(start, start + size)):
            tag = f"RE-{number:07}"
            yield (
                place.organisation_id,
                next(ids),
                1,
                REGISTERED_AT,
                LAST_DAY if retired[i] else None,
                "taken out" if retired[i] else None,
                tag,
                tag.lower(),
                place.model_ids[models[i]],
                place.site_id,
                f"{number % 400:03}-A",
                f"S{number:08}",
                None if dateless[i] else FIRST_DAY + timedelta(days=days[i]),
                "[]" if hourless[i] else _schedule(hours[i]),
                None if hourless[i] else hours[i],
                0.0,
                "",
            )


def _model(unit: Unit, number: int) -> UUID:
    """Register a model with an age limit, a limit of hours, or both."""
    lives = (
        {"life_months": 6 + number % 31},
        {"life_hours": 4000.0 + 250 * (number % 50)},
        {"life_months": 12 + number % 25, "life_hours": 5000.0 + 500 * (number % 40)},
        {"life_weeks": 26 + number % 120, "life_hours": 8000.0 + 300 * (number % 60)},
    )
    stated: dict[str, Any] = lives[number % len(lives)]
    return makers.model(unit, name=f"Halden lamp {number:03}", warn_days=7 + number % 30, **stated).id


def _schedule(hours_per_day: float) -> str:
    return json.dumps([{"hours_per_day": hours_per_day, "seasons": [], "starts_on": None}], separators=(",", ":"))


def _into_sqlite(url: str, rows: Iterator[tuple[Any, ...]], *, step: int) -> tuple[UUID, ...]:
    some_ids: list[UUID] = []
    connection = sqlite_driver().connect(url.removeprefix("sqlite:///"), isolation_level=None)
    for pragma in ("journal_mode=WAL", "synchronous=OFF", "foreign_keys=OFF", "cache_size=-262144"):
        connection.execute(f"PRAGMA {pragma}").fetchall()
    insert = f"INSERT INTO equipment ({', '.join(COLUMNS)}) VALUES ({', '.join('?' * len(COLUMNS))})"  # noqa: S608 - own words
    connection.execute("BEGIN")
    connection.executemany(insert, (_sqlite_row(row) for row in _remembering(rows, some_ids, step=step)))
    connection.execute("COMMIT")
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
    connection.close()
    return tuple(some_ids)


def _sqlite_row(row: tuple[Any, ...]) -> tuple[Any, ...]:
    return tuple(_sqlite_value(value) for value in row)


def _sqlite_value(value: Any) -> Any:
    if isinstance(value, UUID):
        return value.bytes
    if isinstance(value, datetime):
        return instant_text(value)
    return value.isoformat() if isinstance(value, date) else value


def _into_postgres(url: str, rows: Iterator[tuple[Any, ...]], *, step: int) -> tuple[UUID, ...]:
    some_ids: list[UUID] = []
    columns = SQL(", ").join(map(Identifier, COLUMNS))
    with psycopg.connect(dsn(url), autocommit=True) as connection:
        # The references are right by construction, and looking them up row by row would take most of the time.
        connection.execute("SET session_replication_role = replica")
        with connection.cursor().copy(SQL("COPY equipment ({}) FROM STDIN").format(columns)) as copy:
            for row in _remembering(rows, some_ids, step=step):
                copy.write_row(row)
        connection.execute("VACUUM (ANALYZE)")
        connection.execute("CHECKPOINT")
    return tuple(some_ids)


def _remembering(rows: Iterator[tuple[Any, ...]], some_ids: list[UUID], *, step: int) -> Iterator[tuple[Any, ...]]:
    for number, row in enumerate(rows):
        if number % step == 0 and row[4] is None:
            some_ids.append(row[1])
        yield row
