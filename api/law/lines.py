"""In which line of a TOML text a table, a key or an element of a list stands, so that whoever wrote it finds what is wrong."""

from __future__ import annotations

import tomllib
from bisect import bisect_right
from itertools import accumulate

from domain.records.stated import pointer_to

_BLANKS = " \t"
_BETWEEN = " \t\r\n"
_BARE_ENDS = frozenset(",]}#\n")
_KEY_ENDS = frozenset(" \t.=]")

Place = tuple[str | int, ...]


class Lines:
    """The lines of a text that ``tomllib`` has read; of any other text nothing is promised."""

    def __init__(self, text: str) -> None:
        self._found = _Walk(text).lines

    def of(self, pointer: str) -> int:
        """Return the line, from 1, of what a JSON pointer leads to; of what is not there, that of the table or list that lacks it."""
        while pointer not in self._found:
            pointer = pointer.rpartition("/")[0]
        return self._found[pointer]


class _Walk:
    """One way through a text from its beginning to its end, noting where everything begins."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.lines: dict[str, int] = {"": 1}
        self._starts = [0, *accumulate(len(line) + 1 for line in text.split("\n"))]
        self._lengths: dict[Place, int] = {}
        self._walk()

    def _walk(self) -> None:
        table: Place = ()
        while self._skip_to_next():
            if self.text.startswith("[[", self.at):
                table = self._header(2)
            elif self.text[self.at] == "[":
                table = self._header(1)
            else:
                self._pair(table)

    def _header(self, brackets: int) -> Place:
        """Go past the header of a table, or of a further table in a list of them, and return its place."""
        begin = self.at
        self.at += brackets
        *above, last = self._key()
        self.at = self.text.index("]" * brackets, self.at) + brackets
        place: Place = ()
        for part in above:
            place = self._latest((*place, part))
        place = (*place, last)
        if brackets == 2:  # noqa: PLR2004 - a list of tables
            self._note(place, begin)
            self._lengths[place] = self._lengths.get(place, 0) + 1
        place = self._latest(place)
        self._note(place, begin)
        return place

    def _latest(self, place: Place) -> Place:
        """Return the place of the latest table in a list of tables; any other place as it is."""
        return (*place, self._lengths[place] - 1) if place in self._lengths else place

    def _pair(self, table: Place) -> None:
        begin = self.at
        place = table
        for part in self._key():
            place = (*place, part)
            self._note(place, begin)
        self.at = self.text.index("=", self.at) + 1
        self._value(place)

    def _key(self) -> list[str]:
        """Go past a key and return its parts, which dots separate."""
        parts: list[str] = []
        while True:
            self._skip(_BLANKS)
            begin = self.at
            if self.text[begin] in "\"'":
                self._string(self.text[begin])
                parts.append(tomllib.loads(f"key = {self.text[begin : self.at]}")["key"])
            else:
                while self.text[self.at] not in _KEY_ENDS:
                    self.at += 1
                parts.append(self.text[begin : self.at])
            self._skip(_BLANKS)
            if self.text[self.at] != ".":
                return parts
            self.at += 1

    def _value(self, place: Place) -> None:
        """Go past a value, noting where what is in it begins."""
        self._skip(_BLANKS)
        mark = self.text[self.at]
        if mark in "\"'":
            self._string(mark * 3 if self.text.startswith(mark * 3, self.at) else mark)
        elif mark == "[":
            self._list(place)
        elif mark == "{":
            self._inline_table(place)
        else:
            while self.at < len(self.text) and self.text[self.at] not in _BARE_ENDS:
                self.at += 1

    def _string(self, quotes: str) -> None:
        self.at += len(quotes)
        while not self.text.startswith(quotes, self.at):
            self.at += 2 if self.text[self.at] == "\\" and quotes[0] == '"' else 1
        self.at += len(quotes)
        while len(quotes) > 1 and self.text.startswith(quotes[0], self.at):
            self.at += 1  # up to two quotation marks of the text itself stand before those that end it

    def _list(self, place: Place) -> None:
        self.at += 1
        number = 0
        while self._skip_to_next() and self.text[self.at] != "]":
            self._note((*place, number), self.at)
            self._value((*place, number))
            number += 1
            self._skip_to_next(also=",")
        self.at += 1

    def _inline_table(self, place: Place) -> None:
        self.at += 1
        while self._skip_to_next() and self.text[self.at] != "}":
            self._pair(place)
            self._skip_to_next(also=",")
        self.at += 1

    def _skip(self, characters: str) -> None:
        while self.at < len(self.text) and self.text[self.at] in characters:
            self.at += 1

    def _skip_to_next(self, *, also: str = "") -> bool:
        """Go past blanks, ends of lines and comments, and return whether anything is left."""
        self._skip(_BETWEEN + also)
        while self.at < len(self.text) and self.text[self.at] == "#":
            end = self.text.find("\n", self.at)
            self.at = len(self.text) if end < 0 else end
            self._skip(_BETWEEN + also)
        return self.at < len(self.text)

    def _note(self, place: Place, begin: int) -> None:
        self.lines.setdefault(pointer_to(place), bisect_right(self._starts, begin))
