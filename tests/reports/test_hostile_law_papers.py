"""Every text on the papers about the law stands there as it was typed."""

from __future__ import annotations

from dataclasses import fields
from datetime import date

import pytest

from domain.rules.lives import EventKind
from domain.rules.permits import EndReason
from reports.inspection_file import inspection_file_pdf
from reports.inspection_file.sheet import (
    AnimalLine,
    AnsweredLine,
    DeathLine,
    EnclosureLine,
    FindingLine,
    IncidentLine,
    LodgerLine,
    MarkOfAnimal,
    OverdueLine,
    PackLine,
    ReplacedLine,
    RuleLine,
    TellLine,
    VisitLine,
)
from reports.periodic_return import PeriodicReturnSheet, ReturnLine, UnsureLine, periodic_return_pdf
from reports.permit_register import (
    ConditionLine,
    PermitLine,
    PermitRegisterSheet,
    ScanLine,
    TaxonOfPermit,
    UncoveredLine,
    permit_register_pdf,
)
from tests.reports.makers import (
    animal_in_register,
    enclosure_line,
    finding_line,
    incident_line,
    inspection_file,
    lodger_line,
    overdue_line,
    periodic_return,
    permit_condition,
    permit_line,
    permit_register,
    permit_scan,
    return_line,
    tell_line,
    text_fields,
    uncovered_line,
    visit_line,
)
from tests.reports.test_hostile_text import hostile_texts, lost_of_marked, marked

DAY = date(2025, 5, 1)
TEXTS = hostile_texts()[::4]
FEW = hostile_texts()[::40]


def all_marked() -> list[str]:
    return [marked(number, text) for number, text in enumerate(TEXTS)]


PERMIT = ("number", "kind_title", "citation", "lasts", "authority", "holder", "site", "replaced_by", "note", "tags", "taxa")


def test_every_text_of_a_permit_is_extracted_as_it_was_typed():
    permits = [
        permit_line(
            **dict.fromkeys(("number", "kind_title", "citation", "lasts", "authority", "holder", "site", "replaced_by", "note"), text),
            any_taxon=False,
            is_replaced=True,
            tags=(text,),
            taxa=(TaxonOfPermit(scientific_name=text, rank="species", number=None),),
            end_reason=EndReason.SPAN,
            good_until=DAY,
        )
        for text in all_marked()
    ]

    assert lost_of_marked(TEXTS, permit_register_pdf(permit_register(*permits, site=None)), times=len(PERMIT)) == []


def test_every_text_of_conditions_scans_and_uncovered_animals_is_extracted_as_it_was_typed():
    conditions = tuple(permit_condition(text=text, proof=text) for text in all_marked())
    scans = tuple(permit_scan(title=text, role=text, reference=text) for text in all_marked())
    animals = tuple(uncovered_line(tag=text, scientific_name=text, site=text, needs=((text,),), rules=(text,)) for text in all_marked())

    pdf = permit_register_pdf(permit_register(permit_line(conditions=conditions, scans=scans), uncovered=animals))

    assert lost_of_marked(TEXTS, pdf, times=10) == []


def test_every_text_of_a_permit_register_is_among_them():
    assert set(text_fields(PermitRegisterSheet)) == {"paper_id", "organisation", "site", "address", "zone", "check_at"}
    typed = {"number", "kind_title", "citation", "lasts", "authority", "holder", "site", "replaced_by", "note"}
    assert set(text_fields(PermitLine)) == typed | {"id", "kind", "jurisdiction", "end_occasion"}
    assert set(text_fields(ConditionLine)) == {"id", "text", "proof"}
    assert set(text_fields(ScanLine)) == {"id", "title", "role", "reference", "media_type", "sha256"}
    assert set(text_fields(UncoveredLine)) == {"id", "tag", "scientific_name", "rank", "site"}
    assert set(text_fields(TaxonOfPermit)) == {"scientific_name", "rank"}


def test_every_text_of_a_return_is_extracted_as_it_was_typed():
    lines = [
        return_line(scientific_name=text, common_name=text, group=text, permit_numbers=(text,), transponders=(text,))
        for text in all_marked()
    ]
    listed = ("taxon", "common_name", "group", "permit_numbers", "transponders")

    pdf = periodic_return_pdf(periodic_return(*lines, fields=listed))

    assert lost_of_marked(TEXTS, pdf, times=6) == []


RULE = ("requirement", "edition", "title", "instrument", "citation", "obligation")


def test_every_text_about_the_rule_of_a_return_is_extracted_as_it_was_typed():
    for text in FEW:
        typed = {field: marked(number, text) for number, field in enumerate((*RULE, "site", "address"))}
        unsure = (UnsureLine(scientific_name=marked(len(typed), text), missing=("origin",)),)

        pdf = periodic_return_pdf(periodic_return(return_line(), **typed, unsure=unsure))

        assert lost_of_marked([text] * (len(typed) + 1), pdf, times=1) == []


def test_every_text_of_a_return_is_among_them():
    furniture = {"paper_id", "organisation", "zone", "site_id", "jurisdiction"}
    assert set(text_fields(PeriodicReturnSheet)) == {*RULE, "site", "address"} | furniture
    assert set(text_fields(ReturnLine)) == {"scientific_name", "rank", "common_name", "group"}
    assert set(text_fields(UnsureLine)) == {"scientific_name"}


LISTS = {
    "animals": (
        lambda text: animal_in_register(
            tag=text,
            scientific_name=text,
            enclosure=text,
            party=text,
            marks=(MarkOfAnimal(kind="tag", code=text),),
            permits=(text,),
            came_by=EventKind.ACQUIRED,
            came_on=DAY,
        ),
        6,
    ),
    "enclosures": (
        lambda text: enclosure_line(lodger_line(scientific_name=text, outcome="does_not_fit", against=(text,), source=text), name=text),
        4,
    ),
    "overdue": (lambda text: overdue_line(tag=text, place=text, model=text, reason=text), 4),
    "replaced": (
        lambda text: ReplacedLine(id="0190-1", tag=text, model=text, installed_on=DAY, old_id="0190-2", reason=text),
        3,
    ),
    "deaths": (
        lambda text: DeathLine(
            id="0190-1", animal_id="0190-2", tag=text, scientific_name=text, rank="species", on=DAY, number=1, cause=text
        ),
        3,
    ),
    "incidents": (
        lambda text: incident_line(tell_line(requirement=text, citation=text), what=text, people=text, action=text),
        5,
    ),
    "visits": (lambda text: visit_line(authority=text, reference=text, summary=text), 3),
    "findings": (lambda text: finding_line(what=text, requirement=text, action=text), 3),
    "closed": (lambda text: finding_line(what=text, requirement=text, action=text, closed_on=DAY, closing=text), 4),
    "rules": (
        lambda text: RuleLine(
            code=text,
            edition=text,
            title=text,
            citation=text,
            jurisdiction="XR",
            applies_from=DAY,
            applies_until=None,
            reviewed_on=None,
            pack=text,
        ),
        5,
    ),
    "answered": (
        lambda text: AnsweredLine(
            override_id="0190-1", animal_id="0190-2", tag=text, scientific_name=text, requirement=text, citation=text
        ),
        4,
    ),
}


@pytest.mark.parametrize("name", LISTS)
def test_every_text_of_every_list_of_an_inspection_file_is_extracted_as_it_was_typed(name):
    make, times = LISTS[name]

    pdf = inspection_file_pdf(inspection_file(**{"findings": (), name: tuple(make(text) for text in all_marked())}))

    assert lost_of_marked(TEXTS, pdf, times=times) == []


@pytest.mark.parametrize(
    ("line", "typed"),
    [
        (AnimalLine, {"tag", "scientific_name", "enclosure", "party"}),
        (EnclosureLine, {"name"}),
        (LodgerLine, {"scientific_name", "source"}),
        (OverdueLine, {"tag", "place", "model", "reason"}),
        (ReplacedLine, {"tag", "model", "reason"}),
        (DeathLine, {"tag", "scientific_name", "cause"}),
        (IncidentLine, {"what", "people", "action"}),
        (TellLine, {"requirement", "citation"}),
        (VisitLine, {"authority", "reference", "summary"}),
        (FindingLine, {"what", "requirement", "action", "closing"}),
        (RuleLine, {"code", "edition", "title", "citation", "pack"}),
        (AnsweredLine, {"tag", "scientific_name", "requirement", "citation"}),
        (PackLine, {"name", "edition"}),
    ],
)
def test_every_text_of_an_inspection_file_is_among_them(line, typed):
    chosen_or_computed = {
        *("id", "rank", "kind", "origin", "basis", "source_id", "closure", "outcome", "standing", "old_id", "animal_id", "override_id"),
        *("jurisdiction", "digest"),
    }

    assert {one.name for one in fields(line) if one.name in text_fields(line)} - chosen_or_computed == typed


def test_the_texts_of_the_site_of_an_inspection_file_are_extracted_as_they_were_typed():
    for text in FEW:
        typed = {field: marked(number, text) for number, field in enumerate(("site", "address"))}

        assert lost_of_marked([text] * 2, inspection_file_pdf(inspection_file(**typed)), times=1) == []
