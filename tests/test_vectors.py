"""The rules are held against published and computed values."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from tests.vectors import FORMULAS

VECTORS: list[dict[str, Any]] = json.loads((Path(__file__).parent / "vector_data.json").read_text(encoding="utf-8"))["vectors"]


def departures(found: object, expected: object, *, tolerance: Mapping[str, float], at: str = "") -> list[str]:
    """Return where two values differ by more than the tolerance; lists and mappings are compared member by member."""
    if isinstance(expected, Mapping) and isinstance(found, Mapping) and found.keys() == expected.keys():
        pairs = [(f"{at}/{name}", found[name], expected[name]) for name in expected]
    elif isinstance(expected, list) and isinstance(found, list) and len(found) == len(expected):
        pairs = [(f"{at}/{i}", *both) for i, both in enumerate(zip(found, expected, strict=True))]
    elif isinstance(expected, int | float) and isinstance(found, int | float):
        close = pytest.approx(expected, abs=tolerance.get("abs", 0), rel=tolerance.get("rel", 0))
        return [] if found == close else [f"{at}: {found!r} is not {expected!r}"]
    else:
        return [] if found == expected else [f"{at}: {found!r} is not {expected!r}"]
    return [one for place, left, right in pairs for one in departures(left, right, tolerance=tolerance, at=place)]


@pytest.mark.parametrize("vector", VECTORS, ids=[f"{one['formula_id']} {one['name']}" for one in VECTORS])
def test_a_rule_gives_the_published_value(vector):
    found = FORMULAS[vector["formula_id"]](vector["inputs"])

    assert departures(found, vector["expected"], tolerance=vector["tolerance"]) == []


def test_every_formula_has_a_vector_and_every_vector_its_source():
    assert {one["formula_id"] for one in VECTORS} == set(FORMULAS)
    assert all(one["source"] and one["status"] for one in VECTORS)


@pytest.mark.parametrize(
    ("found", "expected"),
    [
        (1.0011, 1.0),
        ("2026-04-08", "2026-04-07"),
        ({"days": 375}, {"days": 375, "due": "2027-01-11"}),
        ({"days": 376, "due": "2027-01-11"}, {"days": 375, "due": "2027-01-11"}),
        (["2026-01-31"], ["2026-01-31", "2026-02-28"]),
        ([1.0, 2.1], [1.0, 2.0]),
        (None, 1.0),
        ("1.0", 1.0),
    ],
)
def test_a_departure_is_seen_wherever_it_is(found, expected):
    assert departures(expected, expected, tolerance={"rel": 1e-3}) == []
    assert departures(found, expected, tolerance={"rel": 1e-3}) != []


def test_wall_clock_times_and_zones_are_found_whatever_they_are_called():
    named = {"zone": "Europe/Lisbon", "start": "2026-03-28T22:00", "end": "2026-03-29T06:00"}

    assert FORMULAS["T-HRS-01"](named) == 7.0
    assert FORMULAS["T-RRULE-03"]({"at": "2026-11-01T01:30:00", "where": "America/New_York"}) == "2026-11-01T05:30:00+00:00"
