"""Finding the headings of a list, and which of its columns is which."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from api.importing.cells import text_of
from api.importing.mapping import Mapping
from api.importing.numbers import unit_named
from api.importing.tables import Table, refused
from api.importing.targets import TARGETS, Cell, names_of
from domain.errors import RuleBroken
from domain.records.nights import ImportKind
from domain.rules.text import same_name

_SHOWN = 20
_WITH_UNIT = re.compile(r"(?P<name>.+?)(?: ?[(\[] ?(?P<within>[^()\[\]]+?) ?[)\]]| ?/ ?(?P<per>[^ ]+)| (?:in )?(?P<behind>[^ ]+))")
_LENGTH_MOST = 120
"""The longest heading in which a unit is looked for."""


@dataclass(frozen=True, slots=True)
class Headings:
    """Where the headings stand: the row's place in the table, and for each column found its place in the row and its heading.

    ``units`` are the units that headings say of columns which may hold several, as *Weight (g)* does.
    """

    at: int
    places: dict[str, int]
    titles: dict[str, str]
    units: dict[str, str]
    ignored: tuple[str, ...]
    width: int


def headings_in(tables: Iterable[Table], *, kind: ImportKind, mapping: Mapping) -> tuple[Table, Headings]:
    """Return the table in which all wanted headings stand in one row, and that row: the first that holds them.

    Raises:
        RuleBroken: No row holds them, or one of them stands there twice; the sentence names what was seen and what is wanted.
    """
    wanted = _wanted(kind, mapping=mapping)
    needed = _needed(kind, mapping=mapping)
    measures = {target.name: target.measure or "" for target in TARGETS[kind] if target.cell is Cell.QUANTITY}
    seen: Sequence[str] = ()
    for table in tables:
        for at, row in enumerate(table.start):
            titles = [text_of(cell).strip() for cell in row]
            places = _places(titles, wanted, measures)
            if needed <= places.keys():
                return table, _found(titles, places, at=at, wanted=wanted, measures=measures)
            if _likeness(titles, places) > _likeness(seen, _places(seen, wanted, measures)):
                seen = titles
    raise _not_found(seen, wanted={name: wanted[name] for name in sorted(needed, key=list(wanted).index)})


def _wanted(kind: ImportKind, *, mapping: Mapping) -> dict[str, tuple[str, ...]]:
    return {name: mapping.columns.get(name, (name,)) for name in names_of(kind)}


def _needed(kind: ImportKind, *, mapping: Mapping) -> set[str]:
    required = {target.name for target in TARGETS[kind] if target.required and target.name not in mapping.defaults}
    return required | mapping.columns.keys()


def _places(titles: Sequence[str], wanted: dict[str, tuple[str, ...]], measures: dict[str, str]) -> dict[str, int]:
    standing: dict[str, int] = {}
    for place, key in enumerate(_keys(titles, wanted, measures)):
        standing.setdefault(key, place)
    standing.pop("", None)
    found = {name: [standing[_key(title)] for title in choices if _key(title) in standing] for name, choices in wanted.items()}
    return {name: places[0] for name, places in found.items() if places}


def _keys(titles: Iterable[str], wanted: dict[str, tuple[str, ...]], measures: dict[str, str]) -> list[str]:
    """Return the form in which two spellings of one heading are equal, without the unit that a measured column's heading may say."""
    measured = {_key(choice): measure for name, measure in measures.items() for choice in wanted[name]}
    keys = []
    for title in titles:
        key = _key(title)
        name, unit = ("", "") if not measured or key in measured else _parts(key)
        keys.append(name if name in measured and unit_named(unit, measure=measured[name]) else key)
    return keys


def _parts(key: str) -> tuple[str, str]:
    """Return the name and the unit of a heading such as *weight (g)*, *weight in g* or *weight g*; empty where it has no two parts."""
    found = _WITH_UNIT.fullmatch(key) if len(key) <= _LENGTH_MOST else None
    return (found["name"], found["within"] or found["per"] or found["behind"]) if found else ("", "")


def _found(titles: list[str], places: dict[str, int], *, at: int, wanted: dict[str, tuple[str, ...]], measures: dict[str, str]) -> Headings:
    keys = _keys(titles, wanted, measures)
    twice = [titles[place] for place in places.values() if keys.count(keys[place]) > 1]
    if twice:
        raise refused("heading-repeated", f"The heading {twice[0]!r} stands there twice; which column is meant cannot be told.")
    used = set(places.values())
    # A column that the mapping gives to one name is not also another's by its own name.
    mapped = {places[name] for name, choices in wanted.items() if choices != (name,) and name in places}
    places = {name: place for name, place in places.items() if wanted[name] != (name,) or place not in mapped}
    ignored = tuple(title for place, title in enumerate(titles) if title and place not in used)
    named = {name: titles[place] for name, place in places.items()}
    said = {name: unit_named(_parts(_key(named[name]))[1], measure=measure) for name, measure in measures.items() if name in named}
    return Headings(at, places, named, {name: unit for name, unit in said.items() if unit}, ignored, len(titles))


def _likeness(titles: Sequence[str], places: dict[str, int]) -> tuple[int, int]:
    return len(places), sum(1 for title in titles if title)


def _key(title: Any) -> str:  # noqa: ANN401 - a heading
    return same_name(str(title).replace("_", " "))


def _not_found(seen: Sequence[str], *, wanted: dict[str, tuple[str, ...]]) -> RuleBroken:
    listed = ", ".join(repr(title[:60]) for title in [title for title in seen if title][:_SHOWN]) or "none"
    names = ", ".join(
        f"{' or '.join(map(repr, choices))} ({name})" if choices != (name,) else repr(name) for name, choices in wanted.items()
    )
    return refused("headings-not-found", f"No row holds all the headings that are wanted: {names}. Seen were: {listed}.")
