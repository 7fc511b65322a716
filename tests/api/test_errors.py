"""Refusals as problems."""

from __future__ import annotations

import json

import pytest

from api.bodies.problem import Problem
from api.errors import STATUSES, problem_of
from domain.errors import Fault, NotFound, Refusal, RuleBroken


def refusals():
    pending = [Refusal]
    while pending:
        kind = pending.pop()
        pending += kind.__subclasses__()
        if kind is not Refusal:
            yield kind


@pytest.mark.parametrize("kind", list(refusals()), ids=lambda kind: kind.__name__)
def test_every_refusal_has_a_status_and_fits_the_described_shape(kind):
    answer = problem_of(kind("No."), path="/v1/sites")

    stated = Problem.model_validate_json(answer.body)
    assert stated.status == answer.status_code
    assert stated.type == f"urn:reedbed:problem:{stated.code}"
    assert 400 <= answer.status_code <= 503


def test_every_status_is_stated_once_for_each_kind():
    assert set(STATUSES) <= set(refusals())


def test_faults_are_told_with_pointer_code_and_sentence():
    refused = RuleBroken("No.", faults=(Fault("/a", "b", "C."),))

    assert json.loads(problem_of(refused, path="/").body)["errors"] == [{"pointer": "/a", "code": "b", "detail": "C."}]


def test_a_path_that_is_no_text_is_still_told():
    assert json.loads(problem_of(NotFound("No."), path="/\ud800").body)["instance"] == "/?"
