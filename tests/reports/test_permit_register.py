"""The permit register: what wants action is marked and said, what is open comes first, and every permit has its rule and its scans."""

from __future__ import annotations

import csv
import json
from dataclasses import replace
from datetime import date, timedelta
from hashlib import sha256
from io import StringIO

import pytest

from domain.rules.compliance import Standing
from domain.rules.permits import ENDING_WITHIN_DAYS, EndReason, PermitStanding
from reports.canonical import record_hash
from reports.notes import Notes
from reports.permit_register import TaxonOfPermit, compose, permit_register_csv, permit_register_json, permit_register_pdf
from reports.permit_register.sheet import MOST_PERMITS
from tests.reports.makers import (
    TODAY,
    ended_permit,
    letters_of,
    opened,
    permit_condition,
    permit_line,
    permit_register,
    permit_scan,
    squeezed,
    text_of,
    uncovered_line,
)


def words_of(row, key):
    cell = row.cells.get(key, "")
    return cell if isinstance(cell, str) else " ".join(phrase.text for phrase in cell).strip()


def the_row(line):
    (row,) = compose.permit_rows([line], Notes(), on=TODAY)
    return row


def ending_in(days):
    return permit_line(
        good_until=TODAY + timedelta(days=days),
        end_reason=EndReason.OWN_LAST_DAY,
        standing=PermitStanding.ENDING if days <= ENDING_WITHIN_DAYS else PermitStanding.GOOD,
    )


@pytest.mark.parametrize(
    ("line", "said", "acts"),
    [
        (ending_in(61), "good", False),
        (ending_in(60), "ENDS in 60 days", True),
        (ending_in(0), "ENDS today", True),
        (ended_permit(1), "ENDED 1 day ago", True),
        (ended_permit(400), "ENDED 400 days ago", True),
        (permit_line(standing=PermitStanding.KIND_UNKNOWN), "KIND NOT KNOWN", True),
        (permit_line(standing=PermitStanding.NOT_YET, valid_from=date(2027, 1, 1)), "good from 1\u00a0Jan\u00a02027", False),
        (permit_line(), "good", False),
    ],
)
def test_a_permit_that_ends_within_sixty_days_or_has_ended_bears_the_bar_and_the_words(line, said, acts):
    row = the_row(line)

    assert said in words_of(row, "until")
    assert (row.act_now, "ACT NOW" in words_of(row, "until")) == (acts, acts)


def test_a_permit_that_was_replaced_by_a_good_one_or_used_up_wants_nothing_more():
    replaced = ended_permit(is_replaced=True, replaced_by="P-2", follows_on=True)
    late = ended_permit(is_replaced=True, replaced_by="P-2", follows_on=False)
    used, renewed = (
        ended_permit(end_reason=reason, is_replaced=reason is EndReason.REPLACED) for reason in (EndReason.USED, EndReason.REPLACED)
    )

    assert [the_row(line).act_now for line in (replaced, late, used, renewed)] == [False, True, False, False]
    assert "another takes its place the day after" in words_of(the_row(renewed), "validity")
    assert "replaced by P-2" in words_of(the_row(replaced), "until")
    assert "which is not good on this day" in words_of(the_row(late), "until")
    assert [compose.is_over(line, on=TODAY) for line in (replaced, late, used)] == [True, False, True]


@pytest.mark.parametrize(
    ("stated", "late"),
    [
        ({"renew_by": TODAY - timedelta(days=1)}, True),
        ({"renew_by": TODAY}, False),
        ({"renew_by": None}, False),
        ({"renew_by": TODAY - timedelta(days=1), "is_replaced": True, "replaced_by": "P-2"}, False),
    ],
)
def test_a_permit_whose_day_to_apply_has_passed_with_nothing_that_follows_wants_action(stated, late):
    line = permit_line(good_until=TODAY + timedelta(days=300), **stated)

    row, sheet = the_row(line), permit_register(line)

    assert (row.act_now, "THE DAY TO APPLY HAS PASSED" in words_of(row, "validity")) == (late, late)
    assert [compose.TOO_LATE in sentence for sentence in compose.open_items(sheet)] == [True] * late
    assert [one.value for one in compose.figures(sheet) if "past the day to apply" in one.label] == [str(int(late))]


def test_without_an_inspection_no_last_day_is_made_up():
    line = permit_line(good_until=date.min, end_reason=EndReason.NOT_INSPECTED, standing=PermitStanding.ENDED, taken=None)

    row = the_row(line)

    assert "no last day" in words_of(row, "until")
    assert "no inspection on record" in words_of(row, "until")


def test_what_a_permit_is_for_and_the_rule_of_its_validity_are_said_in_words():
    taxa = (TaxonOfPermit(scientific_name="Boa ficta", rank="species", number=3),)
    line = permit_line(
        activities=("move_within",), any_taxon=False, taxa=taxa, tags=("A-1",), total_number=5, lasts="3 years", renew_by=date(2027, 2, 1)
    )

    row = the_row(line)

    assert words_of(row, "scope") == "For: move within Boa ficta, at most 3 only these: A-1 at most 5 animals in all"
    assert "lasts 3 years: Invented Act, s. 1" in words_of(row, "validity")
    assert "apply for the next by 1\u00a0Feb\u00a02027" in words_of(row, "validity")


@pytest.mark.parametrize(
    ("stated", "said"),
    [
        ({"taken": 4, "left": 2, "expected": 3}, "4 counted room for 2 more 3 young expected"),
        ({"taken": 4, "left": -1}, "4 counted 1 MORE THAN IT ALLOWS"),
        ({"taken": 4}, "4 counted names no number"),
        ({"taken": None}, "not good on this day"),
    ],
)
def test_the_animals_against_a_permit_and_its_head_room_are_said(stated, said):
    assert words_of(the_row(permit_line(**stated)), "animals") == said


def test_of_a_permit_of_the_whole_organisation_a_sites_paper_tells_no_scope():
    row = the_row(permit_line(is_shared=True, any_taxon=False, taken=2))

    assert words_of(row, "scope") == compose.SHARED
    assert words_of(row, "animals").startswith("2 counted here")


def test_what_is_open_comes_first_with_the_animals_at_the_head():
    late = permit_condition(due_on=TODAY - timedelta(days=1))
    sheet = permit_register(ended_permit(conditions=(late,)), uncovered=(uncovered_line(),), animals_open=1)

    text = text_of(permit_register_pdf(sheet))

    places = [
        text.index(part) for part in ("Open items · 3", "A-0017", "Permit P-1, Reed County: ENDED", "a condition was due", "Permits · 1")
    ]
    assert places == sorted(places)


def test_that_it_is_no_legal_advice_stands_under_the_title():
    many = tuple(uncovered_line(tag=f"A-{number}") for number in range(60))

    with opened(permit_register_pdf(permit_register(permit_line(), uncovered=many, animals_open=60))) as paper:
        first, *others = (page.extract_text() for page in paper.pages)

    assert first.index("Permit register ·") < first.index("Not legal advice") < first.index("Open items")
    assert not any("Not legal advice" in text for text in others)


@pytest.mark.parametrize("lines", range(1, 30))
def test_the_heading_of_what_is_open_stands_with_its_table_and_goes_on_under_its_own_name(lines):
    long = uncovered_line(rules=tuple(f"XR-{number}: Invented Act" for number in range(lines)))

    with opened(permit_register_pdf(permit_register(uncovered=(long,) * 20, animals_open=20))) as paper:
        first, second, *_ = (page.extract_text() for page in paper.pages)

    page = first if "Open items" in first else second
    assert page.index("Open items") < page.index("Animals that are not in order · 20 records") < page.index("animal and its record")
    assert page is second or second.splitlines()[1] == "Animals that are not in order, continued"


def test_a_register_in_order_says_so():
    text = text_of(permit_register_pdf(permit_register(permit_line())))

    assert "Open items · 0" in text
    assert "None: every animal is covered" in text


@pytest.mark.parametrize(
    ("stated", "said"),
    [
        ({"any_taxon": False}, "NO TAXON AND NO ANIMAL on record: it covers none"),
        ({"any_taxon": True}, "NO ANIMAL ANY MORE on record: it covers none"),
    ],
)
def test_a_permit_that_is_for_none_says_so(stated, said):
    assert said in words_of(the_row(permit_line(is_for_none=True, **stated)), "scope")


def test_animals_in_order_by_overrides_alone_are_counted_apart():
    letters = letters_of(permit_register_pdf(permit_register(permit_line(), animals_overridden=2)))

    assert squeezed("In order only since a named person answers for it: 2 animals") in letters
    assert squeezed("every animal is covered") not in letters


@pytest.mark.parametrize(
    ("stated", "said"),
    [
        ({"standing": Standing.PROHIBITED, "needs": ()}, "ACT NOW: PROHIBITED"),
        ({"standing": Standing.CANNOT_DECIDE, "missing": ("taxon_order",)}, "not on record: taxon order"),
        ({"needs_mark": True}, "needs a mark"),
        ({"number": 9, "uncovered": 4}, "needs one of: Keeping permit"),
        ({"needs": (("A", "B"), ("C",))}, "needs one of: A; B needs one of: C"),
    ],
)
def test_an_animal_that_is_not_in_order_says_why(stated, said):
    (row,) = compose.uncovered_rows([uncovered_line(**stated)])

    assert row.act_now
    assert said in words_of(row, "why")
    assert words_of(row, "count") == ("4 of 9" if stated.get("number") else "1")


def test_conditions_come_by_their_due_day_and_what_is_late_says_so():
    met = permit_condition(id="met", due_on=TODAY - timedelta(days=9), met_on=TODAY - timedelta(days=8))
    later, late, always = (
        permit_condition(id=name, due_on=on) for name, on in (("a", date(2027, 5, 1)), ("b", date(2026, 5, 1)), ("c", None))
    )

    rows = compose.condition_rows([permit_line(conditions=(met, always, later, late))], Notes(), on=TODAY)

    assert [words_of(row, "permit").split()[-1] for row in rows] == ["b", "a", "c", "met"]
    assert [row.act_now for row in rows] == [True, False, False, False]
    assert "days late" in words_of(rows[0], "due")
    assert words_of(rows[2], "due") == "all the time"


def test_a_condition_met_after_the_day_of_the_paper_was_late_on_it():
    line = permit_condition(due_on=TODAY - timedelta(days=9), met_on=TODAY + timedelta(days=1))

    assert [compose.is_late(line, on=TODAY + timedelta(days=days)) for days in (0, 1)] == [True, False]


def test_the_scans_bear_their_whole_fingerprint():
    text = letters_of(permit_register_pdf(permit_register(permit_line(scans=(permit_scan(),)))))

    assert "0123456789abcdef" * 4 in text


def test_a_long_condition_stands_in_full_after_the_tables():
    text = "The door is kept locked. " * 40

    assert squeezed(text) in letters_of(permit_register_pdf(permit_register(permit_line(conditions=(permit_condition(text=text),)))))


def test_many_permits_are_left_off_the_paper_and_counted_and_the_csv_has_all():
    sheet = permit_register(*(permit_line(number=f"P-{number}") for number in range(MOST_PERMITS + 7)))

    assert "7 more permits are left off this paper" in text_of(permit_register_pdf(sheet))
    assert len(list(csv.DictReader(StringIO(permit_register_csv(sheet).decode("utf-8-sig"))))) == MOST_PERMITS + 7


def test_animals_that_are_left_off_are_counted():
    sheet = permit_register(uncovered=(uncovered_line(),), uncovered_in_all=9)

    assert "8 more records are not in order" in text_of(permit_register_pdf(sheet))


def test_equal_sheets_give_equal_bytes_and_the_hash_is_of_the_json():
    sheet = permit_register(permit_line(conditions=(permit_condition(),), scans=(permit_scan(),)), uncovered=(uncovered_line(),))

    assert permit_register_pdf(sheet) == permit_register_pdf(replace(sheet))
    assert sha256(permit_register_json(sheet)).hexdigest() == record_hash(sheet)
    assert json.loads(permit_register_json(sheet))["permits"][0]["standing"] == "good"


def test_the_csv_runs_no_formula_and_says_conditions_with_their_days():
    line = permit_line(number="=1+1", conditions=(permit_condition(due_on=date(2026, 5, 1)),), tags=("A-1", "A-2"), scans=(permit_scan(),))

    (row,) = csv.DictReader(StringIO(permit_register_csv(permit_register(line)).decode("utf-8-sig")))

    assert (row["number"], row["animals"], row["as_of"]) == ("'=1+1", "A-1; A-2", TODAY.isoformat())
    assert row["conditions"] == "Keep the outer door locked. (due 2026-05-01)"
    assert row["scans_sha256"] == "0123456789abcdef" * 4


def test_without_a_site_it_is_the_whole_organisations_and_says_where_each_permit_is():
    text = text_of(permit_register_pdf(permit_register(permit_line(), permit_line(site=None), site=None)))

    assert "Permit register · whole organisation" in text
    assert "any site" in text
