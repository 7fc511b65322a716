"""The permit register: whose permits are in it, by which day, what stands against each, and what a site's may tell."""

from __future__ import annotations

from datetime import date

import pytest

from domain.actions.permit_parts import end_permit_animal
from domain.actions.permit_register import not_in_order, permit_register
from domain.actions.permits import end_permit
from domain.rules.compliance import Standing
from domain.rules.law.requirements import Consequence
from domain.rules.law.spans import Span, Unit
from domain.rules.permits import EndReason, PermitStanding
from tests import makers
from tests.actions.of_animals import MISTAKE

TODAY = date(2026, 3, 1)


@pytest.fixture
def unit(store, organisation):
    with store.transaction(makers.origin()) as opened:
        yield opened


@pytest.fixture
def site(unit):
    return makers.site(unit, jurisdiction="XR")


@pytest.fixture
def other(unit):
    return makers.site(unit, name="Saltings Hall", jurisdiction="XR")


def kept(unit, at, of, tag="T-1", **stated):
    place = makers.enclosure(unit, at, name=f"Pen of {tag}")
    return makers.animal(unit, of, **{"tag": tag, "acquired_on": "2025-01-10", "enclosure_id": str(place.id), **stated})


def needing(unit, **kind):
    makers.document_kind(unit, **kind)
    makers.requirement(unit, consequence=Consequence.DOCUMENT, documents=("keeping",))


def numbers(register):
    return [one.permit.number for one in register.permits]


def test_permits_come_by_their_last_day_and_those_without_one_last(unit, site):
    for number, last in (("P-1", None), ("P-2", "2026-12-31"), ("P-3", "2026-02-01"), ("P-4", "2026-04-01")):
        makers.permit(unit, number=number, site_id=site.id, valid_until=last)

    found = permit_register(unit, site, on=TODAY)

    assert numbers(found) == ["P-3", "P-4", "P-2", "P-1"]
    assert [one.standing for one in found.permits] == [
        PermitStanding.ENDED, PermitStanding.ENDING, PermitStanding.GOOD, PermitStanding.GOOD,
    ]  # fmt: skip


def test_a_day_that_is_past_is_asked_by_what_is_known_now(unit, site):
    makers.permit(unit, site_id=site.id, valid_until="2026-02-01")

    assert permit_register(unit, site, on=date(2025, 6, 1)).permits[0].standing is PermitStanding.GOOD


def test_validity_comes_with_its_rule_and_the_day_to_apply_by(unit, site):
    needing(unit, lasts=Span(24, Unit.MONTHS), renewal_lead=Span(3, Unit.MONTHS))
    makers.permit(unit, site_id=site.id)

    (one,) = permit_register(unit, site, on=TODAY).permits

    assert (one.end.on, one.end.reason, one.renew_by) == (date(2027, 1, 1), EndReason.SPAN, date(2026, 10, 1))
    assert one.kind.citation == "s. 2 (fictional)"


def test_animals_are_counted_against_a_permit_and_those_without_are_open_the_worst_first(unit, site):
    tortoise = makers.taxon(unit)
    needing(unit)
    makers.permit(unit, site_id=site.id, total_number=3)
    kept(unit, site, tortoise, "G-1", grouping="group", count=2)
    kept(unit, site, tortoise, "T-2"), kept(unit, site, tortoise, "T-3")

    found = permit_register(unit, site, on=TODAY)

    assert [(one.taken, one.left) for one in found.permits] == [(3, 0)]
    assert [(one.subject.tag, one.standing) for one in found.open] == [("T-3", Standing.UNCOVERED)]
    assert sum(one.subject.number for one in found.coverages) == 4


def test_of_a_group_that_is_covered_in_part_only_the_others_are_not_in_order(unit, site):
    needing(unit)
    makers.permit(unit, site_id=site.id, total_number=37)
    kept(unit, site, makers.taxon(unit), "G-1", grouping="group", count=38)

    (one,) = permit_register(unit, site, on=TODAY).open

    assert (one.uncovered, not_in_order(one)) == (1, 1)


def test_of_a_group_that_needs_a_mark_or_cannot_be_decided_none_is_in_order(unit, site, other):
    needing(unit)
    makers.permit(unit, total_number=37)
    makers.requirement(unit, "XR-2", consequence=Consequence.MARK)
    kept(unit, site, makers.taxon(unit), "G-1", grouping="group", count=38)
    nowhere = makers.site(unit, name="Elsewhere")
    kept(unit, nowhere, makers.taxon(unit, "Boa ficta"), "G-2", grouping="group", count=5)

    found = permit_register(unit, None, on=TODAY).open

    assert {one.subject.tag: (one.standing, not_in_order(one)) for one in found} == {
        "G-1": (Standing.UNCOVERED, 38),
        "G-2": (Standing.CANNOT_DECIDE, 5),
    }


def test_scope_conditions_and_what_renews_a_permit_come_with_it(unit, site):
    boa = makers.taxon(unit, "Boa ficta")
    old = makers.permit(unit, number="P-1", site_id=site.id, any_taxon=False, valid_until="2026-02-01")
    makers.permit_taxon(unit, old, boa, number=4)
    makers.permit_animal(unit, old, kept(unit, site, boa, "B-1"))
    makers.permit_condition(unit, old, due_on="2026-01-01")
    makers.permit(unit, number="P-2", site_id=site.id, replaces_id=old.id)

    first = permit_register(unit, site, on=TODAY).permits[0]

    assert (first.taxa, first.tags) == ([("Boa ficta", "species", 4)], ["B-1"])
    assert [one.due_on for one in first.conditions] == [date(2026, 1, 1)]
    assert (first.is_replaced, first.replaced_by, first.follows_on) == (True, "P-2", True)


def test_a_sites_register_has_no_permit_of_another_and_tells_little_of_the_whole_organisations(unit, site, other):
    boa = makers.taxon(unit, "Boa ficta")
    needing(unit)
    makers.permit(unit, number="OTHER", site_id=other.id)
    shared = makers.permit(unit, number="SHARED", total_number=5, note="A secret.")
    makers.permit_condition(unit, shared)
    makers.permit(unit, number="UNUSED")
    kept(unit, site, boa, "B-1"), kept(unit, other, boa, "B-2")

    of_site, of_all = permit_register(unit, site, on=TODAY), permit_register(unit, None, on=TODAY)

    (one,) = of_site.permits
    assert (one.permit.number, one.is_shared, one.taken, one.left, one.conditions) == ("SHARED", True, 1, None, ())
    assert [each.subject.tag for each in of_site.coverages] == ["B-1"]
    assert set(numbers(of_all)) == {"OTHER", "SHARED", "UNUSED"}
    assert not any(each.is_shared for each in of_all.permits)


def test_that_a_permit_is_replaced_elsewhere_is_told_without_its_number(unit, site, other):
    old = makers.permit(unit, number="P-1", site_id=site.id, valid_until="2026-02-01")
    makers.permit(unit, number="P-2", site_id=other.id, replaces_id=old.id)

    (one,) = permit_register(unit, site, on=TODAY).permits

    assert (one.is_replaced, one.replaced_by, one.follows_on) == (True, None, True)


def test_a_permit_whose_animals_were_all_taken_off_it_says_that_it_is_for_none(unit, site):
    boa = makers.taxon(unit, "Boa ficta")
    permit = makers.permit(unit, site_id=site.id, any_taxon=False)
    makers.permit_taxon(unit, permit, boa)
    named = makers.permit_animal(unit, permit, kept(unit, site, boa, "B-1"))

    before = permit_register(unit, site, on=TODAY).permits[0].is_for_none
    end_permit_animal(unit, named.id, MISTAKE, owner_id=permit.id)

    assert (before, permit_register(unit, site, on=TODAY).permits[0].is_for_none) == (False, True)


def test_a_permit_that_was_entered_wrongly_is_in_no_register(unit, site):
    end_permit(unit, makers.permit(unit, site_id=site.id).id, MISTAKE)

    assert permit_register(unit, site, on=TODAY).permits == []
