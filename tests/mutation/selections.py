"""Which tests have to notice a fault in which modules."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

HOUSE = Path(__file__).parents[2]
HERE = Path(__file__).parent


@dataclass(frozen=True, slots=True)
class Selection:
    """Modules and their tests; ``aim`` is the least share killed [%], ``options`` are further arguments of pytest."""

    name: str
    aim: float
    modules: tuple[str, ...]
    tests: tuple[str, ...]
    options: tuple[str, ...] = ()


def selections() -> list[Selection]:
    """Return what is written down."""
    written = tomllib.loads((HERE / "selections.toml").read_text(encoding="utf-8"))["selection"]
    return [Selection(**{name: tuple(value) if isinstance(value, list) else value for name, value in one.items()}) for one in written]


def chosen(every: Sequence[Selection], names: Sequence[str]) -> list[Selection]:
    """Return the selections of these names, or narrowed to the modules of these names; all of them where nothing is named.

    Raises:
        SystemExit: A name is neither.
    """
    known = {one.name for one in every} | {module for one in every for module in one.modules}
    if unknown := sorted(set(names) - known):
        raise SystemExit(f"No selection or module of selections.toml: {', '.join(unknown)}")
    if not names:
        return list(every)
    narrowed = [one if one.name in names else replace(one, modules=tuple(m for m in one.modules if m in names)) for one in every]
    return [one for one in narrowed if one.modules]
