"""The fields of request bodies as the service's own description tells them, and bodies that are right but for one field."""

from __future__ import annotations

import copy
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from domain.rules.law.jurisdictions import CODE_PATTERN

Place = tuple[str | int, ...]

RIGHT = {"counter_h": 1000.0}
"""What is right because of what is on record, where the least that the schema takes is not."""
RIGHT_TOGETHER: Mapping[str, Mapping[str, Any]] = {
    "NewAnimalEvent": {"kind": "sexed", "sex": "unknown", "happened_on": "2026-03-01"},
    "Split": {"happened_on": "2026-03-01"},
    "Merge": {"happened_on": "2026-03-01", "number": 1},
    "NewPlacement": {"from_on": "2026-03-01"},
    "NewPermit": {"kind": "keeping", "jurisdiction": "XR"},
    "NewOverride": {"requirement_code": "XR-1"},
    "NewIncident": {"kind": "outage"},
    "Deferral": {"until": "2026-03-15"},
}
"""What is right of a body by its name, because of what is on record."""
NEEDED_TOO: Mapping[str, tuple[str, ...]] = {"NewReport": ("site_id",), "NewOverride": ("animal_id",)}
"""What a body needs by its name, though its schema cannot say so: another field decides, or one of several is enough."""
RIGHT_BY_PATTERN = {CODE_PATTERN: "PT", "^[a-z][a-z_]{0,31}$": "animal"}
"""What fits a pattern: a jurisdiction, a kind of record."""


@dataclass(frozen=True)
class Field:
    """One field of a body: where it is, what kind it is of, its schema, and a whole body in which it may stand."""

    place: Place
    kind: str
    schema: Mapping[str, Any]
    body: Mapping[str, Any]

    @property
    def pointer(self) -> str:
        """The field's JSON pointer."""
        return "".join(f"/{part}" for part in self.place)

    def body_with(self, value: Any) -> Any:
        """Return the body with the field set to a value."""
        made = copy.deepcopy(dict(self.body))
        within: Any = made
        for part in self.place[:-1]:
            within = within[part]
        within[self.place[-1]] = value
        return made


class Bodies:
    """Makes bodies from the schemas of a description. ``known`` are ids of records that there are, by the names of fields."""

    def __init__(self, described: Mapping[str, Any], known: Mapping[str, str]) -> None:
        self.schemas = described["components"]["schemas"]
        self.known = known
        self.made = 0

    def fields(self, schema: Mapping[str, Any]) -> Iterator[Field]:
        """Yield every field of a body with this schema, nested ones too."""
        yield from self._within(schema, place=(), body=lambda inner: inner)

    def names(self, schema: Mapping[str, Any]) -> set[str]:
        """Return the names of a body's fields."""
        return {name for variant in self._variants(schema) for name in variant.get("properties", {})}

    def least(self, schema: Mapping[str, Any], *, name: str = "") -> Any:
        """Return the least value that is right by a schema."""
        schema = self._plain(schema)
        if "default" in schema and schema["default"] is not None:
            return schema["default"]
        kind = kind_of(schema)
        if kind == "object":
            title = schema.get("title", "")
            needed = (*schema.get("required", ()), *NEEDED_TOO.get(title, ()))
            return {**{one: self.least(schema["properties"][one], name=one) for one in needed}, **RIGHT_TOGETHER.get(title, {})}
        if kind == "array":
            return [self.least(schema["items"], name=name) for _ in range(schema.get("minItems", 0))]
        return self._scalar(kind, schema, name)

    def _scalar(self, kind: str, schema: Mapping[str, Any], name: str) -> Any:
        self.made += 1
        if "const" in schema:
            return schema["const"]
        simple = {
            "boolean": False,
            "enum": (schema.get("enum") or [None])[0],
            "date": "2026-02-01",
            "date-time": "2026-02-10T10:00:00Z",
            "uuid": self.known.get(name),
        }
        if kind in simple:
            return simple[kind]
        if kind in {"integer", "number"}:
            if name in RIGHT:
                return RIGHT[name]
            return (
                schema["exclusiveMinimum"] + 0.25
                if "exclusiveMinimum" in schema
                else (int if kind == "integer" else float)(schema.get("minimum", 0))
            )
        if schema.get("format") == "iana-time-zone":
            return "Europe/Lisbon"
        return RIGHT_BY_PATTERN.get(schema.get("pattern", ""), f"word-{self.made}")

    def _within(self, schema: Mapping[str, Any], *, place: Place, body: Any) -> Iterator[Field]:
        for variant in self._variants(schema):
            properties = variant.get("properties", {})
            for name, stated in properties.items():
                least = self.least(variant)
                yield from self._one(stated, place=(*place, name), body=body, around=least, key=name)

    def _one(self, stated: Mapping[str, Any], *, place: Place, body: Any, around: Any, key: str) -> Iterator[Field]:
        plain = self._plain(stated)
        kind = kind_of(plain)
        if "const" not in plain:
            yield Field(place, kind, plain, body(around))
        if kind == "array":
            inner = self._plain(plain["items"])

            def listed(value: Any) -> Any:
                return body({**around, key: [value] * max(1, plain.get("minItems", 1))})

            if kind_of(inner) == "object":
                yield from self._within(plain["items"], place=(*place, 0), body=listed)
            else:
                yield Field((*place, 0), kind_of(inner), inner, listed(self.least(inner, name=key)))
        elif kind == "object" and ("properties" in plain or "oneOf" in plain):
            yield from self._within(plain, place=place, body=lambda value: body({**around, key: value}))

    def _variants(self, schema: Mapping[str, Any]) -> Iterator[Mapping[str, Any]]:
        schema = self._plain(schema)
        for one in schema.get("oneOf", [schema]):
            yield self._plain(one)

    def _plain(self, schema: Mapping[str, Any]) -> dict[str, Any]:
        """Return a schema without references and without its null."""
        found = dict(schema)
        while "$ref" in found or "anyOf" in found:
            if "$ref" in found:
                found = {**self.schemas[found["$ref"].rpartition("/")[2]]}
            else:
                others = [one for one in found["anyOf"] if one.get("type") != "null"]
                found = {**{name: one for name, one in found.items() if name != "anyOf"}, **others[0]}
        return found


def kind_of(schema: Mapping[str, Any]) -> str:
    """Return what kind of field a schema without references describes."""
    if "enum" in schema or "const" in schema:
        return "enum"
    if "oneOf" in schema:
        return "object"
    if schema.get("type") == "string":
        said = str(schema.get("format", ""))
        return said if said in {"uuid", "date", "date-time", "line", "lines"} else "text"
    return str(schema.get("type", "object"))
