"""A process that serves, as the service or as the raw handler, and says how much processor time it has used.

``python -m tests.benchmarks.serving_child service|raw DATABASE_URL`` writes its port, then for each line that it reads the nanoseconds of
processor time spent so far in all its threads; it stops when there is nothing more to read.
"""

from __future__ import annotations

import socket
import sys
import threading
import time
from typing import Any

import uvicorn

from api.app import build_app
from api.settings import Settings
from domain.records.engine import open_store
from tests.benchmarks.raw_database import raw_database
from tests.benchmarks.raw_handler import RawHandler
from tests.makers import NOON

UNLIMITED = Settings(requests_per_minute=0, organisation_requests_per_minute=0)
"""A benchmark asks more often than any caller may."""


def main(what: str, url: str) -> None:
    """Serve until there is nothing more to read."""
    store = open_store(url) if what == "service" else None
    app: Any = build_app(store, settings=UNLIMITED, clock=lambda: NOON) if store else RawHandler(raw_database(url))
    listener = socket.create_server(("127.0.0.1", 0))
    config = uvicorn.Config(app, loop="uvloop", http="httptools", lifespan="on", log_level="warning", access_log=False, server_header=False)
    server = uvicorn.Server(config)
    threading.Thread(target=answer_questions, args=(server,), daemon=True).start()
    say(listener.getsockname()[1])
    server.run(sockets=[listener])
    if store:
        store.close()


def answer_questions(server: uvicorn.Server) -> None:
    """Say the processor time for each line that comes, and stop the server after the last."""
    for _ in sys.stdin:
        say(time.process_time_ns())
    server.should_exit = True


def say(number: int) -> None:
    """Write a number on a line of its own."""
    sys.stdout.write(f"{number}\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main(*sys.argv[1:])
