"""Reading what was stated: strict JSON into a stated class, and a correction merged into what is on record."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, LiteralString, TypeVar, get_args

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails, PydanticCustomError

from domain.errors import Fault, RuleBroken, Unfit
from domain.records.base import Record
from domain.records.shapes import Shape
from domain.records.statements import json_text

T = TypeVar("T", bound=BaseModel)

_SHAPE_KINDS = frozenset(word for shape in get_args(get_args(Shape)[0]) for word in get_args(shape.model_fields["kind"].annotation))

_SENTENCES = {
    "missing": ("required", "This field is required."),
    "extra_forbidden": ("unknown-field", "There is no such field here."),
    "string_type": ("not-text", "This should be text in quotation marks."),
    "int_type": ("not-whole-number", "This should be a whole number."),
    "int_from_float": ("not-whole-number", "This should be a whole number."),
    "int_parsing": ("not-whole-number", "This should be a whole number."),
    "float_type": ("not-number", "This should be a number."),
    "float_parsing": ("not-number", "This should be a number."),
    "bool_type": ("not-true-false", "This should be true or false."),
    "bool_parsing": ("not-true-false", "This should be true or false."),
    "finite_number": ("not-finite", "This should be a finite number."),
    "date_type": ("not-date", "This should be a date as YYYY-MM-DD."),
    "date_parsing": ("not-date", "This should be a date as YYYY-MM-DD that the calendar has."),
    "date_from_datetime_parsing": ("not-date", "This should be a date as YYYY-MM-DD that the calendar has."),
    "datetime_type": ("not-instant", "This should be an instant with its offset, such as 2026-03-01T14:30:00Z."),
    "datetime_parsing": ("not-instant", "This should be an instant that the calendar has, such as 2026-03-01T14:30:00Z."),
    "uuid_type": ("not-id", "This should be an id (UUID)."),
    "uuid_parsing": ("not-id", "This should be an id (UUID)."),
    "list_type": ("not-list", "This should be a list."),
    "model_type": ("not-object", "This should be an object."),
    "dict_type": ("not-object", "This should be an object."),
    "model_attributes_type": ("not-object", "This should be an object."),
    "union_tag_not_found": ("required", "This field is required."),
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

    The patch reaches into objects. One that names another ``kind`` of shape takes the place of the whole shape, whose other members mean
    nothing there. A field that there is not is refused even where it is null.

    Raises:
        RuleBroken: With one fault for each field that cannot be taken.
    """
    known = {name: getattr(record, name) for name in kind.model_fields}
    unknown = {name: value for name, value in patch.items() if name not in known}
    return read_stated(kind, json_text({**_merged(known, patch), **unknown}))


def _merged(known: Mapping[str, Any], patch: Mapping[str, Any]) -> dict[str, Any]:
    made = {**known}
    for name, value in patch.items():
        if value is None:
            made.pop(name, None)
        else:
            made[name] = _merged(_what_stays(made.get(name), value), value) if isinstance(value, Mapping) else value
    return made


def _what_stays(known: Any, patch: Mapping[str, Any]) -> Mapping[str, Any]:  # noqa: ANN401 - any JSON value
    if not isinstance(known, Mapping) or patch.get("kind", known.get("kind")) != known.get("kind"):
        return {}
    return known


def misstated(field: str, sentence: str, *, code: LiteralString = "not-together") -> PydanticCustomError:
    """Return the error of a rule between fields, which lies in ``field``: the one that a person would mend."""
    return PydanticCustomError(code, "{sentence}", {"field": field, "sentence": sentence})


def faults_of(errors: Iterable[ErrorDetails]) -> tuple[Fault, ...]:
    """Return validation errors as faults, with a JSON pointer, a stable code and a sentence each."""
    return tuple(_fault(error) for error in errors)


def pointer_to(place: Iterable[str | int]) -> str:
    """Return the JSON pointer (RFC 6901) to a place, given by the names and positions that lead there."""
    return "".join(f"/{str(part).replace('~', '~0').replace('/', '~1')}" for part in place)


def _fault(error: ErrorDetails) -> Fault:
    code, sentence = _SENTENCES.get(error["type"], (error["type"].replace("_", "-"), error["msg"].removeprefix("Value error, ")))
    context = error.get("ctx", {})
    if isinstance(context.get("error"), Unfit):
        code = context["error"].code
    if error["type"] in {"enum", "literal_error", "union_tag_invalid"}:
        sentence = f"This should be one of {context.get('expected') or context.get('expected_tags')}."
        code = "not-one-of"
    return Fault(pointer_to(_place(error)), code, sentence[:1].upper() + sentence[1:])


def _place(error: ErrorDetails) -> list[str | int]:
    """Return where an error lies as the caller wrote it: without the kind that leads into a shape, with the field that a rule names."""
    place = error["loc"]
    found = [part for before, part in zip(("", *place), place, strict=False) if before != "shape" or part not in _SHAPE_KINDS]
    if error["type"] in {"union_tag_not_found", "union_tag_invalid"}:
        found.append("kind")
    elif "field" in error.get("ctx", {}):
        found.append(error["ctx"]["field"])
    return found
