"""Whose law applies where: unions of states, states, their subdivisions and local authorities, as a tree of codes.

A state bears its alpha-2 code (ISO 3166-1) and a subdivision its own (ISO 3166-2: the state's, a hyphen and up to three characters). Local
authorities are below that standard: theirs is the code of what they lie in, a colon and an identifier of their own. What is not real bears
codes that are nobody's, and says so.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from domain.rules.country_codes import ALPHA_2, UNIONS, is_user_assigned
from domain.rules.law.spans import WorkingDays

WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
CODE_PATTERN = r"^[A-Z]{2}(-[A-Z0-9]{1,3})?(:[A-Z0-9-]{1,20})?$"
"""How codes of jurisdictions are written; at most ``CODE_LENGTH`` characters."""
CODE_LENGTH = 27


class Level(StrEnum):
    """How far up a jurisdiction stands, from the highest down."""

    SUPRANATIONAL = "supranational"
    STATE = "state"
    SUBDIVISION = "subdivision"
    LOCAL_AUTHORITY = "local_authority"


_MAY_LIE_IN: Mapping[Level, frozenset[Level]] = {
    Level.SUPRANATIONAL: frozenset((Level.SUPRANATIONAL,)),
    Level.STATE: frozenset((Level.SUPRANATIONAL,)),
    Level.SUBDIVISION: frozenset((Level.STATE, Level.SUBDIVISION)),
    Level.LOCAL_AUTHORITY: frozenset((Level.STATE, Level.SUBDIVISION, Level.LOCAL_AUTHORITY)),
}
_FORMS: Mapping[Level, tuple[re.Pattern[str], str]] = {
    Level.SUPRANATIONAL: (re.compile(r"[A-Z]{2}"), "two letters"),
    Level.STATE: (re.compile(r"[A-Z]{2}"), "its two letters of ISO 3166-1"),
    Level.SUBDIVISION: (re.compile(r"[A-Z]{2}-[A-Z0-9]{1,3}"), "the state's two letters, a hyphen and one to three letters or digits"),
    Level.LOCAL_AUTHORITY: (
        re.compile(r"[A-Z]{2}(-[A-Z0-9]{1,3})?:[A-Z0-9-]{1,20}"),
        "the code of what it lies in, a colon and an identifier of its own in capitals, digits and hyphens",
    ),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Jurisdiction:
    """A place with law of its own, its IANA zone, and the days on which its offices work."""

    code: str
    name: str
    level: Level
    zone: str
    parent_code: str | None = None
    fictional: bool = False
    working_days: WorkingDays = field(default_factory=WorkingDays)

    @property
    def state_code(self) -> str:
        """The two letters that its code begins with."""
        return self.code[:2]


def fault_of_code(one: Jurisdiction) -> str | None:
    """Return what is wrong with a jurisdiction's code, in a sentence; ``None`` where nothing is."""
    form, words = _FORMS[one.level]
    if form.fullmatch(one.code) is None:
        return f"The code of a {one.level.value.replace('_', ' ')} should be {words}."
    if is_user_assigned(one.state_code):
        return None if one.fictional else f"{one.state_code} is assigned to nobody (ISO 3166-1): only what is fictional may bear it."
    if one.fictional:
        return f"What is fictional should bear a code that is assigned to nobody (AA, QM to QZ, XA to XZ, ZZ), not {one.state_code}."
    known = UNIONS if one.level is Level.SUPRANATIONAL else ALPHA_2
    return None if one.state_code in known else f"ISO 3166-1 knows no {one.state_code}."


def fault_of_parent(one: Jurisdiction, known: Mapping[str, Jurisdiction]) -> str | None:
    """Return what is wrong with what a jurisdiction is said to lie in, in a sentence; ``None`` where nothing is."""
    if one.parent_code is None:
        needs_one = one.level in (Level.SUBDIVISION, Level.LOCAL_AUTHORITY)
        return f"Say what this {one.level.value.replace('_', ' ')} lies in." if needs_one else None
    parent = known.get(one.parent_code)
    if parent is None:
        return f"There is no jurisdiction {one.parent_code}."
    if one.code in _upwards(known, one.parent_code):
        return f"{one.code} would lie in itself."
    if parent.level not in _MAY_LIE_IN[one.level]:
        return f"A {one.level.value.replace('_', ' ')} does not lie in a {parent.level.value.replace('_', ' ')}."
    if parent.level is not Level.SUPRANATIONAL and parent.state_code != one.state_code:
        return f"{one.code} does not lie in {parent.code}, by its code."
    if parent.fictional is not one.fictional:
        return "What is fictional and what is real do not lie in one another."
    return None


def chain(known: Mapping[str, Jurisdiction], code: str) -> tuple[str, ...]:
    """Return the codes of all jurisdictions that apply in one, from it up.

    Of a code that is not on record, what it lies in is read from the code itself, so that the law of its state holds there as well.
    """
    found: list[str] = []
    while code not in known:
        found.append(code)
        code, _, _ = code.rpartition(":" if ":" in code else "-")
        if not code:
            return tuple(found)
    return (*found, *_upwards(known, code))


def _upwards(known: Mapping[str, Jurisdiction], code: str) -> tuple[str, ...]:
    found: dict[str, None] = {}
    place: str | None = code
    while place is not None and place not in found:
        found[place] = None
        place = known[place].parent_code if place in known else None
    return tuple(found)
