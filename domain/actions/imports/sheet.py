"""The rows of a list while they are checked: the values that hold, and what is refused or worth a notice."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cache
from typing import Annotated, Any, cast

from pydantic import BaseModel, ConfigDict, TypeAdapter, ValidationError

from domain.actions.imports.rows import REASON_LENGTH, VALUE_LENGTH, CellFault, ImportRows, RowRemark
from domain.errors import Fault
from domain.records.stated import faults_of
from domain.rules.permissions import Role
from domain.rules.text import same_name

_SENTENCES = {
    ("hours_per_day", "less-than-equal"): CellFault("hours-above-24", "hours a day above 24"),
    ("hours_per_day", "greater-than-equal"): CellFault("hours-below-0", "hours a day below 0"),
}


class Sheet:
    """The columns of a list, checked column by column, each distinct value once; see ``ImportRows``."""

    def __init__(self, rows: ImportRows, *, roles: frozenset[Role] = frozenset()) -> None:
        """Hold the rows; ``roles`` are those that whoever imports them may give to people."""
        self.rows, self.roles = rows, roles
        self.columns: dict[str, list[Any]] = {name: list(values) for name, values in rows.columns.items()}
        self.refusals: dict[int, list[RowRemark]] = {}
        self.notices: list[RowRemark] = []
        for name, values in self.columns.items():
            self._take_out_faults(name, values)

    def __len__(self) -> int:
        return len(self.rows)

    def column(self, name: str) -> Sequence[Any]:
        """Return a column's values, all ``None`` where the list has no such column."""
        return self.columns.get(name) or [None] * len(self)

    def check(self, stated: type[BaseModel], *names: str) -> None:
        """Let each column hold what the stated class makes of its values, and refuse the rows whose values it does not take."""
        for name in names:
            if name in self.columns:
                self.resolve(name, lambda value, name=name: checked_value(stated, name, value))

    def resolve(self, name: str, meaning: Any) -> None:  # noqa: ANN401 - a function of one value
        """Replace each distinct value of a column by its meaning, a ``CellFault`` where it has none; blanks stay blank."""
        values = self.column(name)
        known = {value: meaning(value) for value in set(values) if value is not None}
        known[None] = None
        self.columns[name] = [known[value] for value in values]
        if any(isinstance(found, CellFault) for found in known.values()):
            self._take_out_faults(name, self.columns[name])

    def keys(self, name: str) -> list[str]:
        """Return the form in which two spellings of the key column are equal; blank ones are refused."""
        values = self.column(name)
        if None in values:
            self.refuse_blank(name)
        return [same_name(value) if value is not None else "" for value in values]

    def refuse_blank(self, name: str) -> None:
        """Refuse the rows that say nothing in a column and are not refused for it already."""
        for position, value in enumerate(self.column(name)):
            if value is None and not self.refused_for(position, name):
                self.refuse(position, name, f"{name}-missing", f"{name} missing")

    def refused_for(self, position: int, name: str) -> bool:
        """Return whether a row is refused because of a column."""
        heading = self.rows.headings.get(name, name)
        return any(remark.column == heading for remark in self.refusals.get(position, ()))

    def try_stated(self, position: int, stated: type[BaseModel], said: dict[str, Any]) -> None:
        """Refuse a row whose values the stated class does not take together."""
        try:
            stated(**said)
        except ValidationError as refused:
            self.refuse_faults(position, [(fault.pointer.removeprefix("/"), fault) for fault in faults_of(refused.errors())])

    def refuse_repeated(self, keys: Sequence[Any], *, name: str) -> None:
        """Refuse every row whose key stood in a row before."""
        first: dict[Any, int] = {}
        if len(set(keys)) == len(keys):
            return
        for position, key in enumerate(keys):
            if key and first.setdefault(key, position) != position:
                self.refuse(
                    position,
                    name,
                    f"{name}-repeated",
                    f"{name} repeated: it stands in row {self.rows.numbers[first[key]]} already",
                )

    def said(self, position: int, *names: str, but: tuple[str, ...] = ()) -> dict[str, Any]:
        """Return what a row says in the named columns, without the blank ones."""
        known = ((name, self.columns[name][position]) for name in names if name in self.columns and name not in but)
        return {name: value for name, value in known if value is not None}

    def refuse(self, position: int, name: str, code: str, reason: str) -> None:
        """Refuse a row because of a column, or as a whole where ``name`` is none of its columns."""
        self.refusals.setdefault(position, []).append(self._remark(position, name, code, reason))

    def refuse_faults(self, position: int, faults: Iterable[tuple[str, Fault]]) -> None:
        """Refuse a row for faults of the whole, each with the column that it lies in."""
        for name, fault in faults:
            missing = CellFault(f"{name}-missing", f"{name} missing") if fault.code == "required" else None
            said = missing or _SENTENCES.get((name, fault.code)) or CellFault(fault.code, fault.detail)
            self.refuse(position, name, said.code, said.reason)

    def notice(self, position: int, name: str, code: str, reason: str) -> None:
        """Note something about a row that is taken all the same."""
        self.notices.append(self._remark(position, name, code, reason))

    def sound(self) -> list[int]:
        """Return the positions of the rows that are not refused."""
        return [position for position in range(len(self)) if position not in self.refusals]

    def _take_out_faults(self, name: str, values: list[Any]) -> None:
        for position, value in enumerate(values):
            if type(value) is CellFault:
                self.refuse(position, name, value.code, value.reason)
                values[position] = None

    def _remark(self, position: int, name: str, code: str, reason: str) -> RowRemark:
        cell = self.rows.cells[name][position] if name in self.rows.cells else ""
        return RowRemark(
            row=self.rows.numbers[position],
            index=self.rows.indexes[position],
            column=shown(self.rows.headings.get(name, name)),
            value=shown(str(cell)),
            code=code,
            reason=shown(reason, most=REASON_LENGTH),
        )


def shown(text: str, *, most: int = VALUE_LENGTH) -> str:
    """Return a text of the file as it can be shown anywhere: cut, and what does not print written as an escape."""
    text = text[:most]
    return text if text.isprintable() else "".join(one if one.isprintable() else ascii(one)[1:-1] for one in text)


def checked_value(stated: type[BaseModel], name: str, value: Any) -> Any:  # noqa: ANN401 - any field's value
    """Return what the stated class makes of one field's value, or the ``CellFault`` that it finds."""
    try:
        return _adapter(stated, name).validate_python(value)
    except ValidationError as refused:
        fault = faults_of(refused.errors())[0]
        return _SENTENCES.get((name, fault.code)) or CellFault(fault.code, fault.detail)


@cache
def _adapter(stated: type[BaseModel], name: str) -> TypeAdapter[Any]:
    field = stated.model_fields[name]
    annotation = cast("Any", Annotated[field.annotation, name, *field.metadata])
    return TypeAdapter(annotation, config=ConfigDict(strict=True, allow_inf_nan=False))
