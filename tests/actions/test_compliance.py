"""Whether the animals on record are covered: on a day, over a period, and when a version of a requirement starts."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from domain.actions.compliance import Collection, by_standing, coverage_on, coverage_over, permits_in_use, turns_with
from domain.actions.marks import record_mark
from domain.actions.measurements import record_measurement
from domain.actions.permit_parts import end_permit_animal
from domain.actions.recording import Ending
from domain.records.measurements import MeasurementEntered
from domain.rules.compliance import Standing
from domain.rules.law.decision import Bearing
from domain.rules.law.jurisdictions import Jurisdiction, Level
from domain.rules.law.requirements import (
    Activity,
    Consequence,
    Entry,
    Exemption,
    Fact,
    Occasion,
    Predicate,
    Relation,
    Requirement,
    Selector,
)
from domain.rules.law.spans import Span, Unit, WorkingDays
from domain.rules.measures import MeasureKind
from domain.rules.taxonomy import TaxonRank
from tests import makers
from tests.actions.of_animals import mark

TODAY = date(2026, 3, 1)
SCL = "straight_carapace_length"
PROVINCE = Jurisdiction(code="XR-LWO", name="Lwo (fictional)", level=Level.SUBDIVISION, zone="UTC", fictional=True, parent_code="XR")


@pytest.fixture
def unit(store, organisation):
    with store.transaction(makers.origin()) as opened:
        yield opened


@pytest.fixture
def site(unit):
    return makers.site(unit, jurisdiction="XR")


@pytest.fixture
def hall(unit, site):
    return makers.enclosure(unit, site)


@pytest.fixture
def kept(unit, hall):
    """Return what registers an animal that came in 2025."""

    def keep(of, tag="T-1", **stated):
        return makers.animal(unit, of, **{"tag": tag, "acquired_on": "2025-01-10", "enclosure_id": str(hall.id), **stated})

    return keep


def listed(name, *, rank=TaxonRank.SPECIES, **rest):
    return Selector(any_of=(Entry(name=name, rank=rank, **rest),))


def measured(unit, animal, length_mm, on):
    record_measurement(unit, animal.id, MeasurementEntered(kind=MeasureKind(SCL), length_mm=length_mm, measured_on=on, confirmed=True))


def stand(unit, on=TODAY, **rest):
    return {one.subject.tag: one.standing for one in coverage_on(unit, on=on, **rest).coverages}


def needing(unit, selector, code="XR-1", **said):
    makers.document_kind(unit)
    return makers.requirement(unit, code, consequence=Consequence.DOCUMENT, documents=("keeping",), selector=selector, **said)


def test_a_permit_for_twelve_with_eleven_adults_and_a_gravid_female_is_full_until_she_gives_birth(unit, kept):
    slider = makers.taxon(unit, "Trachemys ficta")
    needing(unit, listed("Trachemys ficta"))
    twelve = makers.permit(unit, any_taxon=False)
    makers.permit_taxon(unit, twelve, slider, number=12)
    kept(slider, "G-1", grouping="group", count=11, life_stage="adult")
    female = kept(slider, "F-1", sex="female", life_stage="adult")
    makers.expected_brood(unit, female)

    found = coverage_on(unit, on=TODAY)
    kept(slider, "Y-1", grouping="group", count=4, life_stage="neonate", came_by="born", acquired_on="2026-03-01")
    after = coverage_on(unit, on=TODAY)

    assert [one.standing for one in found.coverages] == [Standing.COVERED, Standing.COVERED]
    assert [(room.taken, room.left) for room in found.head_rooms] == [(12, 0)]
    assert {one.subject.tag: one.uncovered for one in after.coverages} == {"F-1": 0, "G-1": 0, "Y-1": 4}


def test_the_lampropeltis_split_leaves_the_kingsnakes_listed_whatever_they_are_called_now(unit, kept):
    old, new, other = (makers.taxon(unit, name) for name in ("Lampropeltis getula", "Lampropeltis californiae", "Lampropeltis triangulum"))
    needing(unit, listed("Lampropeltis getula"))
    kept(new, "L-1"), kept(other, "L-2"), kept(old, "L-3")

    before = stand(unit)
    makers.concept_member(unit, old, new)

    assert before == {"L-1": Standing.NOTHING_NEEDED, "L-2": Standing.NOTHING_NEEDED, "L-3": Standing.UNCOVERED}
    assert stand(unit) == {"L-1": Standing.UNCOVERED, "L-2": Standing.NOTHING_NEEDED, "L-3": Standing.UNCOVERED}


def test_a_name_that_the_taxon_had_before_is_listed_with_it(unit, kept):
    now = makers.taxon(unit, "Trachemys ficta")
    makers.taxon(unit, "Emys ficta", accepted_id=str(now.id))
    needing(unit, listed("Emys ficta"))
    kept(now)

    assert stand(unit) == {"T-1": Standing.UNCOVERED}


def test_a_family_that_is_not_on_record_leaves_it_open_and_one_that_is_decides_it(unit, kept):
    makers.requirement(unit, selector=listed("Crocodilia", rank=TaxonRank.ORDER))
    order = makers.taxon(unit, "Testudines", rank="order")
    kept(makers.taxon(unit, "Testudo ficta"), "T-1")
    kept(makers.taxon(unit, "Emys ficta", parent_id=str(order.id)), "T-2")

    (open_, decided) = coverage_on(unit, on=TODAY).coverages

    assert (open_.standing, open_.decision.missing) == (Standing.CANNOT_DECIDE, {"taxon_order"})
    assert decided.standing is Standing.NOTHING_NEEDED


@pytest.mark.parametrize(
    ("name", "standing"),
    [
        ("Trachemys scripta × Trachemys emolli", Standing.PROHIBITED),
        ("Trachemys scripta scripta × Trachemys scripta elegans", Standing.PROHIBITED),
        ("(Trachemys scripta × Trachemys emolli) × Trachemys emolli", Standing.PROHIBITED),
        ("(Trachemys emolli × T. ornata) × Trachemys emolli", Standing.CANNOT_DECIDE),
        ("Trachemys emolli × Trachemys ornata", Standing.NOTHING_NEEDED),
        ("Trachemys emolli × ornata", Standing.CANNOT_DECIDE),
        ("Trachemys of unknown parents", Standing.CANNOT_DECIDE),
    ],
)
def test_a_cross_is_prohibited_by_any_of_its_sides_and_free_only_where_all_are_told_apart(unit, kept, name, standing):
    makers.requirement(unit, selector=replace(listed("Trachemys scripta"), with_hybrids=True))
    kept(makers.taxon(unit, name, rank="hybrid"))

    assert stand(unit) == {"T-1": standing}


def test_the_sides_of_a_cross_are_known_by_synonyms_concepts_and_what_they_lie_in(unit, kept):
    elapids = makers.taxon(unit, "Elapidae", rank="family")
    naja = makers.taxon(unit, "Naja", rank="genus", parent_id=str(elapids.id))
    spectacled, split = (makers.taxon(unit, name, parent_id=str(naja.id)) for name in ("Naja naja", "Naja kaouthia"))
    makers.taxon(unit, "Coluber naja", accepted_id=str(spectacled.id))
    makers.concept_member(unit, spectacled, split)
    makers.requirement(unit, "F-1", selector=replace(listed("Elapidae", rank=TaxonRank.FAMILY), with_hybrids=True))
    makers.requirement(unit, "S-1", selector=replace(listed("Coluber naja"), with_hybrids=True))
    for tag, name in {"H-1": "Naja naja × Naja kaouthia", "H-2": "Naja oxiana × Naja nivea", "H-3": "Coluber naja × Naja nivea",
                      "H-4": "Naja kaouthia × Naja nivea", "H-5": "Boa ficta × Boa alia"}.items():  # fmt: skip
        kept(makers.taxon(unit, name, rank="hybrid"), tag)

    found = {
        one.subject.tag: {finding.requirement.code: finding.bearing for finding in one.decision.findings}
        for one in coverage_on(unit, on=TODAY).coverages
    }

    both = {"F-1": Bearing.PROHIBITS, "S-1": Bearing.PROHIBITS}
    assert found == {
        "H-1": both, "H-2": {"F-1": Bearing.PROHIBITS}, "H-3": both, "H-4": both, "H-5": {"F-1": Bearing.CANNOT_DECIDE},
    }  # fmt: skip


def test_a_subspecies_whose_species_is_not_on_record_lies_in_the_species_that_its_name_says(unit, kept):
    makers.requirement(unit, selector=listed("Trachemys scripta"))
    kept(makers.taxon(unit, "Trachemys scripta elegans", rank="subspecies"))

    assert stand(unit) == {"T-1": Standing.PROHIBITED}


def test_the_tortoise_too_small_to_mark_needs_a_certificate_until_it_has_grown_and_then_a_mark(unit, kept):
    tortoise = makers.taxon(unit)
    makers.document_kind(unit, "before-marking", for_one_consignment=True)
    small = Predicate(fact=SCL, relation=Relation.UNDER, number=60, measured_within_days=180)
    makers.requirement(
        unit,
        consequence=Consequence.MARK,
        selector=listed("Testudo fictiva"),
        exemptions=(Exemption(code="too-small", when=(small,), document="before-marking"),),
    )
    animal = kept(tortoise)

    unmeasured = stand(unit)
    measured(unit, animal, 48.0, date(2026, 2, 1))
    without = stand(unit)
    certificate = makers.permit(unit, kind="before-marking", issued_on="2026-02-02")
    makers.permit_animal(unit, certificate, animal)
    with_it = coverage_on(unit, on=TODAY).coverages[0]
    measured(unit, animal, 61.0, date(2026, 2, 28))
    grown = coverage_on(unit, on=TODAY).coverages[0]

    assert (unmeasured, without) == ({"T-1": Standing.CANNOT_DECIDE}, {"T-1": Standing.UNCOVERED})
    assert (with_it.standing, with_it.answers[0].shares[0].permit_id) == (Standing.COVERED, certificate.id)
    assert (grown.standing, grown.needs_mark) == (Standing.UNCOVERED, True)


def test_astrochelys_without_papers_is_uncovered_and_an_override_says_who_answers_for_it(unit, kept, site):
    tortoise = makers.taxon(unit, "Astrochelys radiata")
    needing(unit, listed("Astrochelys radiata"))
    animal = kept(tortoise, basis="confiscation")
    warden = makers.staff(unit, site)

    before = coverage_on(unit, on=TODAY).coverages[0]
    override = makers.override(unit, animal, warden)
    after = coverage_on(unit, on=TODAY).coverages[0]

    assert (before.standing, before.uncovered) == (Standing.UNCOVERED, 1)
    assert (after.standing, [by for _, by in after.lifted]) == (Standing.OVERRIDDEN, [override.id])
    assert by_standing([after])[Standing.OVERRIDDEN] == 1
    assert stand(unit, on=date(2026, 9, 1)) == {"T-1": Standing.UNCOVERED}


def test_xenopus_was_listed_two_years_before_the_restrictions_applied(unit, kept):
    frog = makers.taxon(unit, "Xenopus laevis")
    entry = Entry(name="Xenopus laevis", rank=TaxonRank.SPECIES, applies_from=date(2024, 8, 2))
    other = Entry(name="Xenopus tropicalis", rank=TaxonRank.SPECIES)
    rule = {"applies_from": date(2022, 8, 2), "listed_on": date(2022, 8, 2)}
    makers.requirement(unit, selector=Selector(any_of=(entry, other)), **rule)
    kept(frog, acquired_on="2021-05-01")

    days = [date(2022, 8, 1), date(2023, 1, 1), date(2024, 8, 1), date(2024, 8, 2)]

    assert [stand(unit, on=day)["T-1"] for day in days] == [*[Standing.NOTHING_NEEDED] * 3, Standing.PROHIBITED]
    (notice,) = coverage_on(unit, on=date(2023, 1, 1)).coverages[0].decision.findings
    assert (notice.bearing, notice.from_on) == (Bearing.NOT_YET, date(2024, 8, 2))


def test_what_a_version_will_change_is_told_before_it_starts(unit, kept):
    frog = makers.taxon(unit, "Xenopus laevis")
    makers.requirement(unit, "XR-2", selector=listed("Boa ficta"))
    makers.requirement(unit, selector=listed("Xenopus laevis"), applies_from=date(2026, 8, 2), listed_on=date(2026, 1, 1))
    kept(frog), kept(makers.taxon(unit), "T-2")
    rule = next(one for one in Collection(unit, from_on=TODAY, until_on=TODAY).law.requirements if one.code == "XR-1")

    (turn,) = turns_with(unit, rule)

    assert (turn.after.subject.tag, turn.before.standing, turn.after.standing) == ("T-1", Standing.NOTHING_NEEDED, Standing.PROHIBITED)
    assert turns_with(unit, replace(rule, applies_from=date(2030, 1, 1))) != []
    assert stand(unit)["T-1"] is Standing.NOTHING_NEEDED


def test_a_site_is_asked_for_alone_while_permits_are_shared_by_all(unit, kept, site):
    tortoise = makers.taxon(unit)
    needing(unit, listed("Testudo fictiva"))
    makers.permit(unit, total_number=1)
    other = makers.site(unit, name="Saltings Hall", jurisdiction="XR")
    kept(tortoise)
    kept(tortoise, "T-2", enclosure_id=str(makers.enclosure(unit, other, name="B 01").id))

    assert stand(unit) == {"T-1": Standing.COVERED, "T-2": Standing.UNCOVERED}
    assert stand(unit, site_ids=frozenset((other.id,))) == {"T-2": Standing.UNCOVERED}


def test_days_without_cover_are_counted_between_the_permits(unit, kept):
    tortoise = makers.taxon(unit)
    needing(unit, listed("Testudo fictiva"))
    kept(tortoise, acquired_on="2025-12-01")
    makers.permit(unit, number="P-1", valid_until="2026-01-31")
    makers.permit(unit, number="P-2", issued_on="2026-02-11", valid_from="2026-02-11")

    (only,) = coverage_over(unit, from_on=date(2025, 11, 1), until_on=TODAY)

    assert [(one.from_on, one.until_on, one.standing) for one in only.stretches] == [
        (date(2025, 12, 1), date(2026, 1, 31), Standing.COVERED),
        (date(2026, 2, 1), date(2026, 2, 10), Standing.UNCOVERED),
        (date(2026, 2, 11), TODAY, Standing.COVERED),
    ]
    assert only.days_uncovered == 10


def test_an_animal_that_left_is_asked_about_on_the_days_that_it_was_here(unit, kept):
    makers.requirement(unit, selector=listed("Testudo fictiva"))
    animal = kept(makers.taxon(unit))
    makers.event(unit, animal, "departed", "2026-02-01")

    assert (stand(unit, on=date(2026, 1, 31)), stand(unit)) == ({"T-1": Standing.PROHIBITED}, {})
    (only,) = coverage_over(unit, from_on=date(2026, 1, 1), until_on=TODAY)
    assert [(one.from_on, one.until_on) for one in only.stretches] == [(date(2026, 1, 1), date(2026, 1, 31))]


def test_a_mark_and_a_size_that_are_older_than_the_animals_coming_hinder_nothing(unit, kept):
    makers.requirement(unit, selector=listed("Testudo fictiva"))
    animal = kept(makers.taxon(unit))
    record_mark(unit, animal.id, mark(from_on="2024-06-01"))
    measured(unit, animal, 90.0, date(2024, 6, 1))

    assert stand(unit, on=date(2024, 12, 31)) == {}
    assert stand(unit) == {"T-1": Standing.PROHIBITED}


def test_a_later_version_changes_nothing_about_a_past_day(unit, kept):
    kept(makers.taxon(unit))
    makers.requirement(unit, "XR-2", selector=listed("Boa ficta"))
    before = coverage_on(unit, on=TODAY)

    makers.requirement(unit, selector=listed("Testudo fictiva"), applies_from=date(2026, 3, 2))

    assert coverage_on(unit, on=TODAY) == before
    assert stand(unit, on=date(2026, 3, 2)) == {"T-1": Standing.PROHIBITED}


def test_a_site_in_a_place_that_no_pack_states_cannot_be_decided_until_one_does(unit, kept):
    makers.requirement(unit, selector=listed("Boa ficta"))
    far = makers.enclosure(unit, makers.site(unit, name="Far House", jurisdiction="XR-LWO:TOWN"))
    kept(makers.taxon(unit), enclosure_id=str(far.id))

    (only,) = coverage_on(unit, on=TODAY).coverages

    assert only.standing is Standing.CANNOT_DECIDE
    assert only.decision.missing == {"jurisdiction_XR-LWO:TOWN", "jurisdiction_XR-LWO"}
    makers.pack(
        unit, "towns", jurisdictions=(PROVINCE, replace(PROVINCE, code="XR-LWO:TOWN", level=Level.LOCAL_AUTHORITY, parent_code="XR-LWO"))
    )
    assert stand(unit) == {"T-1": Standing.NOTHING_NEEDED}


def test_animals_that_are_away_or_were_in_no_enclosure_cannot_be_decided(unit, kept):
    makers.requirement(unit, selector=listed("Boa ficta"))
    makers.animal(unit, makers.taxon(unit), acquired_on="2025-01-10")

    assert stand(unit) == {"T-1": Standing.CANNOT_DECIDE}


@pytest.mark.parametrize("activity", [Activity.SELL, Activity.BREED])
def test_a_planned_act_is_asked_about_as_keeping_is(unit, kept, activity):
    makers.requirement(unit, selector=listed("Testudo fictiva"), activities=frozenset((Activity.SELL,)))
    kept(makers.taxon(unit))

    assert stand(unit, activity=activity) == {"T-1": Standing.PROHIBITED if activity is Activity.SELL else Standing.NOTHING_NEEDED}


FIRST = date(2026, 1, 1)
within = st.integers(0, 40).map(lambda days: FIRST + timedelta(days=days))
spans = st.tuples(within, within).map(sorted)


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_coverage_of_a_period_is_the_union_of_its_days(store, organisation, data):
    with suppress(UndoneError), store.transaction(makers.origin()) as unit:
        _compare(unit, data)
        raise UndoneError


class UndoneError(Exception):
    """What was tried is to be forgotten, so that the next example finds an empty collection."""


def _compare(unit, data):
    place = makers.site(unit, name="Reed", jurisdiction="XR")
    hall = str(makers.enclosure(unit, place, name="A").id)
    tortoise = makers.taxon(unit, "Testudo ficta")
    makers.document_kind(unit, lasts=Span(20, Unit.DAYS))
    young = Predicate(fact=Fact.AGE_MONTHS, relation=Relation.UNDER, number=1)
    lately = Predicate(fact=SCL, relation=Relation.UNDER, number=60, measured_within_days=5)
    first, last = data.draw(spans)
    makers.requirement(
        unit,
        consequence=Consequence.DOCUMENT,
        documents=("keeping",),
        selector=listed("Testudo ficta"),
        applies_from=first,
        applies_until=last,
        exemptions=(Exemption(code="young", when=(young,)), Exemption(code="small", when=(lately,), until=max(first, data.draw(within)))),
    )
    makers.requirement(unit, "XR-2", selector=listed("Testudo ficta"), when=(young,), listed_on=FIRST, applies_from=data.draw(within))
    for number in range(2):
        came = data.draw(within)
        animal = makers.animal(
            unit, tortoise, tag=f"T-{number}", acquired_on=came.isoformat(), enclosure_id=hall, hatched_on=data.draw(within).isoformat()
            if number and came >= FIRST + timedelta(days=40) else "2025-12-20",
        )  # fmt: skip
        on = data.draw(within)
        if on >= came:
            measured(unit, animal, 50.0, on)
        gone = data.draw(within)
        if gone > came:
            makers.event(unit, animal, "departed", gone.isoformat())
    for number in range(2):
        issued = data.draw(within).isoformat()
        makers.permit(unit, number=f"P-{number}", issued_on=issued, valid_from=issued, total_number=1)
    until = FIRST + timedelta(days=45)

    stretches = {one.subject.tag: one.stretches for one in coverage_over(unit, from_on=FIRST, until_on=until)}

    for offset in range(46):
        day = FIRST + timedelta(days=offset)
        said = {tag: one.standing for tag, found in stretches.items() for one in found if one.from_on <= day <= one.until_on}
        assert said == stand(unit, on=day), day


def test_a_mark_and_a_size_that_are_older_than_its_time_here_hinder_no_question_about_the_time_before(unit, kept):
    animal = kept(makers.taxon(unit, "Trachemys ficta"), acquired_on="2025-06-10")
    record_mark(unit, animal.id, mark(from_on="2025-03-01"))
    measured(unit, animal, 80.0, date(2025, 3, 1))

    assert coverage_on(unit, on=date(2025, 4, 1)).coverages == ()
    assert len(coverage_on(unit, on=date(2025, 6, 10)).coverages) == 1


def test_of_a_version_that_follows_another_only_what_it_changes_is_told(unit, kept):
    frog, boa, toad = (makers.taxon(unit, name) for name in ("Xenopus laevis", "Boa ficta", "Bufo fictus"))
    basic = {
        "code": "V", "pack": "p", "jurisdiction": "XR", "instrument": "Act", "title": "t", "citation": "c",
        "consequence": Consequence.PROHIBITED, "reviewed_on": date(2026, 1, 1),
    }  # fmt: skip

    def version(name, *names, **said):
        entries = tuple(Entry(name=one, rank=TaxonRank.SPECIES) for one in names)
        return Requirement(version=name, selector=Selector(any_of=entries), **{**basic, **said})

    old = version("1", "Xenopus laevis", "Boa ficta", applies_from=date(2020, 1, 1), applies_until=date(2026, 7, 31))
    new = version("2", "Xenopus laevis", "Bufo fictus", applies_from=date(2026, 8, 1))
    makers.pack(unit, "p", requirements=(old, new))
    kept(frog, "FROG"), kept(boa, "BOA"), kept(toad, "TOAD")

    assert {one.after.subject.tag: (one.before.standing, one.after.standing) for one in turns_with(unit, new)} == {
        "BOA": (Standing.PROHIBITED, Standing.NOTHING_NEEDED),
        "TOAD": (Standing.NOTHING_NEEDED, Standing.PROHIBITED),
    }


def test_a_permit_and_the_one_that_replaces_it_are_not_both_good(unit, kept):
    needing(unit, listed("Testudo fictiva"))
    kept(makers.taxon(unit), "G-1", grouping="group", count=24)
    old = makers.permit(unit, number="OLD", valid_until="2026-06-30", total_number=12, issued_on="2024-07-01")
    makers.permit(unit, number="NEW", issued_on="2026-02-01", valid_from="2026-02-15", total_number=12, replaces_id=str(old.id))

    days = [date(2026, 2, 14), date(2026, 2, 15)]

    assert [[one.uncovered for one in coverage_on(unit, on=day).coverages] for day in days] == [[12], [12]]
    assert [[(one.permit.number_text, one.taken) for one in permits_in_use(unit, on=day)] for day in days] == [[("OLD", 12)], [("NEW", 12)]]
    assert permits_in_use(unit, on=days[0])[0].good_until == days[0]


def test_a_permit_of_another_jurisdiction_covers_nobody_here(unit, kept, site):
    needing(unit, listed("Testudo fictiva"))
    low = Jurisdiction(code="XR-LOW", name="Low (fictional)", level=Level.SUBDIVISION, zone="UTC", fictional=True, parent_code="XR")
    makers.pack(unit, "low", jurisdictions=(low,))
    there = makers.site(unit, name="Low House", jurisdiction="XR-LOW")
    tortoise = makers.taxon(unit)
    kept(tortoise)
    kept(tortoise, "T-2", enclosure_id=str(makers.enclosure(unit, there, name="B 01").id))

    makers.permit(unit, jurisdiction="XR-LOW")

    assert stand(unit) == {"T-1": Standing.UNCOVERED, "T-2": Standing.COVERED}


def test_a_permit_whose_only_animal_was_taken_off_it_is_for_none(unit, kept):
    tortoise = makers.taxon(unit)
    needing(unit, listed("Testudo fictiva"))
    animal = kept(tortoise)
    kept(tortoise, "T-2")
    permit = makers.permit(unit, any_taxon=False)
    makers.permit_taxon(unit, permit, tortoise)
    named = makers.permit_animal(unit, permit, animal)

    before = stand(unit)
    end_permit_animal(unit, named.id, Ending(reason="wrong animal"), owner_id=permit.id)

    assert before == {"T-1": Standing.COVERED, "T-2": Standing.UNCOVERED}
    assert stand(unit) == {"T-1": Standing.UNCOVERED, "T-2": Standing.UNCOVERED}


def sold(unit, animal, to):
    makers.event(unit, animal, "departed", "2026-02-10", basis="sale", party="Somebody")
    makers.event(unit, animal, "returned", "2026-02-12", basis="purchase", party="Somebody")
    makers.move(unit, animal, makers.enclosure(unit, to, name="Again"), "2026-02-12")


def lent(unit, animal, to):
    makers.event(unit, animal, "departed", "2026-02-10", basis="loan", party="Somebody")
    makers.event(unit, animal, "returned", "2026-02-12", basis="loan_return", party="Somebody")
    makers.move(unit, animal, makers.enclosure(unit, to, name="Again"), "2026-02-12")


def moved(unit, animal, to):
    other = makers.site(unit, name="Other", jurisdiction="XR")
    makers.move(unit, animal, makers.enclosure(unit, other, name="Z"), "2026-02-12")


@pytest.mark.parametrize(
    ("happens", "occasion", "standing"),
    [
        (sold, Occasion.DEPARTURE, Standing.UNCOVERED),
        (sold, Occasion.OWNER_CHANGE, Standing.UNCOVERED),
        (sold, Occasion.ADDRESS_CHANGE, Standing.COVERED),
        (lent, Occasion.DEPARTURE, Standing.UNCOVERED),
        (lent, Occasion.OWNER_CHANGE, Standing.COVERED),
        (moved, Occasion.ADDRESS_CHANGE, Standing.UNCOVERED),
        (moved, Occasion.DEPARTURE, Standing.COVERED),
    ],
)
def test_what_happens_to_an_animal_ends_the_permit_that_names_it(unit, kept, site, happens, occasion, standing):
    makers.document_kind(unit, ends_with=frozenset((occasion,)))
    makers.requirement(unit, consequence=Consequence.DOCUMENT, documents=("keeping",), selector=listed("Testudo fictiva"))
    animal = kept(makers.taxon(unit))
    permit = makers.permit(unit)
    makers.permit_animal(unit, permit, animal)

    happens(unit, animal, site)

    assert (stand(unit, on=date(2026, 2, 9)), stand(unit)) == ({"T-1": Standing.COVERED}, {"T-1": standing})
    good = [one.permit.id for one in permits_in_use(unit, on=TODAY)]
    assert good == ([permit.id] if standing is Standing.COVERED else [])


def test_a_permit_that_names_several_ends_for_the_one_that_died_and_with_the_last(unit, kept):
    makers.document_kind(unit, ends_with=frozenset((Occasion.DEATH,)))
    makers.requirement(unit, consequence=Consequence.DOCUMENT, documents=("keeping",), selector=listed("Testudo fictiva"))
    tortoise = makers.taxon(unit)
    animals = [kept(tortoise, tag) for tag in ("T-1", "T-2")]
    permit = makers.permit(unit)
    for one in animals:
        makers.permit_animal(unit, permit, one)

    makers.event(unit, animals[0], "died", "2026-02-01")
    after_one = stand(unit), [one.good_until for one in permits_in_use(unit, on=TODAY)]
    makers.event(unit, animals[1], "died", "2026-02-20")

    assert after_one == ({"T-2": Standing.COVERED}, [None])
    assert [one.good_until for one in permits_in_use(unit, on=date(2026, 2, 19))] == [date(2026, 2, 19)]
    assert permits_in_use(unit, on=TODAY) == []


def test_what_a_kind_lasts_in_working_days_is_counted_by_the_calendar_of_its_jurisdiction(unit, kept):
    calendar = WorkingDays(rest=frozenset((4, 5)), holidays=frozenset((date(2026, 2, 24),)))
    place = Jurisdiction(code="XR", name="A", level=Level.STATE, zone="UTC", fictional=True, working_days=calendar)
    makers.pack(unit, "place", jurisdictions=(place,))
    makers.document_kind(unit, lasts=Span(3, Unit.WORKING_DAYS))
    makers.requirement(unit, consequence=Consequence.DOCUMENT, documents=("keeping",), selector=listed("Testudo fictiva"))
    kept(makers.taxon(unit))
    makers.permit(unit, issued_on="2026-02-22")

    days = [date(2026, 2, 26), date(2026, 2, 27)]

    assert [stand(unit, on=day)["T-1"] for day in days] == [Standing.COVERED, Standing.UNCOVERED]
    assert permits_in_use(unit, on=days[0])[0].good_until == days[0]


def test_what_is_left_of_a_permit_is_told_by_taxon(unit, kept):
    tortoise, boa = makers.taxon(unit), makers.taxon(unit, "Boa ficta")
    needing(unit, Selector())
    permit = makers.permit(unit, any_taxon=False, total_number=5)
    makers.permit_taxon(unit, permit, tortoise, number=2), makers.permit_taxon(unit, permit, boa, number=10)
    kept(tortoise), kept(tortoise, "T-2")

    (only,) = permits_in_use(unit, on=TODAY)

    assert (only.taken, only.left) == (2, 3)
    assert [(one.name, one.number, one.taken, one.left) for one in only.limits] == [("Testudo fictiva", 2, 2, 0), ("Boa ficta", 10, 0, 3)]


def abroad(unit):
    """Have another state prohibit imports."""
    place = Jurisdiction(code="XL", name="Lorrow (fictional)", level=Level.STATE, zone="UTC", fictional=True)
    ban = Requirement(
        code="L-1", version="1", pack="lor", jurisdiction="XL", instrument="b", title="t", citation="c",
        consequence=Consequence.PROHIBITED, activities=frozenset((Activity.IMPORT, Activity.MOVE_BETWEEN)),
        applies_from=date(2020, 1, 1), reviewed_on=date(2026, 1, 1),
    )  # fmt: skip
    makers.pack(unit, "lor", jurisdictions=(place,), requirements=(ban,))


@pytest.mark.parametrize("activity", [Activity.IMPORT, Activity.TRANSIT, Activity.MOVE_BETWEEN])
def test_what_leads_elsewhere_cannot_be_decided_without_the_destination(unit, kept, activity):
    makers.requirement(unit, selector=listed("Boa ficta"))
    kept(makers.taxon(unit))

    (only,) = coverage_on(unit, on=TODAY, activity=activity).coverages

    assert (only.standing, only.decision.missing) == (Standing.CANNOT_DECIDE, {"destination"})


@pytest.mark.parametrize("by_site", [True, False])
def test_an_act_that_leads_elsewhere_is_decided_at_both_places(unit, kept, site, by_site):
    makers.requirement(unit, selector=listed("Boa ficta"))
    abroad(unit)
    there = makers.site(unit, name="Lorrow house", jurisdiction="XL")
    kept(makers.taxon(unit))
    collection = Collection(unit, from_on=TODAY, until_on=TODAY)

    (only,) = collection.standings(TODAY, activity=Activity.MOVE_BETWEEN, to=there.id if by_site else "XL").coverages

    assert only.standing is Standing.PROHIBITED
    assert [(one.premises.jurisdictions, one.decision.outcome.value) for one in only.places] == [
        (("XR",), "permitted"),
        (("XL",), "prohibited"),
    ]
    (here,) = collection.standings(TODAY, activity=Activity.MOVE_BETWEEN, to=site.id).coverages
    assert here.standing is Standing.NOTHING_NEEDED


def test_a_document_that_the_destination_asks_for_is_one_of_its_own(unit, kept):
    makers.requirement(unit, "XR-9", selector=listed("Boa ficta"))
    place = Jurisdiction(code="XL", name="Lorrow (fictional)", level=Level.STATE, zone="UTC", fictional=True)
    makers.pack(unit, "lor", jurisdictions=(place,))
    makers.document_kind(unit, "import", jurisdiction="XL")
    moving = frozenset((Activity.IMPORT,))
    makers.requirement(unit, "L-2", jurisdiction="XL", consequence=Consequence.DOCUMENT, documents=("import",), activities=moving)
    kept(makers.taxon(unit))

    def standing():
        to = Collection(unit, from_on=TODAY, until_on=TODAY).standings(TODAY, activity=Activity.IMPORT, to="XL")
        return [one.standing for one in to.coverages]

    before = standing()
    makers.permit(unit, kind="import", jurisdiction="XL")

    assert (before, standing()) == ([Standing.UNCOVERED], [Standing.COVERED])
