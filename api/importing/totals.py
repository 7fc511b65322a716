"""Telling a total line from an item: a total line is neither an item nor a mistake.

A row may be a total line where its key is blank or is itself a word such as *Total*, and where it lacks another fact that every item
has. It is one if a cell says so (a word such as *total*, or *180 items*), or if it stands at the foot, below the last row with a key,
and bears none of those facts.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from api.importing.cells import text_of
from domain.rules.text import same_name

_WORDS = r"(?:grand |sub ?-?|over ?all )?totals?|sum|summary|count"
_COUNTED = re.compile(r"[0-9][0-9., ]*(?:items?|pieces?|pcs|rows?|lines?|entries|records?|units?|in total|total)\W*")
FILLED_MOST = 2
"""How many cells a total line may have filled in a list that states but one fact of every item."""


def total_lines(
    keys: Sequence[Any], others: Sequence[Sequence[Any]], rows: Sequence[Sequence[Any]], *, words: tuple[str, ...], at_foot: bool
) -> set[int]:
    """Return the positions of the total lines.

    ``keys`` are the cells of the key column, ``others`` the columns of the other facts that every item has, ``rows`` all cells.
    """
    says_total = re.compile(rf"\W*(?:{'|'.join([_WORDS, *map(re.escape, words)])})(?:\W|$)", re.IGNORECASE)
    keyed = [bool(text) and not says_total.match(text) for text in (text_of(key).strip() for key in keys)]
    foot = max((position for position, known in enumerate(keyed) if known), default=-1) + 1
    found = set()
    for position, known in enumerate(keyed):
        if known:
            continue
        facts = [bool(same_name(text_of(column[position]))) for column in others]
        texts = [text for cell in rows[position] if (text := same_name(text_of(cell)))]
        if all(facts) if facts else len(texts) > FILLED_MOST:
            continue
        said = any(says_total.match(text) or _COUNTED.fullmatch(text) for text in texts)
        if said or (at_foot and position >= foot and not any(facts)):
            found.add(position)
    return found
