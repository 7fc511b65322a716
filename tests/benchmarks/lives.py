"""Invented animals and groups of any number, each with ten placements and a life, loaded faster than any service would."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import UUID

import numpy as np
import psycopg
from psycopg.sql import SQL, Identifier

from domain.records.animals import Animal, AnimalEvent, AnimalState, Placement
from domain.records.base import Record, columns_of
from domain.records.engine import open_store, sqlite_driver
from domain.records.statements import instant_text
from domain.rules.identifiers import ids_at
from domain.rules.lives import ADDING, Event, EventKind, Grouping, Life, LifeStage, Sex, life_of
from tests import makers
from tests.postgres_server import dsn, url_for

SITES, ENCLOSURES_OF_SITE, TAXA = 4, 100, 300
PLACEMENTS = 10
GROUPS_SHARE, GONE_SHARE, AWAY_SHARE, TO_ANOTHER_SITE_SHARE = 0.1, 0.3, 0.05, 0.1
FIRST_DAY, LAST_DAY = date(2014, 1, 1), date(2026, 2, 28)
LATEST_ARRIVAL_DAYS = 3000
APART_DAYS = 3
"""The fewest days between two turns of a life."""
REGISTERED_AT = datetime(2026, 2, 28, 12, 0, tzinfo=UTC)
CHUNK = 20_000
LOADED: tuple[type[Record], ...] = (Animal, AnimalEvent, AnimalState, Placement)
_SEXES = (Sex.FEMALE, Sex.MALE, Sex.UNKNOWN)
_STAGES = (LifeStage.JUVENILE, LifeStage.SUBADULT, LifeStage.ADULT)
_OF_GROUPS = (EventKind.BORN, EventKind.DIED, EventKind.COUNTED)


@dataclass(frozen=True, slots=True)
class Lives:
    """A database with animals at several sites."""

    url: str
    animals: int
    organisation_id: int
    site_ids: tuple[UUID, ...]


@dataclass(frozen=True, slots=True)
class Ground:
    """What animals live on: ``enclosure_ids`` are those of each site in turn."""

    organisation_id: int
    site_ids: tuple[UUID, ...]
    enclosure_ids: tuple[UUID, ...]
    taxon_ids: tuple[UUID, ...]


def load_lives(url: str, *, animals: int, server_url: str | None) -> Lives:
    """Fill an empty database with animals and return what there is. ``server_url`` is the superuser's, on PostgreSQL."""
    ground = lay_ground(url)
    chunks = rows_of_lives(ground, animals=animals)
    if server_url is None:
        _into_sqlite(url, chunks)
    else:
        _into_postgres(url_for(server_url, database=url.rpartition("/")[2]), chunks)
    return Lives(url, animals, ground.organisation_id, ground.site_ids)


def lay_ground(url: str) -> Ground:
    """Create an organisation with its sites, enclosures and taxa, and return them."""
    store = open_store(url, pool_size=1)
    organisation_id = makers.organisation(store)
    with store.transaction(makers.origin()) as unit:
        sites = [makers.site(unit, name=f"House {number}", zone="UTC") for number in range(SITES)]
        places = [makers.enclosure(unit, at, name=f"Hall {number:03}").id for at in sites for number in range(ENCLOSURES_OF_SITE)]
        taxa = [makers.taxon(unit, f"Testudo fictiva{_letters(number).lower()}").id for number in range(TAXA)]
    store.close()
    return Ground(organisation_id, tuple(one.id for one in sites), tuple(places), tuple(taxa))


def rows_of_lives(ground: Ground, *, animals: int) -> Iterator[dict[type[Record], list[dict[str, Any]]]]:
    """Yield the rows of animals, some at a time, the same for the same number but for their ids."""
    chance = np.random.default_rng(11)
    ids = ids_at(REGISTERED_AT)
    for start in range(0, animals, CHUNK):
        chunk: dict[type[Record], list[dict[str, Any]]] = {record: [] for record in LOADED}
        for number in range(start, min(start + CHUNK, animals)):
            _add_life(chunk, ground, number=number, chance=chance, ids=ids)
        yield chunk


def _add_life(
    chunk: dict[type[Record], list[dict[str, Any]]], ground: Ground, *, number: int, chance: np.random.Generator, ids: Iterator[UUID]
) -> None:
    animal_id = next(ids)
    group, gone, away = chance.random(3) < (GROUPS_SHARE, GONE_SHARE, AWAY_SHARE)
    grouping = Grouping.GROUP if group else Grouping.INDIVIDUAL
    came_on = FIRST_DAY + timedelta(days=int(chance.integers(0, LATEST_ARRIVAL_DAYS)))
    later = np.sort(chance.choice(np.arange(1, (LAST_DAY - came_on).days // APART_DAYS), PLACEMENTS + 1, replace=False)) * APART_DAYS
    *turns, left_on = [came_on + timedelta(days=int(days)) for days in later]
    events = _events(chance, ids, came_on=came_on, turns=turns, group=bool(group))
    if gone:
        took = EventKind.DIED if chance.random() < 0.7 else EventKind.DEPARTED
        here = life_of(events, grouping=grouping).number
        events.append(Event(id=next(ids), kind=took, on=left_on, told_at=REGISTERED_AT, number=here))
    if away:
        # Between two placements it is away, and in none.
        spans = ((EventKind.SENT_AWAY, turns[3] - timedelta(days=2)), (EventKind.CAME_BACK, turns[3]))
        events += [Event(id=next(ids), kind=kind, on=on, told_at=REGISTERED_AT) for kind, on in spans]
    life = life_of(events, grouping=grouping)
    facts = {"organisation_id": ground.organisation_id, "version": 1, "created_at": REGISTERED_AT, "animal_id": animal_id}
    chunk[AnimalEvent] += (_event_row(facts, one, life) for one in events)
    chunk[AnimalState] += (
        {**facts, "id": next(ids), **{name: getattr(one, name) for name in ("from_on", "until_on", "status", "sex", "life_stage")}}
        for one in life.states
    )
    until = [*(day - timedelta(days=1) for day in turns[1:]), left_on if gone else None]
    if away:
        until[2] = turns[3] - timedelta(days=2)
    places = _places(chance, ground)
    chunk[Placement] += (
        {**facts, "id": next(ids), "enclosure_id": place, "from_on": first, "until_on": last, "fitness": "null", "note": ""}
        for place, first, last in zip(places, [came_on, *turns[1:]], until, strict=True)
    )
    chunk[Animal].append(_animal_row(facts, life, ground, number=number, grouping=grouping, place=places[-1], chance=chance))


def _events(chance: np.random.Generator, ids: Iterator[UUID], *, came_on: date, turns: Sequence[date], group: bool) -> list[Event]:
    born = chance.random() < 0.5
    sex = Sex.UNKNOWN if group else _SEXES[int(chance.integers(0, 3))]
    told = {"told_at": REGISTERED_AT}
    came = EventKind.BORN if born else EventKind.ACQUIRED
    events = [Event(id=next(ids), kind=came, on=came_on, number=200 if group else 1, life_stage=_STAGES[0], **told)]
    events += [
        Event(id=next(ids), kind=EventKind.STAGED, on=day, life_stage=stage, **told)
        for stage, day in zip(_STAGES[1:], turns[1:5:3], strict=True)
    ]
    if sex is not Sex.UNKNOWN:
        events.append(Event(id=next(ids), kind=EventKind.SEXED, on=turns[2], sex=sex, **told))
    if group:
        for turn, day in enumerate(turns[4:]):
            kind = _OF_GROUPS[turn % 3]
            number = int(chance.integers(150, 250)) if kind is EventKind.COUNTED else int(chance.integers(1, 12))
            events.append(Event(id=next(ids), kind=kind, on=day, number=number, **told))
    return events


def _places(chance: np.random.Generator, ground: Ground) -> list[UUID]:
    site = int(chance.integers(0, SITES))
    found: list[UUID] = []
    for elsewhere in chance.random(PLACEMENTS) < TO_ANOTHER_SITE_SHARE:
        site = (site + 1) % SITES if elsewhere else site
        found.append(ground.enclosure_ids[site * ENCLOSURES_OF_SITE + int(chance.integers(0, ENCLOSURES_OF_SITE))])
    return found


def _event_row(facts: dict[str, Any], one: Event, life: Life) -> dict[str, Any]:
    return {
        **facts,
        "id": one.id,
        "kind": one.kind,
        "happened_on": one.on,
        "number": one.number,
        "sex": one.sex,
        "life_stage": one.life_stage,
        "basis": "purchase" if one.kind in ADDING else None,
        "note": "",
        "change": life.changes[one.id],
        "fitness": "null",
    }


def _animal_row(
    facts: dict[str, Any], life: Life, ground: Ground, *, number: int, grouping: Grouping, place: UUID, chance: np.random.Generator
) -> dict[str, Any]:
    tag = f"RA-{number:06}"
    return {
        **{name: value for name, value in facts.items() if name != "animal_id"},
        "id": facts["animal_id"],
        "taxon_id": ground.taxon_ids[int(chance.integers(0, TAXA))],
        "tag": tag,
        "tag_key": tag.lower(),
        "grouping": grouping,
        "hatched_precision": "day",
        "origin": "captive_bred",
        "note": "",
        "enclosure_id": place,
        "count": life.number,
        "estimated": life.estimated,
        "sex": life.now.sex,
        "life_stage": life.now.life_stage,
        "status": life.now.status,
        "came_on": life.states[0].from_on,
        "ended_on": life.ended_on,
        "end_reason": None if life.ended_on is None else "died",
    }


def _letters(number: int) -> str:
    return chr(ord("a") + number // 26) + chr(ord("a") + number % 26)


def _into_sqlite(url: str, chunks: Iterator[dict[type[Record], list[dict[str, Any]]]]) -> None:
    connection = sqlite_driver().connect(url.removeprefix("sqlite:///"), isolation_level=None)
    for pragma in ("journal_mode=WAL", "synchronous=OFF", "foreign_keys=OFF", "cache_size=-262144"):
        connection.execute(f"PRAGMA {pragma}").fetchall()
    connection.execute("BEGIN")
    for chunk in chunks:
        for record, rows in chunk.items():
            names = columns_of(record)
            quoted, marks = ", ".join(f'"{name}"' for name in names), ", ".join("?" * len(names))
            insert = f"INSERT INTO {record.noun} ({quoted}) VALUES ({marks})"  # noqa: S608 - own words
            connection.executemany(insert, ([_sqlite_value(row.get(name)) for name in names] for row in rows))
    connection.execute("COMMIT")
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
    connection.close()


def _sqlite_value(value: Any) -> Any:
    if isinstance(value, UUID):
        return value.bytes
    if isinstance(value, datetime):
        return instant_text(value)
    return value.isoformat() if isinstance(value, date) else value


def _into_postgres(url: str, chunks: Iterator[dict[type[Record], list[dict[str, Any]]]]) -> None:
    with psycopg.connect(dsn(url), autocommit=True) as connection:
        # The references are right by construction, and looking them up row by row would take most of the time.
        connection.execute("SET session_replication_role = replica")
        for chunk in chunks:
            for record, rows in chunk.items():
                names = columns_of(record)
                into = SQL("COPY {} ({}) FROM STDIN").format(Identifier(record.noun), SQL(", ").join(map(Identifier, names)))
                with connection.cursor().copy(into) as copy:
                    for row in rows:
                        copy.write_row([row.get(name) for name in names])
        connection.execute("VACUUM (ANALYZE)")
        connection.execute("CHECKPOINT")
