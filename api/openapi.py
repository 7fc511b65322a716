"""The description of the API (OpenAPI 3.1), and its committed copy: ``python -m api.openapi`` writes ``api/openapi.json`` anew."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi
from pydantic import BaseModel
from pydantic.json_schema import models_json_schema

from api.bodies.problem import Problem
from api.doors import Door
from api.errors import TITLES

COPY = Path(__file__).with_name("openapi.json")
_REFERENCE = "#/components/schemas/{model}"
_DEFAULT_SCHEMAS = ("HTTPValidationError", "ValidationError")
_ANY, _ONE, _WRITES, _CHANGES = (400, 401, 403, 422, 429, 503), (404,), (409, 413, 415), (412, 428)
_CENSUS = ("get_census", "get_stock_statement", "list_stock_movements", "list_specimens")
_COMPLIANCE = ("list_compliance", "get_compliance_of_period", "list_permits_in_use")
_ALSO: Mapping[str, tuple[int, ...]] = {
    "list_replacements": (404,),
    "get_forecast": (409,),
    "get_calendar": (404, 429),
    "check_paper": (404, 429),
    **dict.fromkeys((*_CENSUS, *_COMPLIANCE), (404,)),
}
"""What an operation may answer beyond what its path and method tell."""
_FILES: Mapping[str, tuple[str, ...]] = dict.fromkeys(
    ("list_replacements", "get_census", "get_stock_statement", "list_specimens"), ("text/csv",)
)
"""Media types of files that an operation may answer with instead of JSON."""
_FORMATS = """

Whatever is answered about law, permits, reminders, inspections, incidents and transfers is an aid and no legal advice: local codes, \
the issuing authority and licensed practice come first.

Of the text formats, `line` is one line and `lines` are several: of any script and any characters but controls, halves of characters \
and those that hide or reorder text. White space at the ends is not kept, line breaks are kept as one newline each, and what may be \
composed is composed (Unicode NFC). Nothing else of what is sent is changed: it is kept as it is, or refused with the field named."""
_PROOFS = (
    "A key (rbk_...), the token of a session (rbs_...), or an access token of an issuer that is trusted here. "
    "A program with a key names the member of staff whom it acts for by their id in the header Reedbed-On-Behalf-Of, and may then do what "
    "both may."
)
_HEADERS: Mapping[str, Mapping[str, Any]] = {
    "Content-Disposition": {"description": "That it is to be saved, and under which name.", "schema": {"type": "string"}},
    "ETag": {"description": "The version, for If-Match and If-None-Match.", "schema": {"type": "string"}},
    "Location": {"description": "Where the new record is.", "schema": {"type": "string", "format": "uri-reference"}},
    "Link": {"description": 'The next page, rel="next".', "schema": {"type": "string"}},
}

_REASON: Mapping[str, Any] = {
    "name": "Reedbed-Reason",
    "in": "header",
    "required": False,
    "schema": {"type": "string", "minLength": 1, "maxLength": 120},
    "description": "Why this is done, in UTF-8, for the journal.",
}


def describe(app: FastAPI, doors: Sequence[Door]) -> dict[str, Any]:
    """Return the description of an app: what FastAPI knows of its routes, with the bodies of the doors and the problems."""
    described = get_openapi(title=app.title, version=app.version, routes=app.routes, servers=[{"url": "/"}])
    described["info"]["description"] = app.description + _FORMATS
    schemas: dict[str, Any] = described["components"]["schemas"]
    for name in _DEFAULT_SCHEMAS:
        schemas.pop(name, None)
    _add(schemas, _schemas_of({Problem, *(door.body for door in doors if door.body)}))
    by_id = {door.operation_id: door for door in doors}
    for path, method, operation in _operations(described):
        door = by_id.get(operation["operationId"])
        if door is not None:
            _describe_door(operation, door, schemas)
        public = not path.startswith("/v1/") or (door is not None and door.action is None)
        if not public and method != "get":
            operation["parameters"] = [*operation.get("parameters", ()), _REASON]
        _describe_problems(operation, path=path, method=method)
        if public:
            operation["security"] = []
    _link(described["paths"])
    described["components"]["schemas"] = dict(sorted(schemas.items()))
    described["components"]["responses"] = {f"Problem{status}": _problem_response(status) for status in TITLES}
    described["components"]["headers"] = dict(_HEADERS)
    described["components"]["securitySchemes"] = {"key": {"type": "http", "scheme": "bearer", "description": _PROOFS}}
    return described


def _operations(described: Mapping[str, Any]) -> Iterator[tuple[str, str, dict[str, Any]]]:
    for path, methods in described["paths"].items():
        for method, operation in methods.items():
            yield path, method, operation


def _describe_door(operation: dict[str, Any], door: Door, schemas: dict[str, Any]) -> None:
    success = operation["responses"][str(door.status)]
    success["description"] = {201: "Registered", 202: "Asked for; Location is where to look"}.get(door.status, "Done")
    if door.files:
        success["content"] = {}
    for form in (*door.files, *_FILES.get(door.operation_id, ())):
        success["content"][form] = {"schema": {} if form == "application/json" else {"type": "string", "format": "binary"}}
    if door.headers:
        success["headers"] = {name: {"$ref": f"#/components/headers/{name}"} for name in door.headers}
    if "If-None-Match" in {parameter["name"] for parameter in door.parameters}:
        operation["responses"]["304"] = {"description": "The caller has this version", "headers": success["headers"]}
    if door.body is None:
        return
    name, media = door.body.__name__, ["application/json"]
    if door.method == "PATCH":
        name, media = f"{name.removeprefix('New')}Patch", ["application/merge-patch+json", "application/json"]
        schemas[name] = _patch_of(schemas[door.body.__name__])
    reference = {"$ref": _REFERENCE.format(model=name)}
    operation["requestBody"] = {"required": True, "content": {one: {"schema": reference} for one in media}}


def _describe_problems(operation: dict[str, Any], *, path: str, method: str) -> None:
    if not path.startswith("/v1/"):
        statuses: tuple[int, ...] = (503,)
    else:
        operation["security"] = [{"key": []}]
        statuses = _ANY + (_ONE if "{" in path else ()) + (_WRITES if method != "get" else ())
    taken = {parameter["name"] for parameter in operation.get("parameters", ())}
    statuses += _CHANGES if "If-Match" in taken else ()
    statuses += _ALSO.get(operation["operationId"], ())
    operation["responses"].update({str(status): {"$ref": f"#/components/responses/Problem{status}"} for status in sorted(statuses)})


def _link(paths: Mapping[str, Mapping[str, Any]]) -> None:
    """Say what the answer with a record leads to: the operations on that record, with its id and its version."""
    for path, methods in paths.items():
        for method, operation in methods.items():
            one, found = _one_of(path, method, paths)
            for status in ("200", "201", "202") if found else ():
                if status in operation["responses"]:
                    operation["responses"][status]["links"] = {name: _link_to(to, one) for name, to in found.items() if to is not operation}


def _one_of(path: str, method: str, paths: Mapping[str, Mapping[str, Any]]) -> tuple[str, dict[str, dict[str, Any]]]:
    """Return the parameter that an answer's id stands for, and by their ids the operations that take it."""
    if method == "post" and not path.endswith("}"):
        path = next((one for one in paths if one.rpartition("/")[0] == path and one.endswith("}") and "get" in paths[one]), path)
    if not path.endswith("}"):
        return "", {}
    below = [one for one in paths if one == path or (one.startswith(f"{path}/") and one.count("{") == path.count("{"))]
    return path.rpartition("{")[2][:-1], {to["operationId"]: to for one in below for to in paths[one].values()}


def _link_to(operation: Mapping[str, Any], one: str) -> dict[str, Any]:
    taken = {parameter["name"]: parameter["in"] for parameter in operation["parameters"]}
    given = {name: f"$request.path.{name}" for name, place in taken.items() if place == "path"} | {one: "$response.body#/id"}
    if "If-Match" in taken:
        given["header.If-Match"] = "$response.header.ETag"
    return {"operationId": operation["operationId"], "parameters": given}


def _problem_response(status: int) -> dict[str, Any]:
    content = {"application/problem+json": {"schema": {"$ref": _REFERENCE.format(model="Problem")}}}
    return {"description": TITLES[status], "content": content}


def _patch_of(schema: Mapping[str, Any]) -> dict[str, Any]:
    """Return the schema of a merge patch: every field optional, no id, and null for a field that goes back to its default."""
    required = set(schema.get("required", ()))
    properties = {
        name: _without_default(stated) if name in required or _takes_null(stated) else _or_null(_without_default(stated))
        for name, stated in schema["properties"].items()
        if name != "id"
    }
    return {
        "title": f"{schema['title'].removeprefix('New')}Patch",
        "description": "A correction (RFC 7396): the fields to change; null puts a field back to its default. "
        "It reaches into objects; a shape of another kind takes the place of the whole shape.",
        "type": "object",
        "additionalProperties": False,
        "properties": properties,
    }


def _takes_null(stated: Mapping[str, Any]) -> bool:
    return {"type": "null"} in stated.get("anyOf", ())


def _or_null(stated: Mapping[str, Any]) -> dict[str, Any]:
    return {"anyOf": [stated, {"type": "null"}]}


def _without_default(stated: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in stated.items() if name != "default"}


def _schemas_of(models: set[type[BaseModel]]) -> dict[str, Any]:
    ordered = sorted(models, key=lambda model: model.__name__)
    _, schema = models_json_schema([(model, "validation") for model in ordered], ref_template=_REFERENCE)
    found: dict[str, Any] = _without_nulls(schema["$defs"])
    return found


def _without_nulls(value: Any) -> Any:  # noqa: ANN401 - any JSON value
    """Return a schema as FastAPI writes it: without entries that are null."""
    if isinstance(value, dict):
        return {name: _without_nulls(one) for name, one in value.items() if one is not None}
    return [_without_nulls(one) for one in value] if isinstance(value, list) else value


def _add(schemas: dict[str, Any], more: Mapping[str, Any]) -> None:
    for name, schema in more.items():
        if schemas.setdefault(name, schema) != schema:
            raise ValueError(f"two different schemas are named {name}")


def text_of(app: FastAPI) -> str:
    """Return an app's description as the committed copy holds it."""
    return json.dumps(app.openapi(), indent=1, ensure_ascii=False) + "\n"


def _main() -> None:
    from api.app import build_app  # noqa: PLC0415 - the app imports this module
    from api.settings import Settings  # noqa: PLC0415
    from domain.records.engine import open_store  # noqa: PLC0415

    store = open_store("sqlite:///:memory:")
    app = build_app(store, settings=Settings(), clock=lambda: datetime.now(UTC))
    COPY.write_text(text_of(app), encoding="utf-8")
    store.close()


if __name__ == "__main__":
    _main()
