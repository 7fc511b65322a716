"""Within v1 the description only grows: what programs were written against stays.

``published.json`` is the description as it was published. It is replaced when a version is, not when a test fails.
"""

from __future__ import annotations

import copy
import json
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest

from api.app import build_app
from api.settings import Settings
from domain.records.engine import open_store
from tests import makers

PUBLISHED = json.loads(Path(__file__).with_name("published.json").read_text(encoding="utf-8"))
ALLOWED: dict[str, str] = {}
"""Losses that were decided, as they are told below, each with the reason."""

Described = Mapping[str, Any]


@pytest.fixture(scope="module")
def described():
    store = open_store("sqlite:///:memory:")
    yield build_app(store, settings=Settings(), clock=lambda: makers.NOON).openapi()
    store.close()


def losses(old: Described, new: Described) -> Iterator[str]:
    """Yield what a program written against the old description would miss or be refused by the new one."""
    for path, methods in old["paths"].items():
        for method, operation in methods.items():
            now = new["paths"].get(path, {}).get(method)
            if now is None:
                yield f"{method} {path} is gone"
            elif now["operationId"] != operation["operationId"]:
                yield f"{operation['operationId']} is called {now['operationId']}"
            else:
                yield from (f"{operation['operationId']}: {one}" for one in _of_operation(operation, now, old, new))


def _of_operation(was: Described, now: Described, old: Described, new: Described) -> Iterator[str]:
    yield from _of_parameters(was, now)
    yield from _of_bodies(was.get("requestBody", {}), now.get("requestBody", {}), old, new)
    for status, answer in was["responses"].items():
        if status not in now["responses"]:
            yield f"the answer {status} is gone" if status < "400" else f"the refusal {status} is not described any more"
            continue
        shown = _plain(now["responses"][status], new)
        for media, content in _plain(answer, old).get("content", {}).items():
            if media not in shown.get("content", {}):
                yield f"{status} is no {media} any more"
            else:
                yield from _of_answer(content["schema"], shown["content"][media]["schema"], old, new, at=status)


def _of_parameters(was: Described, now: Described) -> Iterator[str]:
    before = {(one["in"], one["name"]): one for one in was.get("parameters", ())}
    after = {(one["in"], one["name"]): one for one in now.get("parameters", ())}
    for key, parameter in before.items():
        if key not in after:
            yield f"the parameter {key[1]} is gone"
        else:
            yield from (f"{key[1]} may not be {word}" for word in _words(parameter["schema"]) - _words(after[key]["schema"]))
    for key, parameter in after.items():
        if parameter.get("required") and not before.get(key, {}).get("required"):
            yield f"the parameter {key[1]} is wanted"


def _of_bodies(was: Described, now: Described, old: Described, new: Described) -> Iterator[str]:
    if now.get("required") and not was.get("required"):
        yield "a body is wanted"
    for media, content in was.get("content", {}).items():
        if media not in now.get("content", {}):
            yield f"the body may not be {media}"
        else:
            yield from _of_input(content["schema"], now["content"][media]["schema"], old, new, at="")


def _of_input(was: Described, now: Described, old: Described, new: Described, *, at: str) -> Iterator[str]:
    before, after = _plain(was, old), _plain(now, new)
    lost = _words(before) - _words(after) if _words(after) else set()
    yield from (f"{at} may not be {word}" for word in lost)
    yield from (f"{at}/{name} is wanted" for name in set(after.get("required", ())) - set(before.get("required", ())))
    for name, one in before.get("properties", {}).items():
        if name not in after.get("properties", {}):
            yield f"{at}/{name} is not taken"
        else:
            yield from _of_input(one, after["properties"][name], old, new, at=f"{at}/{name}")
    kinds = after.get("discriminator", {}).get("mapping", {})
    for kind, where in before.get("discriminator", {}).get("mapping", {}).items():
        if kind not in kinds:
            yield f"{at} may not be of kind {kind}"
        else:
            yield from _of_input({"$ref": where}, {"$ref": kinds[kind]}, old, new, at=f"{at}({kind})")
    if "items" in before and "items" in after:
        yield from _of_input(before["items"], after["items"], old, new, at=f"{at}/0")


def _of_answer(was: Described, now: Described, old: Described, new: Described, *, at: str) -> Iterator[str]:
    before, after = _plain(was, old), _plain(now, new)
    for name, one in before.get("properties", {}).items():
        if name not in after.get("properties", {}):
            yield f"{at}/{name} is not shown"
        else:
            yield from _of_answer(one, after["properties"][name], old, new, at=f"{at}/{name}")
    if "items" in before and "items" in after:
        yield from _of_answer(before["items"], after["items"], old, new, at=f"{at}/0")


def _words(schema: Described) -> set[str]:
    found = set(schema.get("enum", ())) | ({schema["const"]} if "const" in schema else set())
    return found.union(*(_words(one) for one in schema.get("anyOf", ())))


def _plain(found: Described, described: Described) -> Described:
    """Return a schema or an answer without references, and without its null."""
    while "$ref" in found or "anyOf" in found:
        if "anyOf" in found:
            found = next(one for one in found["anyOf"] if one.get("type") != "null")
            continue
        place: Any = described
        for part in found["$ref"].removeprefix("#/").split("/"):
            place = place[part]
        found = place
    return found


def test_nothing_that_was_published_is_lost(described):
    found = set(losses(PUBLISHED, described))

    assert found - set(ALLOWED) == set()
    assert set(ALLOWED) - found == set(), "allowed, but nothing is lost there"


def _without_path(one: dict[str, Any]) -> None:
    del one["paths"]["/v1/sites"]["get"]


def _renamed(one: dict[str, Any]) -> None:
    one["paths"]["/v1/sites"]["get"]["operationId"] = "list_places"


def _without_field(one: dict[str, Any]) -> None:
    del one["components"]["schemas"]["Site"]["properties"]["zone"]


def _fewer_words(one: dict[str, Any]) -> None:
    one["components"]["schemas"]["TaxonRank"]["enum"].remove("genus")


def _fewer_words_in_query(one: dict[str, Any]) -> None:
    ended = next(each for each in one["paths"]["/v1/sites"]["get"]["parameters"] if each["name"] == "ended")
    ended["schema"]["enum"].remove("any")


def _wanted_field(one: dict[str, Any]) -> None:
    one["components"]["schemas"]["NewSite"]["required"].append("note")


def _fewer_shapes(one: dict[str, Any]) -> None:
    shape = one["components"]["schemas"]["NewEnclosure"]["properties"]["shape"]
    del next(each for each in shape["anyOf"] if "discriminator" in each)["discriminator"]["mapping"]["contours"]


def _wanted_parameter(one: dict[str, Any]) -> None:
    one["paths"]["/v1/sites"]["get"]["parameters"].append({"name": "near", "in": "query", "required": True, "schema": {}})


def _not_taken(one: dict[str, Any]) -> None:
    del one["components"]["schemas"]["NewSite"]["properties"]["note"]


def _no_answer(one: dict[str, Any]) -> None:
    del one["paths"]["/v1/sites"]["post"]["responses"]["201"]


@pytest.mark.parametrize(
    ("breaking", "told"),
    [
        (_without_path, "get /v1/sites is gone"),
        (_renamed, "list_sites is called list_places"),
        (_without_field, "get_site: 200/zone is not shown"),
        (_fewer_words, "register_taxon: /rank may not be genus"),
        (_fewer_words_in_query, "list_sites: ended may not be any"),
        (_fewer_shapes, "register_enclosure: /shape may not be of kind contours"),
        (_wanted_field, "register_site: /note is wanted"),
        (_wanted_parameter, "list_sites: the parameter near is wanted"),
        (_not_taken, "register_site: /note is not taken"),
        (_no_answer, "register_site: the answer 201 is gone"),
    ],
)
def test_what_would_break_a_program_is_told(breaking: Callable[[dict[str, Any]], None], told: str):
    changed = copy.deepcopy(PUBLISHED)

    breaking(changed)

    assert told in set(losses(PUBLISHED, changed))


def test_what_only_grows_is_no_loss():
    grown = copy.deepcopy(PUBLISHED)
    grown["components"]["schemas"]["Site"]["properties"]["keeper"] = {"type": "string"}
    grown["components"]["schemas"]["TaxonRank"]["enum"].append("variety")
    grown["paths"]["/v1/herds"] = {"get": {"operationId": "list_herds", "responses": {}}}

    assert set(losses(PUBLISHED, grown)) == set()
