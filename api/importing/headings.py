"""Finding the headings of a list, and which of its columns is which."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from api.importing.cells import text_of
from api.importing.mapping import Mapping
from api.importing.tables import Table, refused
from api.importing.targets import TARGETS, names_of
from domain.errors import RuleBroken
from domain.records.nights import ImportKind
from domain.rules.text import same_name

_SHOWN = 20


@dataclass(frozen=True, slots=True)
class Headings:
    """Where the headings stand: the row's place in the table, and for each column found its place in the row and its heading."""

    at: int
    places: dict[str, int]
    titles: dict[str, str]
    ignored: tuple[str, ...]
    width: int


def headings_in(tables: Iterable[Table], *, kind: ImportKind, mapping: Mapping) -> tuple[Table, Headings]:
    """Return the table in which all wanted headings stand in one row, and that row: the first that holds them.

    Raises:
        RuleBroken: No row holds them, or one of them stands there twice; the sentence names what was seen and what is wanted.
    """
    wanted = _wanted(kind, mapping=mapping)
    needed = _needed(kind, mapping=mapping)
    seen: Sequence[str] = ()
    for table in tables:
        for at, row in enumerate(table.start):
            titles = [text_of(cell).strip() for cell in row]
            places = _places(titles, wanted)
            if needed <= places.keys():
                return table, _found(titles, places, at=at, wanted=wanted)
            if _likeness(titles, places) > _likeness(seen, _places(seen, wanted)):
                seen = titles
    raise _not_found(seen, wanted={name: wanted[name] for name in sorted(needed, key=list(wanted).index)})


def _wanted(kind: ImportKind, *, mapping: Mapping) -> dict[str, tuple[str, ...]]:
    return {name: mapping.columns.get(name, (name,)) for name in names_of(kind)}


def _needed(kind: ImportKind, *, mapping: Mapping) -> set[str]:
    required = {target.name for target in TARGETS[kind] if target.required and target.name not in mapping.defaults}
    return required | mapping.columns.keys()


def _places(titles: Sequence[str], wanted: dict[str, tuple[str, ...]]) -> dict[str, int]:
    standing: dict[str, int] = {}
    for place, title in enumerate(titles):
        standing.setdefault(_key(title), place)
    standing.pop("", None)
    found = {name: [standing[_key(title)] for title in choices if _key(title) in standing] for name, choices in wanted.items()}
    return {name: places[0] for name, places in found.items() if places}


def _found(titles: list[str], places: dict[str, int], *, at: int, wanted: dict[str, tuple[str, ...]]) -> Headings:
    keys = [_key(title) for title in titles]
    twice = [titles[place] for place in places.values() if keys.count(keys[place]) > 1]
    if twice:
        raise refused("heading-repeated", f"The heading {twice[0]!r} stands there twice; which column is meant cannot be told.")
    used = set(places.values())
    # A column that the mapping gives to one name is not also another's by its own name.
    mapped = {places[name] for name, choices in wanted.items() if choices != (name,) and name in places}
    places = {name: place for name, place in places.items() if wanted[name] != (name,) or place not in mapped}
    ignored = tuple(title for place, title in enumerate(titles) if title and place not in used)
    return Headings(at, places, {name: titles[place] for name, place in places.items()}, ignored, len(titles))


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
