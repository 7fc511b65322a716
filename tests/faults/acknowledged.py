"""Keepers who write over HTTP and remember what was confirmed to them; and the comparison of that with what is on record."""

from __future__ import annotations

import random
import threading
import time
from dataclasses import dataclass
from itertools import count
from typing import Any
from uuid import UUID

import msgspec
import sqlalchemy as sa

from domain.actions.verify import prove
from domain.records.base import table_of
from domain.records.engine import Store
from domain.records.equipment import Equipment
from domain.records.organisations import Idempotency
from domain.records.statements import Statement
from tests import makers
from tests.faults.serving import Answer, Line, Service

SPARES = 100_000
INSTALLED_ON = "2026-02-01"
_kept = table_of(Idempotency)
_item = table_of(Equipment)
KEPT_ANSWERS = Statement(
    sa.select(_kept.c.key, _kept.c.status, _kept.c.body).where(_kept.c.organisation_id == sa.bindparam("organisation_id"))
)
ITEMS = Statement(sa.select(_item.c.id).where(_item.c.organisation_id == sa.bindparam("organisation_id")))


@dataclass(frozen=True)
class Sent:
    """A request that has no answer yet; ``path`` is what it is about, ``act`` is what is done to it."""

    act: str
    path: str
    body: dict[str, Any]
    headers: dict[str, str]

    @property
    def target(self) -> str:
        return {"register": "/v1/equipment", "end": f"{self.path}/end", "replace": f"{self.path}/replacement"}.get(self.act, self.path)

    @property
    def method(self) -> str:
        return "PATCH" if self.act == "change" else "POST"


class Keeper:
    """Somebody with a shelf of spares of one model, who does one thing after the other at one site."""

    def __init__(self, name: str, *, key: str, place: dict[str, str], seed: int) -> None:
        self.name = name
        self.known: dict[str, dict[str, Any]] = {}
        self.settled: list[str] = []
        self.surprises: list[str] = []
        self.refused = 0
        self._key = key
        self._place = place
        self._chance = random.Random(seed)  # noqa: S311 - repeatable, not secret
        self._numbers = count()
        self._pending: Sent | None = None
        self._in_use: list[str] = []
        self._taken = 0

    def work(self, port: int, *, until: threading.Event) -> None:
        """Do things until the service is gone, or ``until`` says that it is enough."""
        line = Line(port, self._key)
        try:
            while not until.is_set() and not self.surprises:
                self._pending = self._pending or self._next()
                self._try(line)
        except ConnectionError:
            return
        finally:
            line.close()

    def settle(self, port: int) -> None:
        """Find out what became of the request that was under way, by sending it again."""
        line = Line(port, self._key)
        last_at = time.monotonic() + 20
        while self._pending is not None and not self.surprises and time.monotonic() < last_at:
            self._try(line)
        line.close()

    def _try(self, line: Line) -> None:
        sent = self._pending
        answer = line.send(sent.method, sent.target, body=sent.body, headers=sent.headers)
        if answer.status == 503:
            self.refused += 1
            time.sleep(0.02)
        elif answer.status < 300:
            self._learn(sent, answer)
            self._pending = None
        elif answer.status == 412 and sent.act == "change":
            self._look(line, sent)
        else:
            self.surprises.append(f"{sent} was answered {answer.status} {answer.body}")

    def _look(self, line: Line, sent: Sent) -> None:
        """A change without an answer, sent again, has been made already: then it is the next version, and as it was asked for."""
        found = line.send("GET", sent.path)
        before = self.known[sent.path]["version"]
        if found.status == 503:
            return
        if (found.body.get("version"), found.body.get("note")) != (before + 1, sent.body["note"]):
            self.surprises.append(f"{sent} left {found.body}")
        self.known[sent.path] = found.body
        self._pending = None

    def _next(self) -> Sent:
        number = next(self._numbers)
        headers = {"Idempotency-Key": f"{self.name}-{number}"}
        if len(self._in_use) < 3:
            body = {"tag": f"{self.name}-{number}", "installed_on": "2026-01-01", **self._place}
            return Sent("register", "", body, headers)
        path = self._chance.choice(self._in_use)
        act = self._chance.choice(("register", "change", "change", "end", "replace", "replace"))
        if act == "register":
            return Sent(act, "", {"tag": f"{self.name}-{number}", "installed_on": "2026-01-01", **self._place}, headers)
        if act == "change":
            return Sent(act, path, {"note": f"note {number}"}, {"If-Match": f'"{self.known[path]["version"]}"'})
        if act == "end":
            return Sent(act, path, {"reason": "worn out"}, headers)
        return Sent(act, path, {"installed_on": INSTALLED_ON, "reason": "worn out", "tag": f"{self.name}-{number}"}, headers)

    def _learn(self, sent: Sent, answer: Answer) -> None:
        made = f"/v1/equipment/{answer.body['id']}"
        if sent.act == "replace":
            self._taken += 1
            self.known[sent.path] = {"version": self.known[sent.path]["version"] + 1, "ended_on": INSTALLED_ON}
        if sent.act in {"end", "replace"}:
            self._in_use.remove(sent.path)
        if sent.act in {"register", "replace"}:
            if made in self.known:
                self.surprises.append(f"{sent} was answered with a record that was there")
            self._in_use.append(made)
        self.known[made] = answer.body

    @property
    def taken(self) -> int:
        """How many spares were taken from the shelf."""
        return self._taken


def crew(store: Store, key: str, *, keepers: int, organisation_id: int = makers.ORGANISATION) -> list[Keeper]:
    """Return keepers, each with a site of their own."""
    made = []
    for number in range(keepers):
        with store.transaction(makers.origin(organisation_id=organisation_id)) as unit:
            site = makers.site(unit, name=f"Site {number}")
            model = makers.model(unit, name=f"Lamp {number}")
            makers.spare(unit, model, site, on_hand=SPARES)
        place = {"site_id": str(site.id), "model_id": str(model.id)}
        made.append(Keeper(f"K{number}", key=key, place=place, seed=number))
    return made


def all_work(keepers: list[Keeper], port: int, *, until: threading.Event) -> list[threading.Thread]:
    """Have the keepers begin, and return their threads."""
    threads = [threading.Thread(target=one.work, args=(port,), kwargs={"until": until}) for one in keepers]
    for thread in threads:
        thread.start()
    return threads


def faults_found(service: Service, store: Store, keepers: list[Keeper], *, key: str) -> list[str]:
    """Compare everything that was confirmed with what is on record, and return what is not as it was confirmed."""
    for one in keepers:
        one.settle(service.port)
    faults = [surprise for one in keepers for surprise in one.surprises]
    shown = _shown(service.port, key, "/v1/equipment")
    known = {path: facts for one in keepers for path, facts in one.known.items()}
    for path, facts in known.items():
        found = shown.pop(path.rpartition("/")[2], None)
        if found is None or {name: found[name] for name in facts} != facts:
            faults.append(f"{path} was confirmed as {facts} and is {found}")
    faults += [f"{one} is on record and was never asked for" for one in shown]
    on_hand = sorted(one["on_hand"] for one in _shown(service.port, key, "/v1/spares").values())
    if on_hand != (expected := sorted(SPARES - one.taken for one in keepers)):
        faults.append(f"on the shelves are {on_hand}, not {expected}")
    return faults + _flaws_in(store)


def _shown(port: int, key: str, path: str) -> dict[str, dict[str, Any]]:
    line = Line(port, key)
    shown: dict[str, dict[str, Any]] = {}
    following = f"{path}?ended=any&limit=200"
    while following:
        answer = line.send("GET", following)
        assert answer.status == 200, answer
        shown.update({one["id"]: one for one in answer.body["items"]})
        link = answer.headers.get("link", "")
        following = link[1:].partition(">")[0] if 'rel="next"' in link else ""
    line.close()
    return shown


def _flaws_in(store: Store) -> list[str]:
    """Return what is wrong with the journal, and which kept answers have no effect."""
    with store.snapshot(makers.origin()) as unit:
        flaws = [flaw.sentence for flaw in prove(unit).flaws]
        items = {row[0] for row in unit.rows(ITEMS)}
        for key, status, body in unit.rows(KEPT_ANSWERS):
            if status not in {200, 201} or UUID(msgspec.json.decode(bytes(body))["id"]) not in items:
                flaws.append(f"the kept answer of {key} has no effect")
    if store.dialect == "sqlite":
        connection = store.connect()
        flaws += [f"the file: {row[0]}" for row in connection.execute("PRAGMA integrity_check").fetchall() if row[0] != "ok"]
        connection.close()
    return flaws
