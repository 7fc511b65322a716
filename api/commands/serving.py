"""``reedbed serve``."""

from __future__ import annotations

import errno
import logging
import socket
from argparse import Namespace
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from rich.console import Console
from sqlalchemy.engine import make_url

from api.app import build_app
from api.commands.session import opened
from api.commands.trouble import Trouble
from api.logs import OWN, start_logs
from api.metrics import exposed, registry_of
from api.settings import Settings, warnings, weaknesses
from api.wire import Server
from domain.records.engine import Store

try:
    import fcntl
except ImportError:  # a system without advisory locks; there the keeper of the machine has to see to it
    fcntl = None  # type: ignore[assignment]

LAST_PORT = 65535
START_FAILED = 3
DURABLE = ("fsync", "full_page_writes", "synchronous_commit")
"""What PostgreSQL must not have off."""


def serve(words: Namespace, console: Console) -> int:
    """Serve the API until stopped.

    Raises:
        Trouble: A setting is too weak to serve with, the database may forget what it confirms, or there is nowhere to listen.
        StorageFailed: It ended by itself because the storage failed; whoever watches over it should start it again.
    """
    with opened("serve") as session, _only_one(session.settings.database_url):
        settings, store = session.settings, session.store
        if weak := weaknesses(settings):
            raise Trouble("\n".join(weak))
        host = words.host or settings.host
        with _listening(host, settings.port if words.port is None else words.port) as listener:
            _refuse_forgetful(settings)
            log = start_logs(settings)
            _warn(settings, now=datetime.now(UTC))
            app = build_app(store, settings=settings, clock=lambda: datetime.now(UTC), log=log)
            house = app.state.house
            registry = registry_of(house.metrics, house.store, is_ready=lambda: not house.draining.begun)
            with _figures(registry, settings):
                console.print(f"Reedbed at {_address(host, listener)}{'/docs' if settings.show_docs else ''}", markup=False, soft_wrap=True)
                server = Server(app)
                server.run(sockets=[listener])
        _checkpoint(store)
    return 0 if server.started else START_FAILED


def _warn(settings: Settings, *, now: datetime) -> None:
    """Say in the log what the service's keeper should see to."""
    for sentence in warnings(settings, now=now):
        logging.getLogger(OWN).warning("%s", sentence)


@contextmanager
def _figures(registry: Any, settings: Settings) -> Iterator[None]:  # noqa: ANN401 - a registry
    with ExitStack() as ends:
        try:
            ends.enter_context(exposed(registry, host=settings.metrics_host, port=settings.metrics_port))
        except OSError as refused:
            place = f"{settings.metrics_host}, port {settings.metrics_port}"
            raise Trouble(f"Cannot serve the metrics on {place}: {refused.strerror}") from refused
        yield


def _refuse_forgetful(settings: Settings) -> None:
    """Refuse a PostgreSQL that confirms what it has not kept.

    Raises:
        Trouble: One of the settings that make it keep everything is off.
    """
    target = make_url(settings.database_url)
    if target.get_backend_name() == "sqlite" or settings.accept_volatile_database:
        return
    import psycopg  # noqa: PLC0415 - an extra; absent where only SQLite is used

    dsn = target.set(drivername="postgresql").render_as_string(hide_password=False)
    with psycopg.connect(dsn, connect_timeout=3) as connection:
        rows = connection.execute("SELECT name, setting FROM pg_settings WHERE name = ANY(%s)", [list(DURABLE)]).fetchall()
    off = [name for name, setting in sorted(rows) if setting == "off"]
    if off:
        raise Trouble(f"The database's server may lose what it has confirmed: {', '.join(off)} off. Turn it on and restart the server.")


def _checkpoint(store: Store) -> None:
    """Write a SQLite file's log back into the file, so that whoever copies it finds everything in one place."""
    if store.dialect != "sqlite":
        return
    connection = store.connect()  # type: ignore[attr-defined]
    try:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
    finally:
        connection.close()


def _listening(host: str, port: int) -> socket.socket:
    """Return a socket that listens.

    Raises:
        Trouble: The port is none or taken, or the address is not this machine's.
    """
    if not 1 <= port <= LAST_PORT:
        raise Trouble(f"A port is a number from 1 to {LAST_PORT}, not {port}")
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        return socket.create_server((host, port), family=family)
    except OSError as refused:
        if refused.errno == errno.EADDRINUSE:
            raise Trouble(f"Port {port} of {host} is taken by another program. Choose another with --port") from refused
        raise Trouble(f"Cannot listen on {host}, port {port}: {refused.strerror}") from refused


def _address(host: str, listener: socket.socket) -> str:
    return f"http://{f'[{host}]' if ':' in host else host}:{listener.getsockname()[1]}"


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
