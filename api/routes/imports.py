"""Imports: a file is taken, put on record, and imported in the background; the report is found under the import's address."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass
from functools import partial
from hashlib import sha256
from pathlib import PurePath
from typing import Annotated
from uuid import UUID

from fastapi import APIRouter, Depends, Request
from starlette.datastructures import FormData, UploadFile
from starlette.responses import Response

from api.admission import in_time
from api.answers import created
from api.bodies.imports import Import, ImportPage
from api.context import Call, Passing, write
from api.doors import Door
from api.errors import Answer, WrongMedia
from api.importing.mapping import read_mapping
from api.importing.running import resume, submit_import
from api.importing.templates import MEDIA_TYPES, TemplateForm, template
from api.nouns import IDEMPOTENCY_KEY, IF_NONE_MATCH, get_one, id_parameter
from api.pages import Listing
from api.query import one_of, read_query
from api.routes.staff import gives_of
from domain.actions.imports import ImportFileFacts
from domain.actions.imports.runs import ask_for_import
from domain.errors import Fault, NotFound, RuleBroken
from domain.records.nights import ImportKind, ImportRun
from domain.records.unit import Unit
from domain.rules.permissions import EVERYWHERE, Role
from domain.rules.text import kept_line

__all__ = ["resume", "router"]

PATH = "/v1/imports"
FILE_NAME_LENGTH = 200
_FLAGS = ("dry_run", "skip_invalid", "create_enclosures")


@dataclass(frozen=True, slots=True)
class _Asked:
    """What a request asks for: the file, its name and kind, and the options as they are kept."""

    content: bytes
    file: ImportFileFacts
    kind: ImportKind
    options: dict[str, bool | str | list[str] | None]


def _read_flag(text: str) -> bool:
    if text not in {"true", "false"}:
        raise ValueError("this should be true or false")
    return text == "true"


_LISTING = Listing(ImportRun, ("kind", "state"))
_QUERY = {"kind": one_of(ImportKind), **dict.fromkeys(_FLAGS, _read_flag)}
_KIND_SCHEMA = {"type": "string", "enum": [kind.value for kind in ImportKind]}
_FORM_SCHEMA = {"type": "string", "enum": [form.value for form in TemplateForm], "default": TemplateForm.XLSX.value}
_FLAG_SENTENCES = {
    "dry_run": "Only say what the import would do.",
    "skip_invalid": "Write the good rows though others are refused; without it one refusal means that nothing is written.",
    "create_enclosures": "Make the enclosures that equipment names and that are not on record.",
}
_PARAMETERS = [
    {"name": "kind", "in": "query", "required": True, "schema": _KIND_SCHEMA},
    *(
        {"name": name, "in": "query", "required": False, "schema": {"type": "boolean", "default": False}, "description": sentence}
        for name, sentence in _FLAG_SENTENCES.items()
    ),
    IDEMPOTENCY_KEY,
]
_FORM = {
    "type": "object",
    "required": ["file"],
    "additionalProperties": False,
    "properties": {
        "file": {"type": "string", "format": "binary", "description": "A workbook (.xlsx), separated text or a JSON list of objects."},
        "mapping": {"type": "string", "description": "TOML: which heading is which column, the order of dates, units and more."},
    },
}

DOORS = (
    Door(
        method="GET",
        path=PATH,
        action="list_imports",
        operation_id="list_imports",
        summary="List imports",
        tag="imports",
        subject="import",
        answers=ImportPage,
        reads=_LISTING.page,
        query=_LISTING.readers,
        parameters=_LISTING.parameters,
        headers=["Link"],
    ),
    Door(
        method="GET",
        path=f"{PATH}/{{import_id}}",
        action="get_import",
        operation_id="get_import",
        summary="Get import",
        tag="imports",
        subject="import",
        answers=Import,
        reads=partial(get_one, record=ImportRun, subject="import"),
        parameters=[id_parameter("import_id"), IF_NONE_MATCH],
        headers=["ETag"],
    ),
)
router = APIRouter(tags=["imports"])


@router.post(
    PATH,
    status_code=202,
    response_model=Import,
    operation_id="import_file",
    summary="Import a file",
    openapi_extra={
        "parameters": _PARAMETERS,
        "requestBody": {"required": True, "content": {"multipart/form-data": {"schema": _FORM}}},
    },
)
async def import_file(call: Annotated[Call, Depends(Passing("import_file"))], request: Request) -> Response:
    """Put an import on record with its file, have it run, and answer where to look."""
    call.query = read_query(request.scope["query_string"], _QUERY)
    asked = await _asked(call, request)
    call.body = b"%s\n%s\n" % (request.scope["query_string"], asked.file.sha256.encode()) + str(asked.options["mapping"]).encode()
    act = partial(write, act=partial(_on_record, asked=asked))
    answer = await asyncio.get_running_loop().run_in_executor(call.house.writers, in_time, act, call)
    run_id = UUID(dict(answer.raw_headers)[b"location"].decode().rpartition("/")[2])
    submit_import(call.house, call.caller.organisation_id, run_id)
    return answer


@router.get(
    f"{PATH}/templates/{{kind}}",
    operation_id="get_import_template",
    summary="Get an empty list to fill in",
    response_class=Response,
    responses={200: {"content": {media: {"schema": {"type": "string", "format": "binary"}} for media in MEDIA_TYPES.values()}}},
    openapi_extra={
        "parameters": [
            {"name": "kind", "in": "path", "required": True, "schema": _KIND_SCHEMA},
            {"name": "form", "in": "query", "required": False, "schema": _FORM_SCHEMA},
        ]
    },
)
async def get_template(call: Annotated[Call, Depends(Passing("get_import_template"))], request: Request) -> Response:
    """Answer with an empty list of a kind, to be saved."""
    call.query = read_query(request.scope["query_string"], {"form": one_of(TemplateForm)})
    try:
        kind = ImportKind(request.path_params["kind"])
    except ValueError:
        raise NotFound("There is no such kind of list.") from None
    form: TemplateForm = call.query.get("form", TemplateForm.XLSX)
    headers = [(b"content-disposition", f'attachment; filename="{kind.value}.{form.value}"'.encode())]
    return Answer(template(kind, form), headers=headers, media=MEDIA_TYPES[form].encode())


async def _asked(call: Call, request: Request) -> _Asked:
    if "kind" not in call.query:
        raise _refused("/query/kind", "required", "Say what the rows are: kind.")
    if not call.headers.get(b"content-type", b"").lower().startswith(b"multipart/form-data"):
        raise WrongMedia("Content-Type should be multipart/form-data, with the file in the part named file.")
    kind: ImportKind = call.query["kind"]
    async with request.form(max_files=2, max_fields=1) as form:
        upload = _part(form, "file")
        mapping = await _mapping(form)
        read_mapping(mapping, kind=kind)
        content = await upload.read()
    file = ImportFileFacts(_file_name(upload.filename), sha256(content).hexdigest())
    flags = {name: call.query.get(name, False) for name in _FLAGS}
    return _Asked(content, file, kind, {**flags, "mapping": mapping, **_asker(call)})


def _asker(call: Call) -> dict[str, str | list[str] | None]:
    """Return who asks, as the entries of what is imported will say it, and which roles whoever asks may give to people anywhere."""
    caller, gives = call.caller, gives_of(call)
    for_whom = str(caller.on_behalf_of) if caller.on_behalf_of else None
    roles = [role.value for role in Role if gives(role) == EVERYWHERE]
    return {"asked_by": caller.actor, "credential": caller.credential, "on_behalf_of": for_whom, "roles": roles}


def _part(form: FormData, name: str) -> UploadFile:
    unknown = [key for key in form if key not in {"file", "mapping"}]
    if unknown:
        raise _refused(f"/{unknown[0]}", "unknown-field", "There is no such part here.")
    found = form.getlist(name)
    if len(found) != 1 or not isinstance(found[0], UploadFile):
        raise _refused(f"/{name}", "required", "One file is wanted in this part.")
    return found[0]


async def _mapping(form: FormData) -> str | None:
    found = form.get("mapping")
    if not isinstance(found, UploadFile):
        return found
    try:
        return (await found.read()).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise _refused("/mapping", "not-utf-8", "The mapping is not UTF-8.") from None


def _file_name(said: str | None) -> str:
    try:
        return kept_line(PurePath((said or "").replace("\\", "/")).name)[-FILE_NAME_LENGTH:]
    except ValueError:
        return "file"


def _on_record(unit: Unit, *, asked: _Asked) -> Answer:
    made = ask_for_import(unit, asked.content, kind=asked.kind, file=asked.file, options=asked.options)
    answer = created(made, at=PATH)
    answer.status_code = 202
    return answer


def _refused(pointer: str, code: str, detail: str) -> RuleBroken:
    return RuleBroken(detail, code=code, faults=(Fault(pointer, code, detail),))
