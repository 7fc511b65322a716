"""Whether an answer is honest: refused with the field named, or kept as it was sent but for what is documented."""

from __future__ import annotations

import json
import re
import unicodedata
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from tests.corpus.calling import Answer
from tests.corpus.fields import Field
from tests.corpus.values import BREAKS, HALVES, HIDDEN, TEXT

CHANGES = (
    ("line, lines", "White space at the ends is not kept.", lambda text: text.strip(" \t\n\r\u00a0\u3000\u2028\u2029")),
    ("line, lines", "What may be composed is composed (Unicode NFC).", lambda text: unicodedata.normalize("NFC", text)),
    ("lines", "Line breaks of any kind are kept as one newline each.", lambda text: re.sub("\r\n|[\r\u2028\u2029\u0085]", "\n", text)),
    ("uuid", "Ids come back in lower case (RFC 9562, section 4).", str.lower),
)
"""Every way in which what comes back may differ from what was sent. Beside it, a number is one number however it is written: 5 is 5.0."""

OF_OTHERS = frozenset(
    {
        "at-other-site",
        "before-installation",
        "counter-backwards",
        "in-future",
        "not-here",
        "not-together",
        "reference-unknown",
        "required",
        "stays-at-site",
    }
)
"""Refusals of a rule between fields, which name the one that a person would mend; it need not be the one that was tried."""
NOT_ASKED = frozenset({"not-asked", "repeated"})
"""Refusals of answers to what a file does not leave open, whatever they say."""
NO_FIELD = frozenset({"not-json", "not-utf-8", "duplicate-field", "too-deep"})
"""Refusals of a body in which no field can be made out."""
NOT_YET_ASKED = frozenset({401, 403, 404, 409, 412, 428})
"""What has nothing to do with the field."""


def as_kept(kind: str, value: Any) -> Any:
    """Return what a value is kept as, by the table of the changes."""
    for kinds, _, change in CHANGES:
        if isinstance(value, str) and kind in kinds.split(", "):
            value = change(value)
    return value


def complaints(field: Field, name: str, raw: str, answer: Answer, shown: Mapping[str, Any] | None) -> list[str]:
    """Return what is wrong with the answer to a body whose field was set to ``raw``; ``shown`` is the record as it is read afterwards."""
    if answer.status >= 500:
        return ["a fault of ours"]
    if answer.status >= 400:
        return _of_refusal(field, name, answer)
    if _has_to_be_refused(field.kind, name):
        return ["taken, though it hides or cannot be kept"]
    stated = json.loads(raw)
    found = [one for one in (answer.json, shown) if isinstance(one, dict)]
    return [
        f"came back as {got!r}" for got in (_at(one, field) for one in found) if got is not _ABSENT and not _same(field.kind, stated, got)
    ]


_ABSENT = object()


def _of_refusal(field: Field, name: str, answer: Answer) -> list[str]:
    if answer.status in NOT_YET_ASKED:
        return []
    status, code, faults = answer.verdict
    if status == 400:
        return [] if code in NO_FIELD else [f"400 {code}"]
    if status != 422:
        return [f"status {status}"]
    if code == "answers-unfit" and NOT_ASKED.issuperset(fault for _, fault in faults):
        return []
    if field.kind in {"line", "lines"} and (name in TEXT or (field.kind == "lines" and name in BREAKS)) and _names(field, faults):
        return [f"refused, though it is honest text: {faults}"]
    named = _names(field, faults) or any(fault in OF_OTHERS for _, fault in faults)
    return [] if named else [f"the field is not named: {code} {faults}"]


def _names(field: Field, faults: tuple[tuple[str, str], ...]) -> bool:
    mine = field.pointer
    return any(where and (where == mine or where.startswith(f"{mine}/") or mine.startswith(f"{where}/")) for where, _ in faults)


def _has_to_be_refused(kind: str, name: str) -> bool:
    return kind in {"line", "lines", "text", "uuid", "enum"} and (name in HIDDEN or name in HALVES or (kind == "line" and name in BREAKS))


def _at(shown: Any, field: Field) -> Any:
    for part in field.place:
        if isinstance(part, int):
            if not isinstance(shown, list) or len(shown) <= part:
                return _ABSENT
        elif not isinstance(shown, dict) or part not in shown:
            return _ABSENT
        shown = shown[part]
    return shown


def _same(kind: str, stated: Any, got: Any) -> bool:
    if stated is None:
        return got in (None, "", [], 0) or got is not True
    if isinstance(stated, bool) or isinstance(got, bool):
        return stated is got
    if isinstance(stated, list | dict):
        return bool(got == stated) or got in ([], {})
    if kind == "date-time":
        return isinstance(stated, str) and isinstance(got, str) and datetime.fromisoformat(got) == datetime.fromisoformat(stated)
    return bool(as_kept(kind, stated) == got) and isinstance(got, str) == isinstance(stated, str)
