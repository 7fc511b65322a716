"""Thousands of requests generated from the description get the answers that the description promises, on both databases.

``REEDBED_CASES=20000 pytest tests/contract/test_generated.py -s`` sends that many to each, from a seed that is new and printed.
"""

from __future__ import annotations

import os
import secrets

import pytest
from pydantic import TypeAdapter

from api.bodies.problem import Problem
from api.envelope import EVERYWHERE, NO_FRAMES
from tests.contract.generated import run

USUAL_CASES = 2_000
CASES = int(os.environ.get("REEDBED_CASES", USUAL_CASES))
SEED = int(os.environ.get("REEDBED_SEED", 20260301 if CASES == USUAL_CASES else secrets.randbits(32)))
ALWAYS = tuple((name.decode(), value.decode()) for name, value in EVERYWHERE)
ON_RECORDS = (*ALWAYS, *((name.decode(), value.decode()) for name, value in (NO_FRAMES,)))
EXCLUDED: dict[str, str] = {}
"""Operations that no request is generated for, each with the reason."""
NEVER_ASKED = {
    "use_after_free": "There is no DELETE: records end, and stay.",
}
"""Checks that find nothing to look at, each with the reason; all others have to have looked at something."""
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
PROBLEM = TypeAdapter(Problem)


@pytest.mark.timeout(3600 if CASES > USUAL_CASES else 400)
def test_every_answer_is_what_the_description_promises(service, tmp_path):
    print(f"\n{CASES} cases or more from seed {SEED}")
    found = run(service.app, keys=service.keys, known=service.known, cases=CASES, seed=SEED, folder=tmp_path, always=ALWAYS)
    print(f"{found.cases.total()} cases {dict(found.cases)}\nanswers {dict(found.answers)}\nexcused {dict(found.excused)}")

    for each in found.failures.items(): print("FAIL", each)
    for each in found.errors: print("ERR", each)
    assert found.errors == []
    assert [f"{kind} {operation}\n{said}" for (kind, operation), said in found.failures.items()] == []
    assert found.cases.total() >= CASES
    assert all(found.cases[phase] for phase in ("coverage", "fuzzing", "stateful"))
    assert {status for status in found.answers if status >= 500} == set()
    assert CHECKS - found.checks == set()
    described = {one["operationId"] for methods in service.app.openapi()["paths"].values() for one in methods.values()}
    assert described - found.operations == set(EXCLUDED)
    assert found.bare == []
    for status, operation, headers, body in found.refusals:
        assert headers["content-type"] == ["application/problem+json"], operation
        assert PROBLEM.validate_json(body).status == status
