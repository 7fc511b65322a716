"""The JSON Schema of rule packs, as it is published beside this module."""

from __future__ import annotations

import json
from importlib.resources import files
from typing import Any

from pydantic.json_schema import GenerateJsonSchema, JsonSchemaValue
from pydantic_core import core_schema

from api.law.stated import RulePackFile

FILE = "rule-pack.schema.json"


class _OfToml(GenerateJsonSchema):
    """Describes keys as TOML has them: what is not said is left out, as there is no null."""

    def nullable_schema(self, schema: core_schema.NullableSchema) -> JsonSchemaValue:
        return self.generate_inner(schema["schema"])

    def default_schema(self, schema: core_schema.WithDefaultSchema) -> JsonSchemaValue:
        made = super().default_schema(schema)
        if made.get("default", ...) is None:
            del made["default"]
        return made


def schema() -> dict[str, Any]:
    """Return the JSON Schema of a rule pack, of the TOML read as JSON: days as text."""
    made = RulePackFile.model_json_schema(schema_generator=_OfToml)
    return {"$schema": GenerateJsonSchema.schema_dialect, **made, "title": "Rule pack"}


def schema_text() -> str:
    """Return the JSON Schema as it is published."""
    return f"{json.dumps(schema(), indent=1, ensure_ascii=False)}\n"


def published() -> str:
    """Return the published copy."""
    return files("api.law").joinpath(FILE).read_text(encoding="utf-8")
