"""Serving an item of equipment, against a bare handler on the same driver: the server's processor time for each request."""

from __future__ import annotations

import json
import random
from contextlib import closing
from dataclasses import dataclass, field
from typing import Any

import pytest
import sqlalchemy as sa

from api.signin import key_text, new_key_parts
from domain.actions.organisations import create_key
from domain.actions.verify import prove
from domain.records.base import table_of
from domain.records.engine import open_store
from domain.records.equipment import Equipment
from domain.records.organisations import Access, ApiKeyStated, Idempotency
from domain.records.statements import Statement, json_text
from tests import makers
from tests.benchmarks.collection import COLUMNS, item_rows, lay_out
from tests.benchmarks.figures import Figure, median
from tests.benchmarks.http_client import request, serving

pytestmark = [pytest.mark.benchmark, pytest.mark.timeout(1800)]

ITEMS = 10_000
GETS, LISTS, WRITES = 3000, 600, 800
ROUNDS = 3
TARGETS = {"GET one": 0.45, "list of 100": 0.6, "POST": 0.35, "PATCH": 0.35}

_item, _kept = table_of(Equipment), table_of(Idempotency)
_own = _item.c.organisation_id == sa.bindparam("organisation_id")
KEPT_ITEMS = Statement(
    sa.select(_item.c.id, _item.c.model_id, _item.c.site_id).where(_own, _item.c.ended_on.is_(None)).order_by(_item.c.id)
)
COUNTED = [
    column
    for column in _item.columns
    if column.name not in {"id", "created_at"}  # what each database made by itself
]
ALL_ITEMS = Statement(sa.select(*COUNTED).where(_own).order_by(_item.c.tag, _item.c.version))
IDEMPOTENCY_ROWS = Statement(
    sa.select(_kept.c.key, _kept.c.request_sha256, _kept.c.status)
    .where(_kept.c.organisation_id == sa.bindparam("organisation_id"))
    .order_by(_kept.c.key)
)


@dataclass
class Served:
    """What both sides took for one kind of request, round by round [µs of processor time]."""

    ours: list[float] = field(default_factory=list)
    limit: list[float] = field(default_factory=list)


@dataclass(frozen=True)
class Setup:
    """A database to be served: the key to sign in with, and its items in service (id, model, site)."""

    url: str
    key: str
    items: list[tuple[Any, ...]]


def test_serving_and_the_raw_handler_give_the_same_answers_and_leave_the_same_records(house, figures):
    setup = prepared(house.new())
    raw_url = house.copy(setup.url)
    taken = {name: Served() for name in TARGETS}
    with serving("service", setup.url) as service, serving("raw", raw_url) as raw:
        for number in range(ROUNDS + 1):
            for name, requests in requests_of_round(setup, number).items():
                limit, ours = raw.round(requests), service.round(requests)
                wanted = 201 if name == "POST" else 200
                assert set(ours.statuses) == set(limit.statuses) == {wanted}, name
                assert [comparable(name, body) for body in ours.bodies] == [comparable(name, body) for body in limit.bodies]
                if number > 0:
                    taken[name].ours.append(ours.cpu_us)
                    taken[name].limit.append(limit.cpu_us)

    ours, limit = left_behind(setup.url), left_behind(raw_url)
    assert ours == limit
    assert len(ours["idempotency"]) == (ROUNDS + 1) * WRITES
    assert ours["flaws"] == []
    for name, served in taken.items():
        our_us, limit_us = median(served.ours), median(served.limit)
        figures.add(
            Figure(
                name, house.name, f"{our_us:.0f} µs", f"{limit_us:.0f} µs", ratio=limit_us / our_us, target=TARGETS[name],
                note="server's processor time a request; limit: bare ASGI on the driver",
            )
        )  # fmt: skip


def comparable(name, body):
    """Return an answer without what differs by chance: a new item's id."""
    if name != "POST":
        return body
    shown = json.loads(body)
    del shown["id"]
    return shown


def requests_of_round(setup, number):
    """Return the requests of one round by kind; the first round is for warming up. Each item is patched once in a round."""
    chance = random.Random(number)  # noqa: S311 - not a secret
    read = [request("GET", f"/v1/equipment/{chance.choice(setup.items)[0]}", key=setup.key) for _ in range(GETS)]
    listed = [request("GET", "/v1/equipment?limit=100", key=setup.key)] * LISTS
    return {
        "GET one": read,
        "list of 100": listed,
        "POST": [new_item(setup, number, count) for count in range(WRITES)],
        "PATCH": [correction(setup, number, count) for count in range(WRITES)],
    }


def new_item(setup, number, count):
    _, model_id, site_id = setup.items[count]
    stated = {
        "tag": f"NEW-{number}-{count}",
        "model_id": str(model_id),
        "site_id": str(site_id),
        "position": f"{count % 300:03}-B",
        "serial": f"N{count:06}",
        "installed_on": "2026-02-14",
        "run_schedule": [{"hours_per_day": 12.0}],
    }
    headers = {"content-type": "application/json", "idempotency-key": f"new-{number}-{count}"}
    return request("POST", "/v1/equipment", key=setup.key, headers=headers, body=json.dumps(stated).encode())


def correction(setup, number, count):
    headers = {"content-type": "application/merge-patch+json", "if-match": f'"{number + 1}"'}
    body = json.dumps({"position": f"{number:03}-{count}"}).encode()
    return request("PATCH", f"/v1/equipment/{setup.items[count][0]}", key=setup.key, headers=headers, body=body)


def prepared(url):
    """Fill an empty database with items, each with its journal entry, and a key that may write."""
    place = lay_out(url)
    store = open_store(url, pool_size=1)
    public_id, secret = new_key_parts()
    blank = dict.fromkeys(column.name for column in _item.columns)
    with closing(store):
        with store.transaction(makers.origin()) as unit:
            create_key(unit, ApiKeyStated(name="benchmark", access=Access.WRITE), public_id=public_id, secret=secret)
            rows = [blank | dict(zip(COLUMNS, row, strict=True)) for row in item_rows(place, count=ITEMS)]
            unit.add_many(
                Equipment, [{**row, "run_schedule": json.loads(row["run_schedule"])} for row in rows], action="register_equipment"
            )
        with store.snapshot(makers.origin()) as unit:
            items = unit.rows(KEPT_ITEMS)
    return Setup(url, key_text(public_id, secret), items)


def left_behind(url):
    """Return what a database holds when the rounds are over, and every flaw that its journal shows."""
    with closing(open_store(url, pool_size=1)) as store, store.snapshot(makers.origin()) as unit:
        proof = prove(unit)
        return {
            "items": [json_text(row) for row in unit.named(ALL_ITEMS)],
            "idempotency": unit.rows(IDEMPOTENCY_ROWS),
            "entries": proof.entries,
            "flaws": [flaw.sentence for flaw in proof.flaws],
        }
