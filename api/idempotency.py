"""One effect for one Idempotency-Key: the first answer is kept in the transaction that made it, and given again.

The key is claimed by the transaction's first statement. A second request with it waits for the first to commit and then finds its answer;
if the first fails, its claim is undone with everything else and the second makes the effect.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from hashlib import sha256

import msgspec
import sqlalchemy as sa
from sqlalchemy.dialects import postgresql, sqlite

from api.errors import Answer, Malformed
from domain.errors import RuleBroken
from domain.records.base import table_of
from domain.records.organisations import Idempotency
from domain.records.statements import DialectName, Statement
from domain.records.unit import Unit

REPLAYED = (b"idempotency-replayed", b"true")
KEPT_HEADERS = (b"content-type", b"etag", b"location")
_KEY = re.compile(rb"[!-~](?:[ -~]{0,198}[!-~])?")

_kept = table_of(Idempotency)
_here = (_kept.c.organisation_id == sa.bindparam("organisation_id"), _kept.c.key == sa.bindparam("key"))
CLAIM: Mapping[DialectName, Statement] = {
    "sqlite": Statement(sqlite.insert(_kept).on_conflict_do_nothing()),
    "postgresql": Statement(postgresql.insert(_kept).on_conflict_do_nothing()),
}
FIRST_ANSWER = Statement(sa.select(_kept.c.request_sha256, _kept.c.status, _kept.c.headers, _kept.c.body).where(*_here))
KEEP_ANSWER = Statement(
    sa.update(_kept)
    .where(_kept.c.organisation_id == sa.bindparam("organisation_id"), _kept.c.key == sa.bindparam("at_key"))
    .values(status=sa.bindparam("new_status"), headers=sa.bindparam("new_headers"), body=sa.bindparam("new_body"))
)


def read_key(header: bytes | None) -> str | None:
    """Return a request's Idempotency-Key, ``None`` where there is none.

    Raises:
        Malformed: It is not 1 to 200 printable ASCII characters.
    """
    if header is None:
        return None
    if not _KEY.fullmatch(header):
        raise Malformed("An Idempotency-Key is 1 to 200 printable ASCII characters.", code="idempotency-key-malformed")
    return header.decode()


def fingerprint(method: str, path: str, body: bytes) -> str:
    """Return the digest by which a repeated request is known to be the same."""
    return sha256(b"%s %s\n%s" % (method.encode(), path.encode(errors="surrogateescape"), body)).hexdigest()


def once(unit: Unit, act: Callable[[Unit], Answer], *, key: str, request: str) -> Answer:
    """Return what ``act`` answers the first time, and that same answer whenever the key comes with the same request again.

    Raises:
        RuleBroken: The key was used for another request.
    """
    claim = {"key": key, "request_sha256": request, "status": 0, "headers": "", "body": b"", "created_at": unit.origin.at}
    if unit.run(CLAIM[unit.dialect], **claim) == 0:
        return _first_answer(unit, key=key, request=request)
    answer = act(unit)
    headers = {name.decode(): value.decode() for name, value in answer.raw_headers if name in KEPT_HEADERS}
    kept = {"new_status": answer.status_code, "new_headers": msgspec.json.encode(headers).decode(), "new_body": answer.kept_body}
    unit.run(KEEP_ANSWER, at_key=key, **kept)
    return answer


def _first_answer(unit: Unit, *, key: str, request: str) -> Answer:
    [(first_request, status, headers, body)] = unit.rows(FIRST_ANSWER, key=key)
    if first_request != request:
        raise RuleBroken("This Idempotency-Key was used for another request.", code="idempotency-key-reused")
    kept = msgspec.json.decode(headers, type=dict[str, str])
    media = kept.pop("content-type", "application/json").encode()
    again = [(name.encode(), value.encode()) for name, value in kept.items()]
    return Answer(bytes(body), status=status, headers=[*again, REPLAYED], media=media)
