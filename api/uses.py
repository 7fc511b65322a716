"""When keys and sessions were last used: gathered in memory by the requests, and written down from time to time."""

from __future__ import annotations

import logging
from datetime import datetime, timedelta
from threading import Lock
from typing import Any
from uuid import UUID

from domain.actions.sessions import note_uses
from domain.errors import StorageBusy, StorageFailed, TookTooLong
from domain.records.engine import Store, run_unit
from domain.records.journal import Origin

log = logging.getLogger("reedbed")

EVERY_S = 60.0
"""How often uses are written down [s]."""
TO_THE = timedelta(minutes=5)
"""How exact the last use of a session is kept; of a key it is an hour."""


class Uses:
    """The uses of one process since they were last written down."""

    def __init__(self) -> None:
        self._keys: dict[tuple[int, UUID], datetime] = {}
        self._written: dict[UUID, datetime] = {}
        self._sessions: dict[tuple[int, UUID], datetime] = {}
        self._lock = Lock()

    def of_key(self, organisation_id: int, key_id: UUID, *, at: datetime) -> None:
        """Note that a key was used."""
        if at - self._written.get(key_id, datetime.min.replace(tzinfo=at.tzinfo)) >= timedelta(hours=1):
            with self._lock:
                self._keys[organisation_id, key_id] = at

    def of_session(self, organisation_id: int, session_id: UUID, *, at: datetime, last_at: datetime) -> None:
        """Note that a session was used, which was on record as last used at ``last_at``."""
        if at - last_at >= TO_THE:
            with self._lock:
                self._sessions[organisation_id, session_id] = at

    def write_down(self, store: Store, *, now: datetime) -> None:
        """Put the noted uses on record; where the database cannot take them they stay noted. Blocks: call it in a worker thread."""
        with self._lock:
            keys, self._keys = self._keys, {}
            sessions, self._sessions = self._sessions, {}
        for organisation_id in {number for number, _ in (*keys, *sessions)}:
            noted = {"keys": _of(organisation_id, keys), "sessions": _of(organisation_id, sessions)}
            origin = Origin(organisation_id, now, actor="service", request_id="uses")
            try:
                run_unit(store, lambda unit, noted=noted: note_uses(unit, **noted), origin=origin)  # type: ignore[misc]
            except Exception as failure:  # whatever it is, the next time may do better, and sessions in use must not look idle
                with self._lock:
                    self._keys = {**keys, **self._keys}
                    self._sessions = {**sessions, **self._sessions}
                log.warning("the uses of keys and sessions could not be written down yet", exc_info=_unless_expected(failure))
                return
            self._written.update(noted["keys"])


def _of(organisation_id: int, noted: dict[tuple[int, UUID], Any]) -> dict[UUID, datetime]:
    return {subject: at for (number, subject), at in noted.items() if number == organisation_id}


def _unless_expected(failure: Exception) -> Exception | None:
    return None if isinstance(failure, StorageBusy | StorageFailed | TookTooLong) else failure
