"""The limit of serving: a bare ASGI function that does by hand what the service does for an item of equipment, and nothing else.

It runs the same statements on the same driver, keeps the same journal and the same idempotency row, and its answers to reads are the same
bytes. It knows one noun, refuses nothing politely, and trusts its caller's JSON beyond its types.
"""

# ruff: noqa: S608 - the statements are put together of the words below
from __future__ import annotations

import base64
import hmac
import re
import secrets
from collections.abc import Sequence
from datetime import date
from hashlib import blake2b, sha256
from typing import Any
from uuid import UUID

import msgspec

from domain.rules.identifiers import ids_at
from tests.benchmarks.raw_database import RawDatabase, text_of
from tests.makers import NOON

SHOWN = (
    "tag", "model_id", "site_id", "enclosure_id", "life_support_system_id", "position", "serial", "installed_on", "manufactured_on",
    "expires_on", "opened_on", "run_schedule", "counter_at_installation_h", "override_life_months", "override_life_hours",
    "override_output_minimum", "override_reason", "note", "id", "version", "created_at", "ended_on", "end_reason", "replaces_id",
)  # fmt: skip
STORED = (*SHOWN[:18], "organisation_id", *SHOWN[18:23], "tag_key", "hours_per_day", "replaces_id")
ID_PLACES = tuple(SHOWN.index(name) for name in ("model_id", "site_id", "enclosure_id", "life_support_system_id", "id", "replaces_id"))
CREATED_AT, RUN_SCHEDULE, VERSION = SHOWN.index("created_at"), SHOWN.index("run_schedule"), SHOWN.index("version")
NEVER_CHANGED = ("organisation_id", "id", "created_at")

KEY = "SELECT organisation_id, id, name, access, secret_sha256, expires_on, ended_on FROM api_key WHERE public_id = :public_id"
ONE = f"SELECT {', '.join(SHOWN)} FROM equipment WHERE organisation_id = :organisation_id AND id = :id"
PAGE = f"SELECT {', '.join(SHOWN)} FROM equipment WHERE organisation_id = :organisation_id AND ended_on IS NULL ORDER BY id LIMIT :most"
WHOLE = "SELECT * FROM {} WHERE organisation_id = :organisation_id AND id = :id"
STORED_ONE = f"SELECT {', '.join(STORED)} FROM equipment WHERE organisation_id = :organisation_id AND id = :id"
INSERT = f"INSERT INTO equipment ({', '.join(STORED)}) VALUES ({', '.join(f':{name}' for name in STORED)})"
UPDATE = (
    f"UPDATE equipment SET {', '.join(f'{name} = :{name}' for name in STORED if name not in NEVER_CHANGED)} "
    "WHERE organisation_id = :organisation_id AND id = :id AND version = :old_version"
)
CLAIM = (
    "INSERT INTO idempotency (organisation_id, key, request_sha256, status, headers, body, created_at) "
    "VALUES (:organisation_id, :key, :request_sha256, 0, '', :body, :created_at) ON CONFLICT DO NOTHING"
)
KEEP = "UPDATE idempotency SET status = 201, headers = :headers, body = :body WHERE organisation_id = :organisation_id AND key = :key"
HEAD = "SELECT position, hash FROM journal_head WHERE organisation_id = :organisation_id"
ENTRY = (
    "INSERT INTO journal (organisation_id, position, at, subject, subject_id, content, hash) "
    "VALUES (:organisation_id, :position, :at, 'equipment', :subject_id, :content, :hash)"
)
MOVE = "UPDATE journal_head SET position = :position, hash = :hash WHERE organisation_id = :organisation_id"

encode = msgspec.json.Encoder().encode
BEARER = re.compile(rb"(?i:bearer) +rbk_([A-Za-z0-9]{1,24})_([A-Za-z0-9_-]{1,200})")


class RunPeriod(msgspec.Struct, forbid_unknown_fields=True):
    """A period of a run schedule."""

    starts_on: date | None = None
    hours_per_day: float | None = None
    seasons: list[Any] = []


class NewItem(msgspec.Struct, forbid_unknown_fields=True):
    """An item as a body states it."""

    tag: str
    model_id: UUID
    site_id: UUID
    position: str | None = None
    serial: str | None = None
    installed_on: date | None = None
    run_schedule: list[RunPeriod] = []
    counter_at_installation_h: float = 0.0
    note: str = ""


class RawHandler:
    """The ASGI function and the database it holds."""

    def __init__(self, database: RawDatabase) -> None:
        self.database = database

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """Serve one connection, or start and stop."""
        if scope["type"] == "lifespan":
            await self._lifespan(receive, send)
            return
        headers = dict(scope["headers"])
        body = b"" if scope["method"] == "GET" else (await receive())["body"]
        taken = await self.database.take()
        try:
            status, content, more = await self._answer(taken, scope, headers, body)
        finally:
            self.database.give_back(taken)
        said = [(b"content-type", b"application/json"), (b"content-length", b"%d" % len(content)), *more]
        await send({"type": "http.response.start", "status": status, "headers": said})
        await send({"type": "http.response.body", "body": content})

    async def _answer(self, taken: Any, scope: Any, headers: Any, body: bytes) -> tuple[int, bytes, list[tuple[bytes, bytes]]]:
        key = await self._signed_in(taken, headers[b"authorization"])
        path = scope["path"]
        if scope["method"] == "POST":
            return await self._write(taken, self._post, key, path, headers, body)
        if scope["method"] == "PATCH":
            return await self._write(taken, self._patch, key, path, headers, body)
        if path == "/v1/equipment":
            return await self._page(taken, key, path, most=int(scope["query_string"].removeprefix(b"limit=")))
        found = (await taken.rows(ONE, {"organisation_id": key[0], "id": self.database.id_in(UUID(path[14:]))}))[0]
        return 200, encode(self._shown(found)), [(b"etag", b'"%d"' % found[VERSION])]

    async def _signed_in(self, taken: Any, bearer: bytes) -> Any:
        said = BEARER.fullmatch(bearer)
        row = (await taken.rows(KEY, {"public_id": said[1].decode()}))[0]
        if not hmac.compare_digest(sha256(said[2]).hexdigest(), row[4]) or row[5] is not None or row[6] is not None:
            raise PermissionError
        return row

    async def _page(self, taken: Any, key: Any, path: str, *, most: int) -> tuple[int, bytes, list[tuple[bytes, bytes]]]:
        rows = await taken.rows(PAGE, {"organisation_id": key[0], "most": most + 1})
        items = [self._shown(row) for row in rows[:most]]
        of = blake2b(f"{key[0]} {path} {[]}".encode(), digest_size=12).hexdigest()
        cursor = msgspec.json.encode({"of": of, "rank": 2**31 - 1, "id": str(items[-1]["id"])})
        following = base64.urlsafe_b64encode(cursor).rstrip(b"=").decode()
        link = f'<{path}?limit={most}&cursor={following}>; rel="next"'.encode()
        return 200, encode({"items": items, "next": following}), [(b"link", link)]

    async def _write(self, taken: Any, act: Any, *request: Any) -> tuple[int, bytes, list[tuple[bytes, bytes]]]:
        await taken.rows(self.database.begin, {})
        try:
            answer = await act(taken, *request)
        except BaseException:
            await taken.rows("ROLLBACK", {})
            raise
        await taken.rows("COMMIT", {})
        return answer

    async def _post(self, taken: Any, key: Any, path: str, headers: Any, body: bytes) -> tuple[int, bytes, list[tuple[bytes, bytes]]]:
        stated = msgspec.json.decode(body, type=NewItem)
        database, organisation = self.database, {"organisation_id": key[0]}
        claim = {**organisation, "key": headers[b"idempotency-key"].decode()}
        asker = f"key:{database.id_out(key[1])} None all\n".encode()
        digest = sha256(b"POST %s\n%s%s" % (path.encode(), asker, body)).hexdigest()
        await taken.rows(CLAIM, {**claim, "request_sha256": digest, "body": b"", "created_at": database.instant_in(NOON)})
        await self._referred(taken, key[0], model_id=database.id_in(stated.model_id), site_id=database.id_in(stated.site_id))
        row = self._new_row(stated, key[0])
        await taken.rows(INSERT, row)
        shown = self._shown([row[name] for name in SHOWN])
        answer = encode(shown)
        more = [(b"etag", b'"1"'), (b"location", f"{path}/{shown['id']}".encode())]
        kept = {"content-type": "application/json", **{name.decode(): value.decode() for name, value in more}}
        await taken.rows(KEEP, {**claim, "headers": msgspec.json.encode(kept).decode(), "body": answer})
        after = {**shown, "created_at": NOON, "tag_key": row["tag_key"], "hours_per_day": row["hours_per_day"]}
        after = {name: value for name, value in after.items() if name not in {"id", "version"}}
        await self._journal(taken, key, row["id"], "register_equipment", 1, before={}, after=after)
        return 201, answer, more

    async def _patch(self, taken: Any, key: Any, path: str, headers: Any, body: bytes) -> tuple[int, bytes, list[tuple[bytes, bytes]]]:
        patch, item_id = msgspec.json.decode(body), self.database.id_in(UUID(path[14:]))
        found = (await taken.rows(STORED_ONE, {"organisation_id": key[0], "id": item_id}))[0]
        row = dict(zip(STORED, found, strict=True))
        version = int(headers[b"if-match"].strip(b'"'))
        if row["version"] != version or row["ended_on"] is not None:
            raise LookupError
        await self._referred(taken, key[0], model_id=row["model_id"], site_id=row["site_id"])
        differing = {name: value for name, value in patch.items() if row[name] != value}
        before = {name: row[name] for name in differing}
        row |= {**differing, "version": version + 1}
        await taken.rows(UPDATE, {**row, "old_version": version})
        await self._journal(taken, key, item_id, "change_equipment", version + 1, before=before, after=differing)
        return 200, encode(self._shown([row[name] for name in SHOWN])), [(b"etag", b'"%d"' % row["version"])]

    async def _referred(self, taken: Any, organisation_id: int, *, model_id: Any, site_id: Any) -> None:
        for table, record_id in (("equipment_model", model_id), ("site", site_id)):
            if not await taken.rows(WHOLE.format(table), {"organisation_id": organisation_id, "id": record_id}):
                raise LookupError

    async def _journal(self, taken: Any, key: Any, item_id: Any, action: str, version: int, *, before: Any, after: Any) -> None:
        organisation = {"organisation_id": key[0]}
        position, previous = (await taken.rows(HEAD + self.database.lock, organisation))[0]
        entry = {
            **organisation, "position": position + 1, "at": NOON.strftime("%Y-%m-%dT%H:%M:%S.%fZ"),
            "actor": f"key:{self.database.id_out(key[1])}", "credential": f"key:{self.database.id_out(key[1])}", "on_behalf_of": None,
            "request_id": secrets.token_hex(12), "action": action, "subject": "equipment",
            "subject_id": self.database.id_out(item_id), "version": version, "reason": None, "before": before, "after": after,
            "previous": previous,
        }  # fmt: skip
        content = text_of(entry)
        end = {**organisation, "position": position + 1, "hash": sha256(b"reedbed-journal-1\n" + content.encode()).hexdigest()}
        await taken.rows(ENTRY, {**end, "at": self.database.instant_in(NOON), "subject_id": item_id, "content": content})
        await taken.rows(MOVE, end)

    def _new_row(self, stated: NewItem, organisation_id: int) -> dict[str, Any]:
        database, schedule = self.database, stated.run_schedule
        constant = len(schedule) == 1 and schedule[0].starts_on is None
        return dict.fromkeys(STORED) | {
            "tag": stated.tag, "model_id": database.id_in(stated.model_id), "site_id": database.id_in(stated.site_id),
            "position": stated.position, "serial": stated.serial, "installed_on": database.date_in(stated.installed_on),
            "run_schedule": text_of(schedule), "counter_at_installation_h": stated.counter_at_installation_h, "note": stated.note,
            "organisation_id": organisation_id, "id": database.id_in(next(ids_at(NOON))), "version": 1,
            "created_at": database.instant_in(NOON), "tag_key": stated.tag.casefold(),
            "hours_per_day": schedule[0].hours_per_day if constant else None,
        }  # fmt: skip

    def _shown(self, row: Sequence[Any]) -> dict[str, Any]:
        values = list(row)
        if self.database.ids_are_bytes:
            for place in ID_PLACES:
                if values[place] is not None:
                    values[place] = self.database.id_out(values[place])
        values[CREATED_AT] = self.database.instant_out(values[CREATED_AT])
        values[RUN_SCHEDULE] = msgspec.Raw(values[RUN_SCHEDULE].encode())
        return dict(zip(SHOWN, values, strict=True))

    async def _lifespan(self, receive: Any, send: Any) -> None:
        await receive()
        await self.database.open()
        await send({"type": "lifespan.startup.complete"})
        await receive()
        await self.database.close()
        await send({"type": "lifespan.shutdown.complete"})
