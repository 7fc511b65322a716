"""Reading a request's JSON without forgiving anything that two readers could understand differently."""

from __future__ import annotations

import json
import math
import re
from collections import Counter
from collections.abc import Iterator
from itertools import islice
from typing import Any, NoReturn

from api.errors import Malformed
from domain.errors import Fault, RuleBroken
from domain.records.stated import pointer_to

DEEPEST = 32
"""Lists and objects within each other; the stated facts need four."""
LARGEST = 2**53
"""Beyond it other languages' numbers are not exact (RFC 8259, section 6)."""

FAULTS_MOST = 20
"""How many faults are named of values that cannot be kept; where one is, all are likely to be of one cause."""

# A text that has no end is passed over to the end of the body, so that each character is looked at once.
_TEXT_OR_BRACKET = re.compile(r'"(?:[^"\\]++|\\.?)*+"?|[\[\]{}]', re.DOTALL)


def read_json(raw: bytes) -> Any:  # noqa: ANN401 - any JSON value
    """Return the value of a JSON text in UTF-8.

    Raises:
        Malformed: It is not JSON, names a field twice, says NaN or Infinity, or is nested deeper than ``DEEPEST``.
        RuleBroken: It holds a number or a text that cannot be kept; the faults name the fields.
    """
    try:
        text = raw.decode()
        _refuse_depth(text)
        value = _DECODER.decode(text)
    except UnicodeDecodeError:
        raise Malformed("The body is not UTF-8.", code="not-utf-8") from None
    except ValueError as wrong:
        raise Malformed(f"The body is not valid JSON: {wrong}.", code="not-json") from None
    faults = tuple(islice(_faults(value, ()), FAULTS_MOST))
    if faults:
        raise RuleBroken("Some of what was said cannot be taken.", code="invalid", faults=faults)
    return value


def _pairs(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        counts = Counter(name for name, _ in pairs)
        twice = next(name for name, count in counts.items() if count > 1)
        raise Malformed(f"The field {json.dumps(twice)} is named twice.", code="duplicate-field")
    return found


def _constant(name: str) -> NoReturn:
    raise ValueError(f"{name} is no JSON number")


_DECODER = json.JSONDecoder(object_pairs_hook=_pairs, parse_constant=_constant)


_STEPS = {"[": 1, "{": 1, "]": -1, "}": -1}


def _refuse_depth(text: str) -> None:
    if text.count("[") + text.count("{") <= DEEPEST:
        return
    depth = 0
    for found in _TEXT_OR_BRACKET.finditer(text):
        if found[0] not in _STEPS:
            continue
        depth += _STEPS[found[0]]
        if depth > DEEPEST:
            raise Malformed(f"The body is nested deeper than {DEEPEST} levels.", code="too-deep")


def _faults(value: Any, place: tuple[str | int, ...]) -> Iterator[Fault]:  # noqa: ANN401 - any JSON value
    if isinstance(value, str):
        if not value.isascii() and not _is_whole(value):
            yield Fault(pointer_to(place), "half-character", "This text contains half a character (a lone surrogate).")
    elif isinstance(value, dict):
        for name, one in value.items():
            if not name.isascii() and not _is_whole(name):
                yield Fault(pointer_to(place), "half-character", "A field's name contains half a character (a lone surrogate).")
            else:
                yield from _faults(one, (*place, name))
    elif isinstance(value, list):
        for position, one in enumerate(value):
            yield from _faults(one, (*place, position))
    elif isinstance(value, int | float) and not (-LARGEST <= value <= LARGEST if isinstance(value, int) else math.isfinite(value)):
        yield Fault(pointer_to(place), "number-too-large", "This number is too large to be exact everywhere.")


def _is_whole(text: str) -> bool:
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return True
