"""The inspection file: fourteen sections in their order, what is open first, every failure with its record, gaps declared, and bounded."""

from __future__ import annotations

import csv
import json
import re
import time
from dataclasses import replace
from datetime import UTC, date, datetime
from hashlib import sha256
from io import StringIO

import pytest

from domain.rules.compliance import Standing
from reports.canonical import record_hash
from reports.inspection_file import inspection_file_csv, inspection_file_json, inspection_file_pdf
from reports.inspection_file.drawing import NOT_RECORDED, SECTIONS
from reports.inspection_file.exceptions import FAILED_LABELS, FAILED_WORDS, SECTION_OF, Failed, exceptions
from reports.inspection_file.sheet import (
    MOST_ANIMALS_PRINTED,
    MOST_ENCLOSURES_PRINTED,
    MOST_EXCEPTIONS_PRINTED,
    MOST_LINES_PRINTED,
    MOST_PERMITS_PRINTED,
    AnsweredLine,
    CompetenceLine,
)
from tests.reports.makers import (
    animal_in_register,
    enclosure_line,
    ended_permit,
    finding_line,
    incident_line,
    inspection_file,
    lodger_line,
    opened,
    overdue_line,
    permit_condition,
    permit_line,
    squeezed,
    stock_line,
    stock_statement,
    tell_line,
    text_of,
    uncovered_line,
    visit_line,
)

COMPETENCE = CompetenceLine(
    id="0190-k",
    staff_id="0190-s",
    role="keeper",
    whole_organisation=False,
    hazard="venomous",
    from_on=date(2020, 1, 1),
    expires_on=None,
    is_renewed=False,
)
ANSWERED = AnsweredLine(
    override_id="0190-o", animal_id="0190-1", tag="A-0099", scientific_name="Boa ficta", requirement="XR-1", citation="Invented Act, s. 1"
)


def everything_failed():
    at = date(2025, 12, 31)
    standings = (Standing.PROHIBITED, Standing.UNCOVERED, Standing.CANNOT_DECIDE)
    late = permit_condition(due_on=date(2025, 6, 1))
    wrong = stock_statement(stock_line(opening=3, closing=5))
    return inspection_file(
        uncovered=tuple(uncovered_line(standing=one, id=f"0190-{one.value}") for one in standings),
        permits=(ended_permit(good_until=date(2025, 12, 1), conditions=(late,)),),
        incidents=(incident_line(*(tell_line(standing=one) for one in ("open", "missed", "cannot_decide", "told", "told_late"))),),
        findings=(finding_line(),),
        enclosures=(
            enclosure_line(lodger_line(outcome="does_not_fit", against=("Too small for two.",))),
            enclosure_line(lodger_line(outcome="cannot_decide", missing=("Nobody says how large it has to be.",))),
        ),
        overdue=(overdue_line(), overdue_line(id="0190-u", tag="EQ-2", standing="unknown", due_on=None)),
        stock=wrong,
        competences=(replace(COMPETENCE, expires_on=at.replace(day=30)),),
        answered=(ANSWERED,),
    )


def test_the_fourteen_sections_stand_in_their_order_with_the_pages_that_the_contents_say():
    sheet = everything_failed()

    with opened(inspection_file_pdf(sheet)) as paper:
        pages = [page.extract_text() for page in paper.pages]
        contents = next(text for text in pages if "Contents" in text and "section page" in text)
        for number, name in enumerate(SECTIONS, start=1):
            (said,) = re.findall(rf"^{number} {re.escape(name)} (\d+)$", contents, re.MULTILINE)
            (found,) = (place for place, text in enumerate(pages, start=1) if f"{number} · {name}" in text.splitlines())
            assert int(said) == found, name
    text = "\n".join(pages)
    places = [text.index(f"{number} · {name}") for number, name in enumerate(SECTIONS, start=1)]
    assert places == sorted(places)


def test_everything_that_failed_is_among_the_exceptions_with_its_record_and_on_the_cover():
    sheet = everything_failed()

    found = exceptions(sheet)

    assert [one.failed for one in found] == [
        Failed.MISSED, Failed.TO_TELL, Failed.UNSURE_TO_TELL,
        Failed.PROHIBITED, Failed.UNCOVERED, Failed.CANNOT_DECIDE, Failed.PERMIT, Failed.CONDITION, Failed.FINDING, Failed.UNSUITED,
        Failed.OVERDUE, Failed.SUM, Failed.COMPETENCE, Failed.UNDECIDED, Failed.UNDATED, Failed.ANSWERED,
    ]  # fmt: skip
    assert {one.failed for one in found} == set(Failed)
    assert all(one.record.startswith("/v1/") for one in found)
    with opened(inspection_file_pdf(sheet)) as paper:
        cover = squeezed("".join(page.extract_text() for page in paper.pages[:2]))
    for failed in Failed:
        assert squeezed(FAILED_WORDS[failed])[:20] in cover, failed


def test_open_items_stand_before_the_contents():
    text = text_of(inspection_file_pdf(everything_failed()))

    assert text.index("Open items · 16") < text.index("Contents") < text.index("Statement")


def test_every_kind_of_failure_has_its_words_and_its_section():
    assert set(FAILED_WORDS) == set(FAILED_LABELS) == set(SECTION_OF) == set(Failed)
    assert set(SECTION_OF.values()) <= set(range(1, len(SECTIONS) + 1))


def test_what_has_no_records_yet_is_declared_and_an_empty_list_is_told_from_it():
    without = text_of(inspection_file_pdf(inspection_file()))
    empty = text_of(inspection_file_pdf(inspection_file(incidents=(), findings=())))

    assert without.count(NOT_RECORDED) == empty.count(NOT_RECORDED) + 4
    assert squeezed("returns, checks and drills that rules ask for were done: that is not recorded") in squeezed(empty)
    assert "Incidents and bites · 0" in empty
    assert "Incidents and bites · 0" not in without


def test_incidents_and_findings_stand_in_their_section():
    late = finding_line(due_on=date(2025, 6, 1))
    text = text_of(inspection_file_pdf(inspection_file(incidents=(incident_line(),), findings=(late,))))

    assert "A keeper was bitten." in text
    assert "ACT NOW: OVERDUE" in text


def test_days_before_anything_was_on_record_are_declared_as_a_gap():
    assert "before that are a gap" in text_of(inspection_file_pdf(inspection_file(first_day=date(2025, 2, 1))))
    assert "before that are a gap" not in text_of(inspection_file_pdf(inspection_file(first_day=date(2025, 1, 1))))


def test_staff_is_told_by_role_and_record_and_never_by_name():
    fields = set(CompetenceLine.__dataclass_fields__)

    assert fields == {"id", "staff_id", "role", "whole_organisation", "hazard", "from_on", "expires_on", "is_renewed"}


def words_under(sheet, failed):
    """The words of the exceptions of one kind, with their rules and records."""
    return [(one.about, *one.what, *one.rules, one.record) for one in exceptions(sheet) if one.failed is failed]


def test_a_notice_that_may_be_owed_is_called_late_once_its_instant_has_passed():
    past, ahead = (datetime(2026, 1, day, 12, 0, tzinfo=UTC) for day in (8, 20))
    lines = [tell_line(standing="cannot_decide", tell_by=at, missing=("taxon_order",)) for at in (past, ahead, None)]
    sheet = inspection_file(incidents=(incident_line(*lines, missing=("jurisdiction",)),))

    said = [" ".join(words) for words in words_under(sheet, Failed.UNSURE_TO_TELL)]

    assert ["HAS PASSED" in words for words in said] == [True, False, False, False]
    assert "at once" in said[2]
    assert "not on record: taxon order" in said[0]
    assert "not on record: jurisdiction" in said[3]
    assert all(words.endswith("/v1/incidents/0190-i/notify-by") for words in said)


@pytest.mark.parametrize(("standing", "acts"), [("missed", True), ("open", True), ("cannot_decide", True), ("told", False)])
def test_an_incident_of_which_something_is_still_to_be_told_is_marked_in_its_section(standing, acts):
    text = text_of(inspection_file_pdf(inspection_file(incidents=(incident_line(tell_line(standing=standing)),))))

    on_the_cover_in_its_section_and_among_the_exceptions = 3
    assert text.count("ACT NOW") == acts * on_the_cover_in_its_section_and_among_the_exceptions
    assert text.count("ACT NOW: ") == acts


def test_a_finding_among_the_exceptions_names_its_requirement_and_what_is_done_about_it():
    named = finding_line(requirement="XR-7", action="Fit a new post. (open)")
    sheet = inspection_file(findings=(named, finding_line(action="x" * 900)))

    first, second = words_under(sheet, Failed.FINDING)

    assert first[2:4] == ("corrective action: Fit a new post. (open)", "XR-7")
    assert second[2].endswith("…, all of it in section 10")
    assert "by XR-7" in text_of(inspection_file_pdf(sheet))


def test_inspections_and_findings_closed_in_the_period_stand_with_their_proof():
    closed = finding_line(closed_on=date(2025, 8, 1), closing="It stands.", action="Fit a new post. (done 2025-07-30: a photograph)")
    text = squeezed(text_of(inspection_file_pdf(inspection_file(findings=(), visits=(visit_line(),), closed=(closed,)))))

    for words in ("Inspections of the period · 1", "follow up visit", "Findings closed in the period · 1", "It stands.", "a photograph"):
        assert squeezed(words) in text
    assert "ACTNOW" not in text


def test_an_animal_that_is_not_in_order_is_marked_in_the_register():
    def text(standing):
        return text_of(inspection_file_pdf(inspection_file(animals=(animal_in_register(standing=standing),))))

    assert "ACT NOW: UNCOVERED" in text(Standing.UNCOVERED)
    assert not any("ACT NOW" in text(one) for one in (Standing.COVERED, Standing.NOTHING_NEEDED, None))


def test_a_group_of_which_one_is_without_a_document_is_told_as_one_animal():
    (one,) = words_under(inspection_file(uncovered=(uncovered_line(number=38, uncovered=1),)), Failed.UNCOVERED)

    assert one[0].endswith("(1 animal)")


def test_each_document_that_is_needed_stands_for_itself():
    line = uncovered_line(needs=(("A", "B"), ("C",)))

    (one,) = words_under(inspection_file(uncovered=(line,)), Failed.UNCOVERED)

    assert one[1:3] == ("needs one of: A; B", "needs one of: C")


def test_a_permit_whose_day_to_apply_has_passed_is_among_the_exceptions():
    line = permit_line(renew_by=date(2025, 12, 30), good_until=date(2026, 6, 1))

    (one,) = words_under(inspection_file(permits=(line,)), Failed.PERMIT)

    assert any(words.startswith("THE DAY TO APPLY HAS PASSED") for words in one)


def test_an_enclosure_that_cannot_be_decided_is_to_be_known_and_not_acted_on_now():
    sheet = inspection_file(enclosures=(enclosure_line(lodger_line(outcome="cannot_decide", missing=("Nobody says how large.",))),))

    assert words_under(sheet, Failed.UNDECIDED) == [("enclosure T-14", "Nobody says how large.", "/v1/enclosures/0190-b")]
    assert "ACT NOW" not in text_of(inspection_file_pdf(sheet))


def test_that_it_is_no_legal_advice_stands_on_the_first_page_only():
    with opened(inspection_file_pdf(everything_failed())) as paper:
        told = ["Not legal advice" in page.extract_text() for page in paper.pages]

    assert told == [True, *[False] * (len(told) - 1)]


def test_the_statement_counts_no_rows_of_which_some_are_sums():
    text = text_of(inspection_file_pdf(everything_failed()))

    assert "Statement ·" not in text
    assert "Statement" in text


@pytest.mark.parametrize("rows", range(12, 34))
def test_no_heading_stands_at_the_foot_of_a_page_while_its_table_starts_on_the_next(rows):
    """However much stands before them, sections 8 to 11 begin with their tables."""
    sheet = inspection_file(
        enclosures=tuple(enclosure_line(lodger_line()) for _ in range(rows)),
        overdue=tuple(overdue_line() for _ in range(9)),
        incidents=tuple(incident_line() for _ in range(9)),
        findings=(),
        competences=tuple(replace(COMPETENCE) for _ in range(9)),
    )

    with opened(inspection_file_pdf(sheet)) as paper:
        pages = [page.extract_text() for page in paper.pages]

    for heading, head in (
        ("8 · Equipment", "item and its record"),
        ("10 · Incidents", "what happened, and its record"),
        ("11 · Training", "role, and record"),
    ):
        (page,) = (text for text in pages if heading in text)
        assert head in page[page.index(heading) :], heading


def test_a_competence_that_was_taken_again_in_time_has_not_run_out():
    over = replace(COMPETENCE, expires_on=date(2025, 12, 1))
    sheet = inspection_file(competences=(replace(over, is_renewed=True), COMPETENCE))

    assert (exceptions(sheet), bool(exceptions(inspection_file(competences=(over,))))) == ([], True)
    text = text_of(inspection_file_pdf(sheet))
    assert "assessed again since" in text
    assert "RAN OUT" not in text


@pytest.mark.parametrize(("expires_on", "acts"), [(date(2025, 12, 30), True), (date(2025, 12, 31), False), (None, False)])
def test_a_competence_counts_on_its_last_day(expires_on, acts):
    found = exceptions(inspection_file(competences=(replace(COMPETENCE, expires_on=expires_on),)))

    assert bool(found) is acts


def test_the_provenance_bears_the_hash_of_the_json_and_the_end_of_the_journal():
    sheet = inspection_file()

    text = squeezed(text_of(inspection_file_pdf(sheet)))

    assert record_hash(sheet) in text
    assert sha256(inspection_file_json(sheet)).hexdigest() == record_hash(sheet)
    assert "entry7wasitslast" in text
    assert "ab" * 32 in text


def test_equal_sheets_give_equal_bytes():
    assert inspection_file_pdf(everything_failed()) == inspection_file_pdf(everything_failed())


def test_the_csv_is_the_register_and_runs_no_formula():
    sheet = inspection_file(animals=(animal_in_register(tag="=1+1", permits=("P-1", "P-2")),))

    (row,) = csv.DictReader(StringIO(inspection_file_csv(sheet).decode("utf-8-sig")))

    assert (row["tag"], row["permits"], row["as_of"]) == ("'=1+1", "P-1; P-2", "2025-12-31")
    assert json.loads(inspection_file_json(sheet))["animals"][0]["tag"] == "=1+1"


def test_a_large_site_stays_within_a_few_hundred_pages_and_says_what_is_left_off():
    many = 3_000
    sheet = inspection_file(
        animals=tuple(animal_in_register(tag=f"A-{number}") for number in range(many)),
        animals_in_all=50_000,
        permits=tuple(permit_line(number=f"P-{number}", conditions=(permit_condition(),)) for number in range(many)),
        uncovered=tuple(uncovered_line(tag=f"A-{number}") for number in range(many)),
        uncovered_in_all=9_000,
        enclosures=tuple(enclosure_line(lodger_line(missing=("Nobody says how large it has to be.",))) for _ in range(many)),
        overdue=tuple(overdue_line(tag=f"EQ-{number}") for number in range(many)),
    )

    begun = time.perf_counter()
    pdf = inspection_file_pdf(sheet)
    took = time.perf_counter() - begun

    with opened(pdf) as paper:
        assert len(paper.pages) < 400
        text = "\n".join(page.extract_text() for page in (*paper.pages[:4], *paper.pages[-90:])).replace("\u00a0", " ")
    assert took < 60
    assert "The register prints the first 1 000 of 50 000 records" in text
    for most in (MOST_PERMITS_PRINTED, MOST_ENCLOSURES_PRINTED, MOST_LINES_PRINTED):
        assert f"the first {most} are printed" in text
    assert MOST_ANIMALS_PRINTED == 1_000
    failed = len(exceptions(sheet)) - MOST_EXCEPTIONS_PRINTED
    assert f"{failed:,} more are left off".replace(",", " ") in text
