"""Reading a list out of a file: workbook, separated text or JSON, told apart by what the file holds rather than by its name."""

from __future__ import annotations

import codecs
import csv
import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from io import BytesIO, StringIO
from itertools import islice
from pathlib import PurePath
from typing import Any

from python_calamine import CalamineError, CalamineWorkbook, PasswordError, WorksheetNotFound

from api.importing.archives import ROWS_MOST, UPLOAD_MOST, refuse_unsafe_workbook
from api.importing.mapping import Mapping
from domain.errors import RuleBroken
from domain.rules.text import same_name

SEARCHED_ROWS = 100
"""How far down headings are looked for."""
DELIMITERS = (",", ";", "\t", "|")
_ZIP = b"PK\x03\x04"
_OLE = b"\xd0\xcf\x11\xe0"
_UTF_16 = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)


@dataclass(frozen=True, slots=True)
class JsonValue:
    """What stands in JSON where other files have a text or a number: true, false, a list or an object.

    ``written`` is its JSON text, ``parts`` the texts and numbers of a list that has nothing else in it.
    """

    written: str
    parts: tuple[str | int | float, ...] | None = None

    def __str__(self) -> str:
        return self.written


@dataclass(frozen=True, slots=True)
class Table:
    """All rows of a list from its first on, preamble and headings included.

    ``start`` are as many of them as headings are looked for in, ``rest`` those that follow; ``first_row`` is the number of the first as the
    sheet counts; ``form`` is ``workbook``, ``text`` or ``json``. A list in JSON has no preamble: its headings stand first and its objects
    count from 1.
    """

    start: Sequence[Sequence[Any]]
    rest: Iterable[Sequence[Any]]
    first_row: int
    form: str

    def rows_from(self, at: int) -> list[Sequence[Any]]:
        """Return all rows from the row at a place on.

        Raises:
            RuleBroken: There are more than the cap, or the text breaks off.
        """
        try:
            rows = [*self.start[at:], *islice(self.rest, ROWS_MOST + 1)]
        except csv.Error as broken:
            raise _broken_text(broken) from broken
        if len(rows) > ROWS_MOST:
            raise refused("too-many-rows", f"The list has more than {ROWS_MOST} rows.")
        return rows


def _table(rows: Iterable[Sequence[Any]], *, first_row: int, form: str) -> Table:
    remaining = iter(rows)
    try:
        return Table(list(islice(remaining, SEARCHED_ROWS)), remaining, first_row, form)
    except csv.Error as broken:
        raise _broken_text(broken) from broken


def tables_in(content: bytes, *, file_name: str, mapping: Mapping) -> Iterator[Table]:
    """Yield the ways in which the file can be read as a table, likeliest first: more than one where the delimiter is not known.

    Raises:
        RuleBroken: The file is empty, too large, damaged, or in another encoding than said; its own sentence says which.
    """
    if not content.strip(b"\x00 \t\r\n"):
        raise refused("file-empty", "The file is empty.")
    if len(content) > UPLOAD_MOST:
        raise refused("file-too-large", f"The file is larger than {UPLOAD_MOST // 1024 // 1024} MB.")
    if content.startswith((_ZIP, _OLE)):
        yield _table(_workbook_rows(content, sheet=mapping.sheet), first_row=1, form="workbook")
        return
    text = _text(content, encoding=mapping.encoding)
    if _is_json(text, file_name=file_name):
        yield _table(_json_rows(text), first_row=0, form="json")
        return
    for delimiter in (mapping.delimiter,) if mapping.delimiter else DELIMITERS:
        yield _table(csv.reader(StringIO(text, newline=""), delimiter=delimiter), first_row=1, form="text")


def refused(code: str, detail: str) -> RuleBroken:
    """Return the refusal of a file."""
    return RuleBroken(detail, code=code, field="file")


def _workbook_rows(content: bytes, *, sheet: str | None) -> list[list[Any]]:
    refuse_unsafe_workbook(content)
    try:
        with CalamineWorkbook.from_filelike(BytesIO(content)) as workbook:
            named = {same_name(name): name for name in workbook.sheet_names}
            if not named:
                raise refused("sheet-unknown", "The workbook has no sheets.")
            if sheet and same_name(sheet) not in named:
                raise refused("sheet-unknown", f"The workbook has no sheet {sheet!r}; it has {', '.join(workbook.sheet_names)}.")
            found = workbook.get_sheet_by_name(named[same_name(sheet)] if sheet else workbook.sheet_names[0])
            return [_tidy(row) for row in found.to_python(skip_empty_area=False)]
    except PasswordError as locked:
        raise refused("workbook-locked", "The workbook has a password. Save it without one.") from locked
    except (CalamineError, WorksheetNotFound, OSError, ValueError) as broken:
        raise refused("workbook-broken", "The workbook cannot be opened; the file is damaged.") from broken


def _tidy(row: list[Any]) -> list[Any]:
    # True equals 1 in Python; as text it stays what it is.
    if True in row or False in row:
        return [("TRUE" if cell else "FALSE") if isinstance(cell, bool) else cell for cell in row]
    return row


def _text(content: bytes, *, encoding: str | None) -> str:
    name = encoding or ("utf-16" if content.startswith(_UTF_16) else "utf-8-sig")
    try:
        return content.decode(name).removeprefix("\N{ZERO WIDTH NO-BREAK SPACE}")
    except UnicodeDecodeError as wrong:
        said = f"declared as {encoding}" if encoding else "taken for UTF-8"
        raise refused(
            "encoding",
            f"The file is {said}, but byte {wrong.start + 1} (0x{content[wrong.start]:02X}) is not of that encoding. "
            'Save it as UTF-8, or declare its encoding in the mapping: [options] encoding = "cp1252".',
        ) from wrong


def _is_json(text: str, *, file_name: str) -> bool:
    start = text.lstrip()[:1]
    return start in {"[", "{"} and (PurePath(file_name).suffix.lower() == ".json" or text.lstrip()[1:].lstrip()[:1] in {"{", "]", '"'})


def _broken_text(broken: csv.Error) -> RuleBroken:
    return refused("text-broken", f"The file cannot be read as separated text: {broken}.")


def _json_rows(text: str) -> Iterator[list[Any]]:
    try:
        found = json.loads(text, object_pairs_hook=_object, parse_constant=_refuse_constant)
    except RecursionError as deep:
        raise _too_deep() from deep
    except ValueError as broken:
        raise refused("json-broken", f"The file cannot be read as JSON: {broken}.") from broken
    if not isinstance(found, list) or not all(isinstance(one, dict) for one in found):
        raise refused("json-no-list", "A JSON file should hold one list of objects.")
    names = list(dict.fromkeys(name for one in found for name in one))
    yield names
    for one in found:
        yield [_json_cell(one.get(name)) for name in names]


def _too_deep() -> RuleBroken:
    return refused("json-broken", "The file nests too deeply.")


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) != len(pairs):
        raise ValueError("an object names one field twice")
    return made


def _refuse_constant(name: str) -> None:
    raise ValueError(f"{name} is no number")


def _json_cell(value: Any) -> Any:  # noqa: ANN401 - any JSON value
    if value is None:
        return ""
    if not isinstance(value, bool | list | dict):
        return value
    parts = tuple(value) if isinstance(value, list) and all(type(one) in {str, int, float} for one in value) else None
    return JsonValue(_written(value), parts)


def _written(value: Any) -> str:  # noqa: ANN401 - any JSON value
    try:
        return json.dumps(value, ensure_ascii=False)
    except RecursionError as deep:
        raise _too_deep() from deep
