"""What the service says about itself, a line for each event: JSON for programs, text for a person at a terminal.

A line holds what ``FACTS`` names and nothing else. Bodies, queries, tokens, names and addresses have no place in it; of a fault its kind
and where it arose are kept and its sentence is not, because it may quote what somebody sent.
"""

from __future__ import annotations

import logging
import re
import sys
import traceback
from collections.abc import Callable, Iterator, MutableMapping
from datetime import UTC, datetime
from pathlib import PurePath
from typing import Any, Protocol, TextIO

import msgspec
import structlog

from api.settings import Settings

OWN = "reedbed"
FACTS = (
    "ts", "level", "event", "request_id", "trace_id", "organisation_id", "actor", "route", "method", "status", "duration_ms", "bytes",
    "code", "logger", "fault", "check", "site_id", "work_id",
)  # fmt: skip
"""What a line may hold, in this order."""
LONGEST_CHAIN = 4
"""Causes of a fault that are told."""
LONGEST_STACK = 40
_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029]")
_ENCODE = msgspec.json.Encoder().encode

Facts = MutableMapping[str, Any]
Render = Callable[[object, str, Facts], str]


class RequestLog(Protocol):
    """What a request's line is given to."""

    def info(self, event: str, **facts: Any) -> Any: ...  # noqa: ANN401, D102 - structlog's own

    def warning(self, event: str, **facts: Any) -> Any: ...  # noqa: ANN401, D102

    def error(self, event: str, **facts: Any) -> Any: ...  # noqa: ANN401, D102


def start_logs(settings: Settings, *, stream: TextIO | None = None) -> RequestLog:
    """Send everything that is logged in this process to a stream, standard error where none is named, and return the log of requests."""
    out = stream or sys.stderr
    as_text = settings.log_form == "text" or (settings.log_form == "auto" and out.isatty())
    level = logging.getLevelNamesMapping()[settings.log_level.upper()]
    handler = logging.StreamHandler(out)
    handler.setFormatter(_Lines(_text if as_text else _json))
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(logging.WARNING)
    logging.getLogger(OWN).setLevel(level)
    return request_log(out, level=level, render=_text if as_text else _json)


def log_of_commands(out: TextIO) -> None:
    """Have what goes wrong in a command said on ``out``, where nothing listens to the log yet: a service starts its own log later."""
    root = logging.getLogger()
    if root.handlers:
        return
    handler = logging.StreamHandler(out)
    handler.setFormatter(_Lines(_text if out.isatty() else _json))
    root.addHandler(handler)
    root.setLevel(logging.WARNING)


def request_log(out: TextIO, *, level: int = logging.INFO, render: Render | None = None) -> RequestLog:
    """Return a log of requests that writes to ``out``."""
    log: RequestLog = structlog.wrap_logger(
        structlog.WriteLogger(out),
        processors=[_stamp, only_facts, render or _json],
        wrapper_class=structlog.make_filtering_bound_logger(level),
    ).bind()
    return log


def only_facts(_logger: object, _method: str, event: Facts) -> Facts:
    """Return what a line may hold of an event, in the order of ``FACTS``."""
    return {name: event[name] for name in FACTS if name in event}


def fault_of(fault: BaseException) -> list[dict[str, Any]]:
    """Return what may be told of a fault and of its causes: the kind, and the places that led to it, innermost last."""
    return [{"kind": _kind(one), "at": [*_places(one)]} for one in _chain(fault)]


def _chain(fault: BaseException) -> Iterator[BaseException]:
    following: BaseException | None = fault
    for _ in range(LONGEST_CHAIN):
        if following is None:
            return
        yield following
        following = following.__cause__ or (None if following.__suppress_context__ else following.__context__)


def _kind(fault: BaseException) -> str:
    return f"{type(fault).__module__}.{type(fault).__qualname__}".removeprefix("builtins.")


def _places(fault: BaseException) -> Iterator[str]:
    frames = [*traceback.walk_tb(fault.__traceback__)][-LONGEST_STACK:]
    for frame, line in frames:
        code = frame.f_code
        yield f"{'/'.join(PurePath(code.co_filename).parts[-3:])}:{line} {code.co_name}"


def _stamp(_logger: object, method: str, event: Facts) -> Facts:
    event["ts"] = f"{datetime.now(UTC).isoformat(timespec='milliseconds')[:-6]}Z"
    event["level"] = method
    return event


def _instant(at: datetime) -> str:
    return f"{at.replace(tzinfo=None).isoformat(timespec='milliseconds')}Z"


class _Lines(logging.Formatter):
    """Makes a line of a record of the standard library's logging."""

    def __init__(self, render: Render) -> None:
        super().__init__()
        self._render = render

    def format(self, record: logging.LogRecord) -> str:
        """Return the line."""
        return self._render(None, record.levelname.lower(), only_facts(None, "", _facts_of(record)))


def _facts_of(record: logging.LogRecord) -> Facts:
    facts: dict[str, Any] = {name: value for name, value in vars(record).items() if name in FACTS}
    facts |= {
        "ts": _instant(datetime.fromtimestamp(record.created, UTC)),
        "level": record.levelname.lower(),
        "event": _sentence(record),
        "logger": record.name,
    }
    if record.exc_info and record.exc_info[1] is not None:
        facts["fault"] = fault_of(record.exc_info[1])
    return facts


def _sentence(record: logging.LogRecord) -> str:
    """Return what is said. Only our own sentences are completed with their values, and of a fault among these its kind is said."""
    is_own = record.name == OWN or record.name.startswith(f"{OWN}.")
    if not is_own or not isinstance(record.args, tuple):
        return str(record.msg)
    return str(record.msg) % tuple(_kind(one) if isinstance(one, BaseException) else one for one in record.args)


def _json(_logger: object, _method: str, event: Facts) -> str:
    return _ENCODE(event).decode()


def _text(_logger: object, _method: str, event: Facts) -> str:
    rest = " ".join(f"{name}={value}" for name, value in event.items() if name not in {"ts", "level", "event", "fault"})
    line = f"{event.get('ts', '')} {event.get('level', ''):7} {event.get('event', '')}  {rest}".rstrip()
    lines = [_CONTROL.sub("\N{REPLACEMENT CHARACTER}", line)]
    for one in event.get("fault", ()):
        lines += [f"    {one['kind']}", *(f"      {place}" for place in one["at"])]
    return "\n".join(lines)
