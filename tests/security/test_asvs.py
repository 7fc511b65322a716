"""The table of OWASP ASVS 5.0.0 is whole and honest: every row once, and whatever it claims is proved by a test that is there and runs."""

from __future__ import annotations

import ast
import tomllib
from collections import Counter
from functools import cache
from pathlib import Path

import pytest

HOUSE = Path(__file__).parents[2]
ROWS = tomllib.loads((Path(__file__).parent / "asvs.toml").read_text(encoding="utf-8"))["row"]

# Counted in the standard's own list of 345 requirements: how many rows of level 1 and of level 2 each part of the scope has.
OF_THE_STANDARD = {
    "1": (8, 19),
    "2": (4, 7),
    "3.4": (2, 4),
    "4.1": (1, 2),
    "4.2": (0, 1),
    "5": (4, 5),
    "6": (13, 22),
    "7": (6, 12),
    "8": (4, 3),
    "9": (4, 3),
    "10.3": (0, 4),
    "11": (3, 11),
    "12": (3, 6),
    "13": (1, 12),
    "14": (2, 7),
    "15": (3, 10),
    "16": (0, 16),
}
LEVEL_3 = {
    *("1.2.10", "1.3.12", "1.5.3", "2.3.5", "4.1.4", "5.2.4", "5.2.5", "5.2.6", "5.3.3", "6.3.8", "6.4.6", "8.3.2", "11.2.4"),
    *("13.1.2", "13.1.3", "15.2.4", "15.4.2", "16.5.4"),
}
FORMS = {
    "met": ({"id", "level", "status", "how", "tests"}, set()),
    "exception": ({"id", "level", "status", "reason"}, {"tests", "until"}),
    "not-applicable": ({"id", "level", "status", "reason"}, {"tests"}),
}
OF_SUBSTANCE = {"met": 0, "exception": 80, "not-applicable": 20}
"""How many characters a reason has at least."""
SWITCHED_OFF = {"skip", "skipif", "xfail", "benchmark", "system", "importorskip"}


def counts(rows):
    """Return how many rows of levels 1 and 2 there are in each part."""
    found = Counter((part_of(row["id"]), row["level"]) for row in rows)
    return {part: (found[part, 1], found[part, 2]) for part in OF_THE_STANDARD}


def part_of(row_id):
    chapter, section, _ = row_id.split(".")
    return next((part for part in (f"{chapter}.{section}", chapter) if part in OF_THE_STANDARD), "")


def faults_of(row):
    """Yield what is wrong with one row."""
    needed, allowed = FORMS[row["status"]]
    if not needed <= row.keys() <= needed | allowed:
        yield f"{row['id']}: {sorted(row.keys() ^ needed)}"
    if len(row.get("reason", "")) < OF_SUBSTANCE[row["status"]] or (row["status"] == "met" and not row["how"]):
        yield f"{row['id']}: a reason of no substance"
    if row["status"] == "met" and not row["tests"]:
        yield f"{row['id']}: no test"
    if len(set(row.get("tests", ()))) != len(row.get("tests", ())):
        yield f"{row['id']}: a test twice"
    yield from (f"{row['id']}: {fault}" for node in row.get("tests", ()) for fault in faults_of_node(node))


def faults_of_node(node):
    """Yield what is wrong with the name of a test."""
    path, _, name = node.partition("::")
    module = module_at(HOUSE / path)
    test = next((one for one in module.body if isinstance(one, ast.FunctionDef) and one.name == name), None) if module else None
    if test is None or not name.startswith("test_") or not Path(path).name.startswith("test_") or not path.startswith("tests/"):
        yield f"there is no test {node}"
    elif off := switches(test, module=module):
        yield f"{node} carries {', '.join(sorted(off))}"


@cache
def module_at(path):
    return ast.parse(path.read_text(encoding="utf-8")) if path.is_file() else None


def switches(test, *, module):
    """Return what could keep a test from running: on it, in it, or on its whole module, under a name of the module as well."""
    named = {
        target.id: one.value for one in module.body if isinstance(one, ast.Assign) for target in one.targets if isinstance(target, ast.Name)
    }
    marks = [*test.decorator_list, named.get("pytestmark", ast.Constant(None))]
    marks = [named.get(one.id, one) if isinstance(one, ast.Name) else one for one in marks]
    calls = [one.func for part in test.body for one in ast.walk(part) if isinstance(one, ast.Call)]
    words = {one.attr for mark in marks for one in ast.walk(mark) if isinstance(one, ast.Attribute)}
    return (words | {call.attr for call in calls if isinstance(call, ast.Attribute) and ast.unparse(call.value) == "pytest"}) & SWITCHED_OFF


def test_every_row_of_the_scope_is_in_the_table_once():
    ids = [row["id"] for row in ROWS]

    assert [one for one, count in Counter(ids).items() if count > 1] == []
    assert counts(ROWS) == OF_THE_STANDARD
    assert {row["id"] for row in ROWS if row["level"] == 3} == LEVEL_3
    assert len(ROWS) == sum(map(sum, OF_THE_STANDARD.values())) + len(LEVEL_3) == 220


def test_rows_of_one_section_are_counted_without_a_gap_where_all_its_levels_are_wanted():
    """The rows of 8.2, for instance, are 8.2.1 to 8.2.3: a mistaken number would leave a gap or a double."""
    low = [row["id"] for row in ROWS if row["level"] < 3]

    assert {one for one in low if one.startswith("8.2.")} == {"8.2.1", "8.2.2", "8.2.3"}
    assert {one for one in low if one.startswith("9.")} == {"9.1.1", "9.1.2", "9.1.3", "9.2.1", "9.2.2", "9.2.3", "9.2.4"}
    assert {one for one in low if one.startswith("6.2.")} == {f"6.2.{number}" for number in range(1, 13)}


def test_every_row_says_what_proves_it_or_why_nothing_does():
    assert [fault for row in ROWS for fault in faults_of(row)] == []


def test_the_table_tells_exceptions_from_what_is_met():
    by_status = Counter(row["status"] for row in ROWS)

    assert by_status.keys() == FORMS.keys()
    assert by_status["exception"] < by_status["met"] / 4


GOOD = {"id": "1.2.4", "level": 1, "status": "met", "how": "bound", "tests": ["tests/security/test_asvs.py::test_a_removed_row_is_found"]}
SETTINGS = "tests/api/test_settings.py"


@pytest.mark.parametrize(
    "wrong",
    [
        {"tests": ["tests/security/test_asvs.py::test_that_nobody_wrote"]},
        {"tests": ["tests/security/test_nothing.py::test_a_removed_row_is_found"]},
        {"tests": ["tests/security/test_asvs.py::counts"]},
        {"tests": ["tests/security/source.py::name_of"]},
        {"tests": [f"{SETTINGS}::test_a_file_with_a_secret_that_others_may_read_is_refused"]},
        {"tests": ["tests/test_house.py::test_ci_can_be_started"]},
        {"tests": ["tests/benchmarks/test_serving.py::test_a_removed_row_is_found"]},
        {"tests": []},
        {"tests": [*GOOD["tests"], *GOOD["tests"]]},
        {"how": ""},
        {"reason": "met after all"},
        {"status": "exception", "reason": "no time"},
    ],
    ids=str,
)
def test_a_row_that_claims_too_much_is_found(wrong):
    assert [*faults_of(GOOD)] == []
    assert [*faults_of({**GOOD, **wrong})] != []


@pytest.mark.parametrize("row_id", ["1.1.1", "3.4.3", "10.3.4", "16.5.3"])
def test_a_removed_row_is_found(row_id):
    assert counts([row for row in ROWS if row["id"] != row_id]) != OF_THE_STANDARD


def test_a_skip_is_found_wherever_it_stands():
    sources = [
        "pytestmark = pytest.mark.skip\ndef test_a(): pass",
        "needs = pytest.mark.skipif(True, reason='')\n@needs\ndef test_a(): pass",
        "@pytest.mark.xfail\ndef test_a(): pass",
        "def test_a():\n    if x:\n        pytest.skip('')",
    ]
    for source in sources:
        module = ast.parse(source)
        assert switches(module.body[-1], module=module), source
    plain = ast.parse("@pytest.mark.parametrize('a', [1])\ndef test_a(a):\n    assert skip(a)")
    assert not switches(plain.body[-1], module=plain)
