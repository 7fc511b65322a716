"""Reading what was stated: strict JSON into a stated class, and a correction merged into what is on record."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from domain.errors import Fault, RuleBroken
from domain.records.base import Record
from domain.records.statements import json_text

T = TypeVar("T", bound=BaseModel)

_SENTENCES = {
    "missing": ("required", "This field is required."),
    "extra_forbidden": ("unknown-field", "There is no such field here."),
    "string_type": ("not-text", "This should be text in quotation marks."),
    "int_type": ("not-whole-number", "This should be a whole number."),
    "int_from_float": ("not-whole-number", "This should be a whole number."),
    "float_type": ("not-number", "This should be a number."),
    "bool_type": ("not-true-false", "This should be true or false."),
    "finite_number": ("not-finite", "This should be a finite number."),
    "date_type": ("not-date", "This should be a date as YYYY-MM-DD."),
    "date_parsing": ("not-date", "This should be a date as YYYY-MM-DD that the calendar has."),
    "date_from_datetime_parsing": ("not-date", "This should be a date as YYYY-MM-DD that the calendar has."),
    "uuid_type": ("not-id", "This should be an id (UUID)."),
    "uuid_parsing": ("not-id", "This should be an id (UUID)."),
    "list_type": ("not-list", "This should be a list."),
    "model_type": ("not-object", "This should be an object."),
    "json_invalid": ("not-json", "The body is not valid JSON."),
}


def read_stated(kind: type[T], raw: bytes | str) -> T:
    """Return what a JSON text states, read strictly.

    Raises:
        RuleBroken: With one fault for each field that cannot be taken.
    """
    try:
        return kind.model_validate_json(raw)
    except ValidationError as refused:
        raise RuleBroken("Some of what was said cannot be taken.", code="invalid", faults=faults_of(refused.errors())) from None


def merged(kind: type[T], record: Record, patch: Mapping[str, Any]) -> T:
    """Return what is stated of a record once a merge patch (RFC 7396) is applied to it.

    Raises:
        RuleBroken: With one fault for each field that cannot be taken.
    """
    known = {name: getattr(record, name) for name in kind.model_fields}
    lists = {name: value for name, value in patch.items() if not isinstance(value, Mapping) or not isinstance(known.get(name), Mapping)}
    objects = {name: {**known[name], **value} for name, value in patch.items() if name not in lists}
    unset = {name for name, value in patch.items() if value is None and name in kind.model_fields}
    stated = {**known, **lists, **objects}
    return read_stated(kind, json_text({name: value for name, value in stated.items() if name not in unset}))


def faults_of(errors: Iterable[ErrorDetails]) -> tuple[Fault, ...]:
    """Return validation errors as faults, with a JSON pointer, a stable code and a sentence each."""
    return tuple(_fault(error) for error in errors)


def _fault(error: ErrorDetails) -> Fault:
    pointer = "".join(f"/{str(part).replace('~', '~0').replace('/', '~1')}" for part in error["loc"])
    code, sentence = _SENTENCES.get(error["type"], (error["type"].replace("_", "-"), error["msg"].removeprefix("Value error, ")))
    if error["type"] in {"enum", "literal_error"}:
        sentence = f"This should be one of {error.get('ctx', {}).get('expected')}."
        code = "not-one-of"
    return Fault(pointer, code, sentence[:1].upper() + sentence[1:])
