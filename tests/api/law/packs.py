"""The smallest rule packs, as text; a test states only what matters to it."""

from __future__ import annotations

HEAD = """\
[pack]
format = 1
name = "fiction"
version = "1"
title = "Invented law (fictional)"
fictional = true
"""
STATE = """
[[jurisdiction]]
code = "XR"
name = "Arvenne (fictional)"
level = "state"
zone = "Europe/Lisbon"
fictional = true
"""
INSTRUMENT = """
[[instrument]]
code = "act"
title = "Invented Act (fictional)"
"""
KIND = """
[[document_kind]]
code = "keeping"
jurisdiction = "XR"
title = "Permit to keep (fictional)"
citation = "Invented Act, s. 2 (fictional)"
lasts = "P24M"
"""
BASIS = HEAD + STATE + INSTRUMENT + KIND


def requirement(code: str = "XR-1", *tables: str, **said: str) -> str:
    """Return a requirement; values are said as TOML has them, and ``None`` leaves a key out. ``tables`` follow after the keys."""
    basic = {
        "code": f'"{code}"',
        "version": '"1"',
        "jurisdiction": '"XR"',
        "instrument": '"act"',
        "title": '"An invented rule (fictional)"',
        "citation": '"Invented Act, s. 1 (fictional)"',
        "consequence": '"prohibited"',
        "applies_from": "2020-01-01",
        "reviewed_on": "2026-01-10",
    }
    keys = "\n".join(f"{name} = {value}" for name, value in {**basic, **said}.items() if value is not None)
    return "\n".join(["\n[[requirement]]", keys, *tables, ""])


def line_of(text: str, part: str) -> int:
    """Return the line in which the only place of a part of a text begins."""
    assert text.count(part) == 1, part
    return text[: text.index(part)].count("\n") + 1
