"""Resting the search for reference cycles while very many objects are made."""

from __future__ import annotations

import gc
import threading
from collections.abc import Iterator
from contextlib import contextmanager

_lock = threading.Lock()
_resting = 0


@contextmanager
def resting_collector() -> Iterator[None]:
    """Search for no reference cycles until the block ends.

    An import holds some million objects, none of them in a cycle; looking through them again and again takes as long as the import.
    """
    global _resting  # noqa: PLW0603 - the collector is the process's own
    with _lock:
        _resting += 1
        gc.disable()
    try:
        yield
    finally:
        with _lock:
            _resting -= 1
            if _resting == 0:
                gc.enable()
