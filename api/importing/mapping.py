"""The mapping file: how a list with headings of its own is to be read. TOML, every part optional.

``[columns]``: which heading is which column, ``installed_on = "Fitted"``, or a list of headings of which the first that is there is taken.
A heading that is mapped has to be in the list. Columns that are not mapped are still found under their own names.

``[dates]``: ``order = "dmy"``, ``"mdy"`` or ``"ymd"``. ISO dates and months in letters are read in any order.

``[numbers]``: ``decimal = ","`` or ``"."``; the other one then separates thousands.

``[units]``: the unit of a column's bare numbers, ``life_months = "years"``, ``length_m = "cm"``. A unit that stands in the cell wins.

``[defaults]``: what a blank cell, or a column that is not there, means: ``site = "Reedmere House"``.

``[values]``: ``ignore = ["n/a", "-"]`` are cells that mean nothing; a table for a column says what its words mean,
``kind = {"Tube" = "uvb-tube"}``. Letter case and blanks do not matter.

``[totals]``: ``words = ["Summe"]`` are further words that a total line begins with; ``foot = false`` takes the rows at the foot that
have no key for items whose key is missing.

``[options]``: ``missing_enclosures = "create"`` or ``"refuse"``; ``sheet``, ``delimiter``, ``encoding`` of the file.
"""

from __future__ import annotations

import codecs
import tomllib
from dataclasses import dataclass, field
from datetime import date
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from api.importing.targets import TARGETS, UNITS, names_of
from domain.errors import Fault, RuleBroken
from domain.records.nights import ImportKind
from domain.records.stated import faults_of
from domain.rules.text import same_name

MAPPING_LENGTH = 100_000
_NO_TEXT_ENCODINGS = frozenset(("idna", "punycode", "unicode-escape", "raw-unicode-escape", "undefined", "mbcs", "oem"))

Headings = str | Annotated[list[str], Field(min_length=1, max_length=20)]


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class _Dates(_Part):
    order: Literal["dmy", "mdy", "ymd"] | None = None


class _Numbers(_Part):
    decimal: Literal[",", "."] | None = None


class _Totals(_Part):
    words: list[str] = []
    foot: bool = True


class _Options(_Part):
    missing_enclosures: Literal["create", "refuse"] | None = None
    sheet: str | None = None
    delimiter: Literal[",", ";", "\t", "|"] | None = None
    encoding: str | None = None


class _File(_Part):
    columns: dict[str, Headings] = {}
    dates: _Dates = _Dates()
    numbers: _Numbers = _Numbers()
    units: dict[str, str] = {}
    defaults: dict[str, str | int | float | date] = {}
    values: dict[str, dict[str, str] | list[str]] = {}
    totals: _Totals = _Totals()
    options: _Options = _Options()


@dataclass(frozen=True, slots=True)
class Mapping:
    """A mapping as it is used; without a file, the plain reading of the template's own headings."""

    columns: dict[str, tuple[str, ...]] = field(default_factory=dict)
    date_order: str | None = None
    decimal: str | None = None
    units: dict[str, str] = field(default_factory=dict)
    defaults: dict[str, Any] = field(default_factory=dict)
    values: dict[str, dict[str, str]] = field(default_factory=dict)
    ignored: frozenset[str] = frozenset()
    total_words: tuple[str, ...] = ()
    totals_at_foot: bool = True
    creates_enclosures: bool = False
    sheet: str | None = None
    delimiter: str | None = None
    encoding: str | None = None
    own_headings: bool = True
    """Whether the list keeps the template's headings, and with them its way of writing numbers."""


def read_mapping(text: str | None, *, kind: ImportKind) -> Mapping:
    """Return the mapping that a TOML text describes; the plain one for no text.

    Raises:
        RuleBroken: It is not TOML, or a line is not understood; the faults name the lines.
    """
    if text is None or not text.strip():
        return Mapping()
    if len(text) > MAPPING_LENGTH:
        raise _refused([("", f"it is longer than {MAPPING_LENGTH} characters")])
    try:
        said = _File.model_validate(tomllib.loads(text))
    except tomllib.TOMLDecodeError as broken:
        raise _refused([("", f"it is not TOML: {broken}")]) from None
    except ValidationError as wrong:
        raise _refused([(_line(fault.pointer), fault.detail) for fault in faults_of(wrong.errors())]) from None
    wrong_lines = [*_unknown_targets(said, kind=kind), *_wrong_units(said, kind=kind), *_wrong_values(said), *_wrong_encoding(said)]
    if wrong_lines:
        raise _refused(wrong_lines)
    return _mapping_of(said)


def _mapping_of(said: _File) -> Mapping:
    ignored = said.values.get("ignore", [])
    return Mapping(
        columns={name: (one,) if isinstance(one, str) else tuple(one) for name, one in said.columns.items()},
        date_order=said.dates.order,
        decimal=said.numbers.decimal,
        units=said.units,
        defaults=said.defaults,
        values={
            name: {same_name(word): meaning for word, meaning in table.items()}
            for name, table in said.values.items()
            if isinstance(table, dict)
        },
        ignored=frozenset(same_name(word) for word in ignored),
        total_words=tuple(same_name(word) for word in said.totals.words),
        totals_at_foot=said.totals.foot,
        creates_enclosures=said.options.missing_enclosures == "create",
        sheet=said.options.sheet,
        delimiter=said.options.delimiter,
        encoding=said.options.encoding,
        own_headings=not said.columns,
    )


def _unknown_targets(said: _File, *, kind: ImportKind) -> list[tuple[str, str]]:
    known = names_of(kind)
    named = {
        "columns": said.columns.keys(),
        "units": said.units.keys(),
        "defaults": said.defaults.keys(),
        "values": said.values.keys() - {"ignore"},
    }
    sentence = f"there is no such column for {kind.value}; the columns are {', '.join(known)}"
    return [(f"[{part}] {name}", sentence) for part, names in named.items() for name in names if name not in known]


def _wrong_units(said: _File, *, kind: ImportKind) -> list[tuple[str, str]]:
    measures = {target.name: target.measure for target in TARGETS[kind]}
    wrong = []
    for name, unit in said.units.items():
        units = UNITS.get(measures.get(name) or "", {})
        if name in measures and unit not in units:
            sentence = f"{unit!r} is none of its units: {', '.join(units)}" if units else "this column has no unit"
            wrong.append((f"[units] {name}", sentence))
    return wrong


def _wrong_values(said: _File) -> list[tuple[str, str]]:
    lists = [name for name, value in said.values.items() if isinstance(value, list) != (name == "ignore")]
    return [
        (f"[values] {name}", "should be a list of words" if name == "ignore" else "should be a table of words and meanings")
        for name in lists
    ]


def _wrong_encoding(said: _File) -> list[tuple[str, str]]:
    if said.options.encoding is None:
        return []
    try:
        found = codecs.lookup(said.options.encoding)
    except (LookupError, ValueError):
        return [("[options] encoding", f"{said.options.encoding!r} is no known encoding")]
    if found.name.replace("_", "-") in _NO_TEXT_ENCODINGS or not getattr(found, "_is_text_encoding", True):
        return [("[options] encoding", f"{said.options.encoding!r} is no encoding of text files")]
    return []


def _line(pointer: str) -> str:
    part, _, name = pointer.removeprefix("/").partition("/")
    return f"[{part}] {name.split('/')[0]}".strip()


def _refused(lines: list[tuple[str, str]]) -> RuleBroken:
    faults = tuple(Fault("/mapping", "mapping-invalid", f"{line}: {sentence}" if line else sentence) for line, sentence in lines)
    return RuleBroken(
        f"The mapping cannot be used. {'; '.join(fault.detail.rstrip('.') for fault in faults)}.", code="mapping-invalid", faults=faults
    )
