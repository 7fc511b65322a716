"""A door: one method at one path, who may pass, what is read before, and what is done.

The doors of records are found by one look into a table, and their answers leave as they are: FastAPI describes these routes, but its
way through dependencies and validation would cost more than the work itself.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

from fastapi.routing import APIRoute
from pydantic import BaseModel
from starlette.requests import Request
from starlette.responses import Response
from starlette.types import ASGIApp, Receive, Scope, Send

from api.admission import in_time
from api.context import JSON, MERGE_PATCH, Call, House, call_of, permit_fields, read_body, refuse_other_media
from api.errors import Answer, problem_of
from api.query import Reader, read_id, read_query
from api.reading_log import written_down
from api.visits import Visit, visit_of
from domain.errors import NotFound, Refusal

Reads = Callable[[Call], Awaitable[Answer]]
Writes = Callable[[Call], Answer]
Admits = Callable[[Visit], Awaitable[Answer]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Door:
    """One method at one path. It has one of four: ``reads``, run on the event loop, or ``writes``, run in a worker thread.

    ``attends`` runs on the event loop with the body read, and sees to its threads itself. ``admits`` is for anybody, who need not sign in:
    such a door has no action, and the matrix names it as public. ``action`` is what the permission matrix judges the others by;
    ``subject`` is what is missing when an id is unknown, in a sentence; ``body`` is the class that a request's body is read by; ``files``
    are the media types of an answer that is a file and no JSON.
    """

    method: str
    path: str
    action: str | None = None
    operation_id: str
    summary: str
    tag: str
    subject: str
    answers: type[BaseModel]
    reads: Reads | None = None
    writes: Writes | None = None
    attends: Reads | None = None
    admits: Admits | None = None
    status: int = 200
    body: type[BaseModel] | None = None
    query: Mapping[str, Reader] = field(default_factory=dict)
    parameters: Sequence[Mapping[str, Any]] = ()
    headers: Sequence[str] = ()
    files: Sequence[str] = ()

    @property
    def is_view(self) -> bool:
        """Whether a name stands in its path where an id would: another view of the noun before it, such as ``/v1/census/statement``."""
        return any(not part.startswith("{") for part in self.path.split("/")[3::2])

    @property
    def key(self) -> tuple[object, ...]:
        """What the door is found by: a view by its whole path, any other as ``key_of`` says."""
        parts = self.path.split("/")
        return (self.method, *parts) if self.is_view else key_of(self.method, parts)

    async def answer(self, house: House, scope: Scope, receive: Receive, *, texts: Sequence[str]) -> Response:
        """Return the answer to a request; ``texts`` are the ids in its path as they were written."""
        try:
            if self.admits is not None:
                read_query(scope["query_string"], self.query)
                return await self.admits(await visit_of(house, scope, receive))
            assert self.action is not None  # noqa: S101 - asked before the service starts
            call = await call_of(house, scope, action=self.action)
            if scope["query_string"]:
                call.query = read_query(scope["query_string"], self.query)
            if texts:
                call.ids = self._ids(texts)
            if self.reads is not None:
                return await written_down(call, await self.reads(call))
            return await self._written(call, receive)
        except Refusal as refusal:
            scope["state"]["refused"] = refusal
            return problem_of(refusal, path=scope["path"])

    def route(self) -> APIRoute:
        """Return the door as a route of FastAPI's, which describes it and would serve it the longer way."""

        async def endpoint(request: Request) -> Response:
            texts = () if self.is_view else parts_of(request.scope)[3::2]
            return await self.answer(request.app.state.house, request.scope, request.receive, texts=texts)

        return APIRoute(
            self.path,
            endpoint,
            methods=[self.method],
            name=self.operation_id,
            operation_id=self.operation_id,
            summary=self.summary,
            tags=[self.tag],
            status_code=self.status,
            response_model=self.answers,
            openapi_extra={"parameters": list(self.parameters)},
        )

    async def _written(self, call: Call, receive: Receive) -> Answer:
        refuse_other_media(call.headers, taken=MERGE_PATCH if call.method == "PATCH" else JSON)
        call.body = await read_body(receive, call.headers, most=call.house.settings.max_body_bytes)
        if self.attends is not None:
            permit_fields(call)
            return await self.attends(call)
        return await asyncio.get_running_loop().run_in_executor(call.house.writers, in_time, self._write, call)

    def _write(self, call: Call) -> Answer:
        assert self.writes is not None  # noqa: S101 - asked by ``answer``
        permit_fields(call)
        return self.writes(call)

    def _ids(self, texts: Sequence[str]) -> tuple[UUID, ...]:
        try:
            return tuple(read_id(text) for text in texts)
        except ValueError:
            raise NotFound(f"There is no such {self.subject}.") from None


def parts_of(scope: Scope) -> list[str]:
    """Return the parts of a request's path below where the service is mounted; the first is empty."""
    path: str = scope["path"]
    return path.removeprefix(scope.get("root_path", "")).split("/")


def key_of(method: str, parts: Sequence[str]) -> tuple[object, ...]:
    """Return what a door is found by: names and ids take turns in its path, so the method, the length and the names are enough."""
    return (method, len(parts), *parts[2::2])


class Doorway:
    """The way in for all doors; what is none of them goes on to the routes of FastAPI."""

    def __init__(self, app: ASGIApp, *, house: House, doors: Iterable[Door]) -> None:
        self.app = app
        self.house = house
        self.doors = {door.key: door for door in doors}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        parts = parts_of(scope)
        method = "GET" if scope["method"] == "HEAD" else scope["method"]
        view = self.doors.get((method, *parts))
        door = view or (self.doors.get(key_of(method, parts)) if parts[1:2] == ["v1"] else None)
        if door is None:
            # FastAPI's own routes know no HEAD; the server leaves the body out.
            inner = {**scope, "method": method}
            try:
                await self.app(inner, receive, send)
            finally:
                scope["route"] = inner.get("route")
            return
        scope["state"]["route"] = door.path
        response = await door.answer(self.house, scope, receive, texts=() if view else parts[3::2])
        if scope["method"] == "HEAD":
            response.body = b""
        await response(scope, receive, send)
