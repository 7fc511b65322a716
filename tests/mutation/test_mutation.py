"""The figures of mutation testing, and that it notices a test which notices nothing."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from tests.mutation.mutants import Mutant, run_mutmut, shown
from tests.mutation.score import Equivalent, figures, stale, summed, survivors, tallied
from tests.mutation.selections import HOUSE, Selection, chosen, selections

FOUND = [
    Mutant("domain.rules.money.x_minor_units__mutmut_1", "killed"),
    Mutant("domain.rules.money.x_minor_units__mutmut_2", "timeout"),
    Mutant("domain.rules.money.x_minor_units__mutmut_3", "survived", "digits = 2", "digits = None"),
    Mutant("domain.rules.money.x_minor_units__mutmut_4", "no tests", "return 1", "return 2"),
    Mutant("domain.rules.forecast.xǁOutlookǁstanding_of__mutmut_1", "killed"),
]
LISTED = Equivalent("domain.rules.money:minor_units", "digits = 2", "digits = None", "nobody reads it")


def test_a_mutant_is_known_by_its_file_and_function():
    assert (FOUND[0].module, FOUND[0].function) == ("domain/rules/money.py", "domain.rules.money:minor_units")
    assert (FOUND[4].module, FOUND[4].function) == ("domain/rules/forecast.py", "domain.rules.forecast:Outlook.standing_of")


def test_the_lines_of_a_mutant_are_read_from_the_difference():
    difference = "# name: survived\n--- a.py\n+++ a.py\n@@ -1,3 +1,2 @@\n def f():\n-    return  min(\n-        1)\n+    return min()\n"

    found = shown(FOUND[2], difference)

    assert (found.was, found.becomes) == ("return min( 1)", "return min()")


def test_the_score_is_the_share_noticed_of_what_can_be():
    found = tallied("domain/rules/money.py", FOUND, [LISTED])

    assert figures(found) == "domain/rules/money.py: 4 mutants, 1 killed, 1 timeouts, 1 equivalent, 1 no tests: 66.7 %"
    assert survivors(found) == ["  no tests domain.rules.money.x_minor_units__mutmut_4\n    - return 1\n    + return 2"]


def test_a_change_that_is_not_listed_counts_as_survived():
    assert tallied("domain/rules/money.py", FOUND, []).score == 50


def test_the_figures_of_modules_add_up():
    modules = ("domain/rules/money.py", "domain/rules/forecast.py")

    found = summed([tallied(module, FOUND, [LISTED]) for module in modules], name="rules")

    assert figures(found) == "rules: 5 mutants, 2 killed, 1 timeouts, 1 equivalent, 1 no tests: 75.0 %"


def test_an_entry_of_the_list_that_fits_no_survivor_is_told():
    noticed = [Mutant(one.name, "killed", one.was, one.becomes) for one in FOUND]

    assert stale(FOUND, [LISTED]) == []
    assert stale(noticed, [LISTED]) == ["equivalents.toml fits no survivor: domain.rules.money:minor_units: digits = None"]


def test_selections_name_files_that_are_there_and_every_rule():
    every = selections()

    named = {module for one in every for module in one.modules}
    assert [path for one in every for path in (*one.modules, *one.tests) if not (HOUSE / path).exists()] == []
    rules = {path.relative_to(HOUSE).as_posix() for path in (HOUSE / "domain/rules").glob("*.py")}
    assert rules - named == {"domain/rules/__init__.py"}


def test_a_selection_is_chosen_by_its_name_or_by_its_modules():
    every = [Selection("one", 90, ("a.py", "b.py"), ("tests/a",)), Selection("other", 100, ("c.py",), ("tests/c",))]

    assert chosen(every, []) == every
    assert [(one.name, one.modules) for one in chosen(every, ["b.py", "other"])] == [("one", ("b.py",)), ("other", ("c.py",))]
    with pytest.raises(SystemExit, match=r"selections\.toml: d\.py"):
        chosen(every, ["d.py"])


TREE = {
    "pyproject.toml": (
        '[tool.pytest.ini_options]\naddopts = "--import-mode=importlib"\npythonpath = ["."]\n\n[tool.mutmut]\nsource_paths = ["product"]\n'
    ),
    "product/__init__.py": "",
    "product/stay.py": "def held(days):\n    return days <= 14\n\n\ndef missed(days):\n    return days <= 14\n",
    "tests/test_stay.py": (
        "from product.stay import held, missed\n\n\n"
        "def test_a_boundary():\n    assert (held(14), held(15)) == (True, False)\n\n\n"
        "def test_far_from_it():\n    assert (missed(3), missed(30)) == (True, False)\n"
    ),
}


@pytest.mark.skipif(sys.platform == "win32", reason="mutmut needs fork")
def test_mutants_survive_a_test_that_misses_the_boundary_and_not_one_that_holds_it(tmp_path: Path):
    for name, text in TREE.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(text, encoding="utf-8")

    found = run_mutmut(tmp_path, Selection("stay", 90, ("product/stay.py",), ("tests",)), workers=1)

    assert sorted((one.function, one.becomes) for one in found if not one.noticed) == [
        ("product.stay:missed", "return days < 14"),
        ("product.stay:missed", "return days <= 15"),
    ]
    assert [one.function for one in found if one.noticed] == ["product.stay:held"] * 2
