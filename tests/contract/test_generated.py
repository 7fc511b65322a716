"""Thousands of requests generated from the description get the answers that the description promises, on both databases.

``REEDBED_CASES=20000 pytest tests/contract/test_generated.py -s`` sends that many to each, from a seed that is new and printed.
"""

from __future__ import annotations

import os
import secrets
from typing import Annotated, Any
from uuid import UUID, uuid4

import pytest
from fastapi import Depends, FastAPI, HTTPException
from fastapi.security import HTTPAuthorizationCredentials, HTTPBearer
from pydantic import BaseModel, TypeAdapter

from api.bodies.problem import Problem
from api.envelope import EVERYWHERE
from tests.contract.generated import Plan, run

USUAL_CASES = 2_000
CASES = int(os.environ.get("REEDBED_CASES", USUAL_CASES))
SEED = int(os.environ.get("REEDBED_SEED", 20260301 if CASES == USUAL_CASES else secrets.randbits(32)))
ALWAYS = tuple((name.decode(), value.decode()) for name, value in EVERYWHERE)
EXCLUDED: dict[str, str] = {}
"""Operations that no request is generated for, each with the reason."""
CHECKS = {
    "not_a_server_error",
    "status_code_conformance",
    "content_type_conformance",
    "response_schema_conformance",
    "response_headers_conformance",
    "positive_data_acceptance",
    "negative_data_rejection",
    "ensure_resource_availability",
    "missing_required_header",
    "ignored_auth",
    "object_level_authorization",
    "unsupported_method",
    "allow_header_conformance",
}
"""All that there are but ``use_after_free``, which needs a DELETE: records end here, and stay."""
PROBLEM = TypeAdapter(Problem)


class NewFrog(BaseModel):
    """What may be said of a frog."""

    name: str
    count: int


class Frog(NewFrog):
    """A frog on file."""

    id: UUID


SIGNED_IN = HTTPBearer()
Proof = Annotated[HTTPAuthorizationCredentials, Depends(SIGNED_IN)]


def planted_app(keys: dict[str, str]) -> FastAPI:
    """Return a service that shows a frog to whoever knows its id, and breaks on a count of none."""
    app = FastAPI()
    frogs: dict[UUID, Frog] = {}

    def refuse_strangers(proof: HTTPAuthorizationCredentials) -> None:
        if proof.credentials not in keys.values():
            raise HTTPException(401)

    @app.post("/frogs", status_code=201)
    def register_frog(frog: NewFrog, proof: Proof) -> Frog:
        refuse_strangers(proof)
        if frog.count == 0:
            raise HTTPException(500)
        made = Frog(id=uuid4(), **frog.model_dump())
        frogs[made.id] = made
        return made

    @app.get("/frogs/{frog_id}")
    def get_frog(frog_id: UUID, proof: Proof) -> Frog:
        refuse_strangers(proof)
        if frog_id not in frogs:
            raise HTTPException(404)
        return frogs[frog_id]

    return app


def _extent(described: set[str], database: str) -> dict[str, Any]:
    """Return how much is sent: in the usual run each database gets the systematic cases of every twelfth operation, not the same ones."""
    if CASES > USUAL_CASES:
        return {"each": max(10, (CASES - 7000) // 60), "repeats": False}
    offset = 0 if database == "sqlite" else 6
    return {"each": 6, "spared": [one for number, one in enumerate(sorted(described)) if number % 12 != offset]}


@pytest.mark.timeout(3600 if CASES > USUAL_CASES else 600)
def test_every_answer_is_what_the_description_promises(service, database, tmp_path):
    print(f"\n{CASES} cases or more from seed {SEED}")  # noqa: T201 - the seed and the figures of the longer run
    described = {one["operationId"] for methods in service.app.openapi()["paths"].values() for one in methods.values()}
    plan = Plan(keys=service.keys, known=service.known, seed=SEED, **_extent(described, database))
    found = run(service.app, plan, folder=tmp_path, always=ALWAYS)
    print(f"{found.cases.total()} cases {dict(found.cases)}\nanswers {dict(found.answers)}\nexcused {dict(found.excused)}")  # noqa: T201 - the seed and the figures of the longer run

    assert found.errors == []
    assert [f"{kind} {operation}\n{said}" for (kind, operation), said in found.failures.items()] == []
    assert found.cases.total() >= CASES
    assert all(found.cases[phase] for phase in ("coverage", "fuzzing", "stateful"))
    assert {status for status in found.answers if status >= 500} == set()
    assert CHECKS - found.checks == set()
    assert not any("delete" in methods for methods in service.app.openapi()["paths"].values())
    assert described - found.operations == set(EXCLUDED)
    assert found.bare == []
    for status, operation, headers, body in found.refusals:
        assert headers["content-type"] == ["application/problem+json"], operation
        assert PROBLEM.validate_json(body).status == status


def test_a_record_shown_to_strangers_and_a_value_that_breaks_are_found(tmp_path):
    keys = {"marshlight": "first-key-of-all", "saltings": "another-key-of-all"}
    plan = Plan(keys=keys, known={}, seed=20260301, each=8)

    found = run(planted_app(keys), plan, folder=tmp_path, always=ALWAYS)

    assert {"ServerError", "ObjectLevelAuthorizationViolation"} <= {kind for kind, _ in found.failures}
    assert found.bare
    assert any(headers["content-type"] != ["application/problem+json"] for _, _, headers, _ in found.refusals)
