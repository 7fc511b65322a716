"""``reedbed serve``."""

from __future__ import annotations

import errno
import socket
from argparse import Namespace
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path

import uvicorn
from rich.console import Console
from sqlalchemy.engine import make_url

from api.app import build_app
from api.commands.session import opened
from api.commands.trouble import Trouble

try:
    import fcntl
except ImportError:  # a system without advisory locks; there the keeper of the machine has to see to it
    fcntl = None  # type: ignore[assignment]

LAST_PORT = 65535
START_FAILED = 3


def serve(words: Namespace, console: Console) -> int:
    """Serve the API until stopped."""
    with opened("serve") as session, _only_one(session.settings.database_url):
        app = build_app(session.store, settings=session.settings, clock=lambda: datetime.now(UTC))
        host = words.host or session.settings.host
        with _listening(host, session.settings.port if words.port is None else words.port) as listener:
            console.print(f"Reedbed at {_address(host, listener)}/docs", markup=False, soft_wrap=True)
            server = uvicorn.Server(uvicorn.Config(app, log_level="warning", server_header=False, timeout_graceful_shutdown=20))
            # An interrupt from the keyboard is raised again once everything has ended in order.
            with suppress(KeyboardInterrupt):
                server.run(sockets=[listener])
    return 0 if server.started else START_FAILED


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
