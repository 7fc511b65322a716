"""What is said wrongly, or unusually, by kind of field: each value as the JSON text that is sent, by what it is called."""

from __future__ import annotations

import json
from math import inf, nextafter
from typing import Any

TEXT = {
    "markup": "<b onclick='x'>&amp; <img src=x> ${7*7} {{7*7}} %s",
    "right to left": "שלום عالم مرحبا",
    "joined script": "می\u200cخواهم",
    "other scripts": "水龟 かめ ตา Żaba",
    "astral": "𠮷 🐍",
    "composed": "élève",
    "decomposed": "e\u0301le\u0300ve",
    "grows when folded": "\ufdfa" * 100,
    "quotation": "' OR 1=1 --",
    "several statements": "x'); DROP TABLE site; --",
    "patterns": "%_\\",
    "formula": '=HYPERLINK("x")',
    "plus": "+1",
    "at": "@SUM(1)",
    "path": "../../etc/passwd",
    "name of a prototype": "__proto__",
    "edges": " \u00a0edges\u3000 ",
    "digits": "007",
    "word true": "true",
}
"""Text that is kept literally, but for what the table of the changes says."""
HIDDEN = {
    "NUL": "a\0b",
    "NUL at the end": "ab\0",
    "bell": "a\x07b",
    "escape": "a\x1b[31mb",
    "delete": "a\x7fb",
    "separator at the edge": "\x1cab",
    "second set": "a\x9bb",
    "override": "a\u202eb",
    "embedding": "a\u202ab\u202c",
    "isolate": "a\u2066b\u2069",
    "mark": "a\u200fb",
    "no width": "a\u200bb",
    "byte order mark": "\ufeffab",
    "soft hyphen": "a\u00adb",
    "tag": "a\U000e0041b",
}
"""Text that is refused in every field that is text."""
BREAKS = {"newline": "a\nb", "carriage return": "a\rb", "both": "a\r\nb", "tab": "a\tb", "line separator": "a\u2028b"}
"""Refused where one line is wanted, kept as newlines and tabs where several are."""
HALVES = {"half a character": '"a\\ud800b"', "the other half": '"\\udc00"', "halves in the wrong order": '"\\udc00\\ud800"'}
NUMBERS = {
    "0": "0",
    "-1": "-1",
    "negative zero": "-0.0",
    "whole with a point": "1.0",
    "fraction": "1.5",
    "exponent": "1e3",
    "text": '"5"',
    "text of nothing": '""',
    "2^53": "9007199254740992",
    "2^53 + 1": "9007199254740993",
    "2^63": "9223372036854775808",
    "-2^63 - 1": "-9223372036854775809",
    "10^400": "1" + "0" * 400,
    "1e400": "1e400",
    "-1e400": "-1e400",
    "least of all": "5e-324",
    "NaN": "NaN",
    "Infinity": "Infinity",
    "-Infinity": "-Infinity",
    "leading zero": "01",
    "leading plus": "+1",
    "nothing before the point": ".5",
    "hexadecimal": "0x10",
    "underscore": "1_000",
    "other digits": "١",
}
DATES = {
    "no such day": "2026-02-29",
    "year 1": "0001-01-01",
    "year 1899": "1899-12-31",
    "year 1900": "1900-01-01",
    "year 2201": "2201-01-01",
    "five digits": "10000-01-01",
    "an instant": "2026-02-01T00:00:00",
    "an instant at noon": "2026-02-01T12:00:00Z",
    "digits": "20260201",
    "seconds": "1769904000",
    "week": "2026-W05-7",
    "one digit": "2026-2-1",
    "blank": " 2026-02-01",
    "other digits": "٢٠٢٦-٠٢-٠١",
    "other order": "01.02.2026",
    "half a character": "2026-02-0\ud800",
    "nothing": "",
}
INSTANTS = {
    "no offset": "2026-02-10T10:00:00",
    "a day alone": "2026-02-10",
    "no seconds": "2026-02-10T10:00Z",
    "25 o'clock": "2026-02-10T25:00:00Z",
    "a day's offset": "2026-02-10T10:00:00+24:00",
    "before the first": "0001-01-01T00:00:00+23:59",
    "nanoseconds": "2026-02-10T10:00:00.000000001Z",
    "a week day": "Tue, 10 Feb 2026 10:00:00 GMT",
    "seconds": "1770717600",
}
OTHER_KINDS = {"true": "true", "a list": "[]", "an object": "{}", "a list in a list": "[[]]", "a number": "5"}


def for_kind(kind: str, schema: dict[str, Any], *, right: str) -> dict[str, str]:
    """Return the whole corpus for a kind of field, by names; ``right`` is what would be right, where ids are concerned."""
    other = {name: value for name, value in OTHER_KINDS.items() if (kind, name) not in _RIGHT_KIND} | {"null": "null"}
    if kind in {"line", "lines", "text"}:
        longest = schema.get("maxLength", 120)
        lengths = {"longest": "x" * longest, "one too long": "x" * (longest + 1), "4001": "x" * 4001, "100000": "x" * 100_000}
        plain = {**TEXT, **HIDDEN, **BREAKS, **lengths, "empty": "", "blank": " \t\u00a0"}
        return {**_quoted(plain), **HALVES, **other}
    if kind in {"integer", "number"}:
        return {**NUMBERS, **_bounds(kind, schema), **other}
    if kind == "date":
        return {**_quoted(DATES), **other, "seconds as a number": "1769904000"}
    if kind == "date-time":
        return {**_quoted({f"{name} at noon": f"{day}T12:00:00Z" for name, day in DATES.items()} | INSTANTS), **other}
    if kind == "uuid":
        return {**_quoted(ids(right)), **HALVES, **other}
    if kind == "enum":
        words = {"another word": "no-such-word", "upper case": str(schema["enum"][0]).upper() + "X", "blank": f"{schema['enum'][0]} "}
        return {**_quoted({**words, "empty": "", "NUL": f"{schema['enum'][0]}\0"}), **HALVES, **other}
    if kind == "boolean":
        return {"0": "0", "1": "1", "text": '"true"', "empty": '""', **{name: one for name, one in other.items() if name != "true"}}
    return {"a number": "5", "text": '"x"', "true": "true", "null": "null", "other way round": "{}" if kind == "array" else "[]"}


def ids(right: str) -> dict[str, str]:
    """Return other ways to write an id."""
    return {
        "braces": "{" + right + "}",
        "URN": f"urn:uuid:{right}",
        "upper case": right.upper(),
        "no hyphens": right.replace("-", ""),
        "nil": "00000000-0000-0000-0000-000000000000",
        "too short": right[:-1],
        "blank": f" {right}",
        "NUL": f"{right[:-1]}\0",
        "empty": "",
        "statement": "' OR 1=1 --",
        "other digits": "٠" + right[1:],
    }


REPRESENTATIVE = {
    "markup", "right to left", "decomposed", "NUL", "override", "newline", "half a character", "100000", "empty", "blank",
    "text", "true", "null", "2^53 + 1", "2^63", "10^400", "1e400", "NaN", "whole with a point", "negative zero",
    "just below", "just above", "least", "most", "no such day", "an instant", "seconds", "year 2201",
    "braces", "upper case", "nil", "another word", "an object", "1", "other way round",
}  # fmt: skip
"""What every field is tried with; one field of each kind is tried with everything."""


def _quoted(texts: dict[str, str]) -> dict[str, str]:
    return {name: json.dumps(text) for name, text in texts.items()}


def _bounds(kind: str, schema: dict[str, Any]) -> dict[str, str]:
    found: dict[str, Any] = {}
    step = (lambda bound, way: bound + way) if kind == "integer" else (lambda bound, way: nextafter(bound, way * inf))
    if "minimum" in schema:
        found |= {"least": schema["minimum"], "just below": step(schema["minimum"], -1)}
    if "exclusiveMinimum" in schema:
        found |= {"just below": schema["exclusiveMinimum"], "least": step(schema["exclusiveMinimum"], 1)}
    if "maximum" in schema:
        found |= {"most": schema["maximum"], "just above": step(schema["maximum"], 1)}
    if "exclusiveMaximum" in schema:
        found |= {"just above": schema["exclusiveMaximum"], "most": step(schema["exclusiveMaximum"], -1)}
    return {name: repr(value) for name, value in found.items()}


_RIGHT_KIND = {("integer", "a number"), ("number", "a number"), ("boolean", "true")}
