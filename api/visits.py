"""A request of somebody who has not signed in, at one of the few doors that are open to anybody, and the threads that it is served in."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any, TypeVar

from pydantic import BaseModel
from starlette.types import Receive, Scope

from api.admission import Timed, in_time
from api.context import JSON, House, read_body, refuse_other_media
from api.errors import Malformed
from api.strict_json import read_json
from domain.records.engine import run_unit
from domain.records.journal import Origin
from domain.records.stated import read_stated
from domain.records.unit import Unit

T = TypeVar("T", bound=BaseModel)
R = TypeVar("R")


@dataclass(slots=True)
class Visit:
    """One request of nobody in particular. ``address`` is where it came from; ``until`` is as in ``Call``."""

    house: House
    headers: Mapping[bytes, bytes]
    request_id: str
    address: str
    body: bytes = b""
    until: float | None = None

    def stated(self, kind: type[T]) -> T:
        """Return what the body states.

        Raises:
            Malformed: The body is not JSON, or not honest JSON.
            RuleBroken: With one fault for each field that cannot be taken.
        """
        read_json(self.body)
        return read_stated(kind, self.body)


async def visit_of(house: House, scope: Scope, receive: Receive) -> Visit:
    """Return a request's visit with its JSON body.

    Raises:
        Malformed: It bears an Idempotency-Key.
        WrongMedia: The body is not said to be JSON.
        TooLarge: The body is too long.
    """
    headers = dict(scope["headers"])
    refuse_idempotency(headers)
    refuse_other_media(headers, taken=JSON)
    body = await read_body(receive, headers, most=house.settings.max_body_bytes)
    state, client = scope["state"], scope.get("client") or ("",)
    return Visit(house, headers, state["request_id"], client[0], body, until=state.get("until"))


def refuse_idempotency(headers: Mapping[bytes, bytes]) -> None:
    """Refuse an Idempotency-Key where an answer, or a digest of a password, would have to be kept for it.

    Raises:
        Malformed: There is one.
    """
    if b"idempotency-key" in headers:
        raise Malformed("No Idempotency-Key is taken here: nothing of this request is kept.", code="idempotency-key-not-taken")


async def in_hasher(house: House, act: Callable[..., R], *given: Any) -> R:  # noqa: ANN401 - whatever it takes
    """Return what ``act`` gives in a thread of those that hash passwords, which take their time and no connection."""
    return await asyncio.get_running_loop().run_in_executor(house.hashers, act, *given)


async def in_writer(house: House, act: Callable[[Unit], R], *, origin: Origin, asked: Timed) -> R:
    """Return what ``act`` gives in a transaction that was committed, unless the deadline of what was ``asked`` has passed."""

    def run(_: Timed) -> R:
        given: R = run_unit(house.store, act, origin=origin)
        return given

    return await asyncio.get_running_loop().run_in_executor(house.writers, partial(in_time, run), asked)
