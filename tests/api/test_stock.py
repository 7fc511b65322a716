"""Lines of the stock as they are shown: their order, and their names."""

from __future__ import annotations

from datetime import date
from itertools import permutations
from uuid import UUID

import pytest

from api.stock import Asked, census_lines, statement_json
from domain.actions.census import Counted, Names, TaxonNames
from domain.rules.lives import LifeStage, Sex, Status
from domain.rules.stock import Account, Line

NEAR, FAR = UUID(int=2), UUID(int=1)
TOAD, NEWT = UUID(int=3), UUID(int=4)
NAMES = Names(
    taxa={TOAD: TaxonNames("Bombina ficta", None, "species"), NEWT: TaxonNames("Ambystoma fictum", "newt", "species")},
    sites={NEAR: "Alder House", FAR: "Birch House"},
)
IN_ORDER = (
    (Line(FAR, NEWT, Sex.UNKNOWN, LifeStage.UNKNOWN), Status.PRESENT),
    (Line(NEAR, TOAD, Sex.FEMALE, LifeStage.ADULT), Status.PRESENT),
    (Line(NEAR, TOAD, Sex.FEMALE, LifeStage.ADULT), Status.AWAY),
    (Line(NEAR, TOAD, Sex.UNKNOWN, LifeStage.EGG), Status.PRESENT),
    (Line(NEAR, TOAD, Sex.UNKNOWN, LifeStage.LARVA), Status.PRESENT),
    (Line(FAR, TOAD, Sex.FEMALE, LifeStage.ADULT), Status.PRESENT),
    (Line(None, TOAD, Sex.FEMALE, LifeStage.ADULT), Status.MISSING),
)


@pytest.mark.parametrize("start", range(7))
def test_lines_are_sorted_by_name_site_sex_stage_and_status_however_they_come(start):
    counted = [Counted(line, status, number=1, records=1) for line, status in IN_ORDER]
    for few in permutations((*counted[start:], *counted[:start])[:4]):
        shown = census_lines([*few, *(one for one in counted if one not in few)], on=date(2026, 3, 1), names=NAMES)
        assert [(Line(one["site_id"], one["taxon_id"], one["sex"], one["life_stage"]), one["status"]) for one in shown] == [*IN_ORDER]


def test_a_statement_says_when_a_line_is_out_of_balance():
    right, wrong = Account(opening=2, deaths=1, closing=1), Account(opening=2, deaths=1, closing=2)
    days = {"from_on": date(2026, 1, 1), "until_on": date(2026, 2, 28)}

    shown = statement_json({IN_ORDER[1][0]: wrong, IN_ORDER[5][0]: right}, **days, asked=Asked(None, None), names=NAMES)

    assert shown["balances"] is False
    assert [(one["reckoned"], one["closing"], one["balances"]) for one in shown["lines"]] == [(1, 2, False), (1, 1, True)]
    assert (shown["total"]["animals"]["balances"], shown["total"]["eggs"]["balances"]) == (False, True)


def test_errors_that_make_each_other_good_in_a_sum_are_said_all_the_same():
    more, fewer = Account(opening=1, closing=2), Account(opening=2, closing=1)
    days = {"from_on": date(2026, 1, 1), "until_on": date(2026, 2, 28)}

    shown = statement_json({IN_ORDER[1][0]: more, IN_ORDER[5][0]: fewer}, **days, asked=Asked(None, None), names=NAMES)

    assert shown["total"]["animals"]["balances"] is True
    assert shown["balances"] is False
