"""``reedbed serve``."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import uvicorn
from rich.console import Console
from sqlalchemy.engine import make_url

from api.app import build_app
from api.commands.session import Trouble, opened

try:
    import fcntl
except ImportError:  # a system without advisory locks; there the keeper of the machine has to see to it
    fcntl = None  # type: ignore[assignment]


def serve(words: Namespace, console: Console) -> int:
    """Serve the API until stopped."""
    with opened("serve") as session, _only_one(session.settings.database_url):
        app = build_app(session.store, settings=session.settings, clock=lambda: datetime.now(UTC))
        host, port = words.host or session.settings.host, words.port or session.settings.port
        console.print(f"Reedbed at http://{host}:{port}/docs", markup=False)
        uvicorn.run(app, host=host, port=port, log_level="warning", server_header=False, timeout_graceful_shutdown=20)
    return 0


@contextmanager
def _only_one(url: str) -> Iterator[None]:
    """Keep a second ``serve`` off one SQLite file, by a lock on a file beside it.

    Raises:
        Trouble: Another one serves it.
    """
    target = make_url(url)
    if target.get_backend_name() != "sqlite" or fcntl is None:
        yield
        return
    lock = Path(f"{target.database}.serving")
    with lock.open("a") as held:
        try:
            fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as taken:
            raise Trouble(f"Another reedbed serve is using {target.database}. With more than one process use PostgreSQL.") from taken
        yield
