"""What has to be done by when, gathered from everything that is on record."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from domain.actions.broods import end_expected_brood
from domain.actions.duties import duties_at, duties_of_organisation
from domain.actions.inspections import change_corrective_action, change_inspection_finding
from domain.actions.night import run_night
from domain.actions.permit_parts import change_permit_condition
from domain.actions.readings import record_check
from domain.actions.recording import Ending
from domain.actions.retention import register_legal_hold, register_retention_rule
from domain.actions.sites import today_at
from domain.records.equipment import CheckResult, EquipmentCheckStated
from domain.records.retention import LegalHoldStated, RetentionRuleStated
from domain.records.taxa import Taxon
from domain.rules.law.requirements import Activity, Consequence, Duty, Entry, Exemption, Obligation, Occasion, Period, Selector
from domain.rules.law.spans import Span, Unit
from domain.rules.lives import LifeStage
from domain.rules.permits import Start
from domain.rules.reminders import ReminderKind
from domain.rules.service_life import CheckKind
from domain.rules.taxonomy import TaxonRank
from tests import makers
from tests.actions.of_animals import an_animal

TODAY = date(2026, 3, 1)
MONTH, YEAR = Span(1, Unit.MONTHS), Span(12, Unit.MONTHS)
RETURN = Obligation(code="annual", duty=Duty.REPORT, period=Period.CALENDAR_YEAR, due_month=3, due_day=31, lead=Span(1, Unit.MONTHS))


@pytest.fixture
def unit(store, organisation):
    with store.transaction(makers.origin()) as opened:
        yield opened


@pytest.fixture
def site(unit):
    return makers.site(unit, jurisdiction="XR")


def at(unit, site):
    return list(duties_at(unit, site, today=today_at(unit, site)))


def of_organisation(unit, *sites):
    return list(duties_of_organisation(unit, today={None: TODAY, **{one.id: TODAY for one in sites}}))


def told(duties):
    return [(one.kind.value, one.due_on.isoformat()) for one in duties]


def in_days(number):
    return (TODAY + timedelta(days=number)).isoformat()


# ------------------------------------------------------------------------------------------------------------------------ equipment


def test_an_item_is_told_of_from_its_days_of_warning_or_when_its_part_has_to_be_ordered(unit, site):
    soon = makers.model(unit, life_months=12, warn_days=20)
    slow = makers.model(unit, name="Slow", life_months=12, warn_days=5, lead_days=60)
    first = makers.equipment(unit, soon, site, tag="RE-1", installed_on="2025-03-11", position="basking place")
    second = makers.equipment(unit, slow, site, tag="RE-2", installed_on="2025-04-15")
    makers.equipment(unit, soon, site, tag="RE-3", installed_on="2025-04-15")
    run_night(unit, site)

    one, other = at(unit, site)

    assert (one.subject_id, one.kind) == (first.id, ReminderKind.REPLACEMENT)
    assert (one.due_on, one.tell_from) == (date(2026, 3, 11), date(2026, 2, 19))
    assert one.occurrence == f"2025-03-11/{site.id}"
    assert "RE-1 (Halden T5 54W high, basking place)" in one.sentence
    assert "licensed practice come first" in one.sentence
    assert (other.subject_id, other.due_on, other.tell_from) == (second.id, date(2026, 4, 15), date(2026, 2, 14))


def test_a_check_is_another_occurrence_each_time_that_it_was_made(unit, site):
    model = makers.model(unit, kind="residual-current-device", checks=[{"kind": "residual-current-test", "interval_months": 3}])
    item = makers.equipment(unit, model, site, installed_on="2025-11-20")
    made = EquipmentCheckStated(kind=CheckKind.RESIDUAL_CURRENT, done_on=date(2025, 12, 5), result=CheckResult.PASSED)
    record_check(unit, item.id, made)
    run_night(unit, site)

    [one] = at(unit, site)

    assert (one.kind, one.due_on) == (ReminderKind.CHECK, date(2026, 3, 5))
    assert one.occurrence == f"2025-11-20/2025-12-05/{site.id}"
    assert one.sentence.startswith("Check RE-1")


def test_what_cannot_be_dated_is_told_by_the_day_that_is_known_at_the_latest(unit, site):
    both = makers.model(unit, life_months=12, life_hours=5000)
    makers.equipment(unit, both, site, tag="RE-1", installed_on="2025-03-05")
    makers.equipment(unit, makers.model(unit, name="None", life_hours=10), site, tag="RE-2")
    run_night(unit, site)

    assert told(at(unit, site)) == [("replacement", "2026-03-05")]


# --------------------------------------------------------------------------------------------------------------------------- permits


def test_a_renewal_is_due_its_lead_in_working_days_before_the_last_day(unit, site):
    makers.document_kind(unit, "keeping", renewal_lead=Span(40, Unit.WORKING_DAYS))
    own = makers.permit(unit, site_id=str(site.id), valid_until="2026-05-29")
    makers.permit(unit, number="P-2", valid_until="2026-05-29")

    [renewal] = at(unit, site)

    assert (renewal.subject_id, renewal.due_on, renewal.tell_from) == (own.id, date(2026, 4, 3), date(2026, 2, 2))
    assert renewal.sentence == "Apply for what follows P-1 (Permit to keep): this is the last day to apply in time."
    assert [one.subject_id for one in of_organisation(unit, site)] != [own.id]
    assert told(of_organisation(unit, site)) == [("renewal", "2026-04-03")]


@pytest.mark.parametrize(
    ("said", "stated"),
    [
        ({}, {}),
        ({}, {"valid_until": "2026-05-29", "withdrawn_on": "2026-02-01"}),
        ({"for_one_consignment": True, "lasts": YEAR}, {}),
        ({"lasts": YEAR, "starts": Start.INSPECTION}, {}),
    ],
    ids=["no end", "withdrawn", "for one consignment", "no inspection"],
)
def test_what_has_no_end_or_is_not_renewed_is_not_told(unit, said, stated):
    makers.document_kind(unit, "keeping", **said)
    makers.permit(unit, **stated)

    assert of_organisation(unit) == []


def test_a_permit_whose_animal_died_is_not_renewed_and_one_of_another_owner_is(unit):
    makers.document_kind(unit, "keeping", ends_with=frozenset((Occasion.DEATH, Occasion.OWNER_CHANGE)))
    died, sold = makers.permit(unit, number="P-1"), makers.permit(unit, number="P-2")
    makers.permit_event(unit, died, occasion="death")
    makers.permit_event(unit, sold, occasion="owner_change")

    assert [(one.subject_id, one.due_on) for one in of_organisation(unit)] == [(sold.id, date(2026, 1, 31))]


def test_a_condition_is_told_until_it_is_met_while_its_permit_is_good(unit, site):
    permit = makers.permit(unit, site_id=str(site.id), valid_until="2026-03-20")
    soon = makers.permit_condition(unit, permit, due_on="2026-03-15")
    makers.permit_condition(unit, permit, due_on="2026-03-25")
    makers.permit_condition(unit, permit)
    conditions = [one for one in at(unit, site) if one.kind is ReminderKind.CONDITION]

    assert [(one.subject_id, one.due_on, one.tell_from) for one in conditions] == [(soon.id, date(2026, 3, 15), date(2026, 2, 13))]
    change_permit_condition(unit, soon.id, {"met_on": "2026-02-20"}, owner_id=permit.id, expected_version=1)
    assert [one.kind.value for one in at(unit, site)] == ["renewal"]


# ----------------------------------------------------------------------------------------------------------------------- competences


def test_a_competence_that_expires_is_told_without_saying_whose_or_what(unit, site):
    member, head = makers.staff(unit, site), makers.staff(unit)
    own = makers.competence(unit, member, expires_on="2026-04-30")
    makers.competence(unit, member, title="First aid", hazard=None, expires_on="2026-05-01")
    makers.competence(unit, member, title="Diving", hazard=None)
    makers.competence(unit, head, expires_on="2026-03-05")

    [one] = at(unit, site)

    assert (one.subject_id, one.due_on, one.tell_from) == (own.id, date(2026, 4, 30), TODAY)
    assert one.sentence == (
        "A competence for venomous animals of a member of staff counts for the last time on this day; have it assessed again."
    )
    assert told(of_organisation(unit, site)) == [("competence", "2026-03-05")]


def test_a_competence_that_was_assessed_again_is_passed_over(unit, site):
    member = makers.staff(unit, site)
    makers.competence(unit, member, expires_on="2026-03-05")
    makers.competence(unit, member, title="venomous snakes, HOOK and tube", from_on="2026-02-01", expires_on="2027-03-05")

    assert at(unit, site) == []


# ------------------------------------------------------------------------------------------------------------------------------- law


@pytest.fixture
def kept(unit, site):
    return an_animal(unit, "T-1", at=site, acquired_on="2025-05-01")


def asking(unit, *obligations, code="XR-1", **said):
    return makers.requirement(unit, code, **{"consequence": Consequence.REPORT, "obligations": obligations, **said})


def test_a_return_is_told_where_an_animal_is_that_it_is_about(unit, site, kept):
    asking(unit, RETURN, selector=Selector(any_of=(Entry(name="Testudo t-1", rank=TaxonRank.SPECIES),)))
    elsewhere = makers.site(unit, name="Empty", jurisdiction="XR")

    past, coming = at(unit, site), at(unit, elsewhere)

    assert [(one.subject, one.subject_id, one.kind, one.due_on, one.occurrence) for one in past] == [
        ("site", site.id, ReminderKind.RETURN, date(2026, 3, 31), "XR-1/annual/2025")
    ]
    assert (past[0].tell_from, past[0].sentence) == (
        date(2026, 2, 28),
        "Send in the return for 2025: An invented rule, s. 1 (fictional).",
    )
    assert coming == []


@pytest.mark.parametrize("later", [False, True], ids=["nobody is left", "another has come"])
def test_the_return_of_a_period_is_told_though_the_animal_is_no_more(unit, site, kept, later):
    asking(unit, RETURN)
    makers.event(unit, kept, "died", "2026-02-20")
    if later:
        an_animal(unit, "T-2", at=site, acquired_on="2026-02-25")

    assert [(one.kind, one.occurrence) for one in at(unit, site)] == [(ReminderKind.RETURN, "XR-1/annual/2025")]


def test_a_check_is_not_told_for_what_is_no_more(unit, site, kept):
    asking(unit, Obligation(code="look", duty=Duty.CHECK, every=MONTH))
    assert told(at(unit, site)) != []

    makers.event(unit, kept, "died", "2026-02-20")

    assert at(unit, site) == []


def test_another_jurisdictions_law_and_another_animals_are_not_told(unit, kept, site):
    asking(unit, RETURN, selector=Selector(any_of=(Entry(name="Boa", rank=TaxonRank.GENUS),)))
    asking(unit, RETURN, code="XR-2", jurisdiction="XR", applies_until=date(2025, 12, 31))

    assert at(unit, site) == []


def test_where_it_cannot_be_decided_the_duty_is_told_with_what_is_missing(unit, site, kept):
    asking(unit, RETURN, selector=Selector(any_of=(Entry(name="Testudinidae", rank=TaxonRank.FAMILY),)))

    [one] = at(unit, site)

    assert "Whether it applies cannot be decided; find out: " in one.sentence


def test_an_exempted_duty_is_not_told(unit, site, kept):
    asking(unit, RETURN)
    makers.requirement(unit, "XR-9", consequence=Consequence.EXEMPT, exempts=frozenset(("XR-1",)))

    assert at(unit, site) == []


@pytest.mark.parametrize(("public_days", "told_of", "doubt"), [(0, 0, None), (12, 1, False), (None, 1, True)])
def test_what_is_about_showing_is_told_unless_it_is_known_that_nobody_comes_in(unit, site, kept, public_days, told_of, doubt):
    makers.premises(unit, site, **({} if public_days is None else {"public_days": public_days}))
    asking(unit, RETURN, activities=frozenset((Activity.DISPLAY,)))

    found = at(unit, site)

    assert len(found) == told_of
    assert all(("find out: public_days" in one.sentence) is doubt for one in found)


def test_what_recurs_runs_from_the_first_day_of_each_permit_that_is_good_there(unit, site, kept):
    makers.document_kind(unit, "keeping")
    visit = Obligation(code="visit", duty=Duty.INSPECT, every=YEAR, lead=Span(2, Unit.MONTHS))
    drill = Obligation(code="drill", duty=Duty.DRILL, every=Span(6, Unit.MONTHS))
    makers.requirement(unit, "XR-1", consequence=Consequence.DOCUMENT, documents=("keeping",), obligations=(visit, drill))
    other = makers.site(unit, name="Elsewhere", jurisdiction="XR")
    makers.permit(unit, number="P-1", site_id=str(site.id), issued_on="2025-04-20")
    makers.permit(unit, number="P-2", site_id=str(other.id), issued_on="2025-09-01")
    makers.permit(unit, number="P-3", issued_on="2020-01-10", valid_until="2026-02-28")

    found = [(one.occurrence, one.due_on.isoformat(), one.tell_from.isoformat()) for one in at(unit, site) if one.subject == "site"]

    assert found == [
        ("XR-1/visit/2025-04-20/1", "2026-04-20", "2026-02-20"),
        ("XR-1/drill/2025-04-20/1", "2025-10-20", "2025-10-06"),
        ("XR-1/drill/2025-04-20/2", "2026-04-20", "2026-04-06"),
    ]


def test_what_recurs_without_a_permit_runs_from_the_first_day_of_the_rule(unit, site, kept):
    asking(unit, Obligation(code="walk", duty=Duty.CHECK, every=Span(7, Unit.DAYS)), applies_from=date(2026, 2, 1))

    assert told(at(unit, site)) == [("check", "2026-03-01"), ("check", "2026-03-08")]


def test_occasions_and_rules_without_duties_are_no_reminders(unit, site, kept):
    asking(unit, Obligation(code="escape", duty=Duty.NOTIFY, occasion=Occasion.ESCAPE, within=Span(24, Unit.HOURS)))
    makers.requirement(unit, "XR-2", exemptions=(Exemption(code="e", until=date(2027, 1, 1)),))

    assert at(unit, site) == []


# ------------------------------------------------------------------------------------------------------------------------- head room


def breeding(unit, site, *, number, **brood):
    """Register a female at a site, a permit for so many of her kind, and the young that are expected of her."""
    makers.document_kind(unit, "keeping")
    return breeding_under(unit, site, number=number, **brood)


def breeding_under(unit, site, *, number, **brood):
    """Do so under a kind of permit that a rule pack has stated already."""
    makers.requirement(unit, "XR-1", consequence=Consequence.DOCUMENT, documents=("keeping",))
    female = an_animal(unit, "F-1", at=site, sex="female")
    permit = makers.permit(unit, site_id=str(site.id), total_number=number)
    return permit, female, makers.expected_brood(unit, female, **{"expected_on": "2026-05-20", "number_high": 4, **brood})


def test_a_permit_that_the_expected_young_would_exceed_is_told_before_they_come(unit, site):
    permit, _, brood = breeding(unit, site, number=4)

    [one] = of_organisation(unit, site)

    assert (one.kind, one.subject_id, one.site_id) == (ReminderKind.HEAD_ROOM, permit.id, site.id)
    assert (one.due_on, one.tell_from) == (date(2026, 5, 19), date(2026, 2, 19))
    assert one.occurrence == f"{brood.id}/{site.id}"
    assert one.sentence == "Permit P-1: up to 4 young are expected, and there is room for 3 more under its number."


def test_a_permit_with_room_enough_is_not_told(unit, site):
    breeding(unit, site, number=5)

    assert of_organisation(unit, site) == []


def test_once_the_young_have_come_nothing_is_told(unit, site):
    _, female, brood = breeding(unit, site, number=1)
    assert "there is no room left" in of_organisation(unit, site)[0].sentence

    end_expected_brood(unit, brood.id, Ending(reason="hatched"), owner_id=female.id)

    assert of_organisation(unit, site) == []


def test_the_first_of_several_broods_gives_the_day_and_one_without_a_day_may_be_any_day(unit, site):
    _, female, _ = breeding(unit, site, number=1)
    makers.expected_brood(unit, female, seen_on="2026-02-20")

    assert told(of_organisation(unit, site)) == [("head_room", "2026-02-19")]


def test_the_day_is_that_of_the_first_young_that_are_left_without(unit, site):
    _, female, _ = breeding(unit, site, number=2)
    makers.expected_brood(unit, female, seen_on="2026-02-20")

    [one] = of_organisation(unit, site)

    assert one.due_on == date(2026, 5, 19)
    assert one.sentence == "Permit P-1: up to 5 young are expected, and there is room for 1 more under its number."


def test_room_for_another_taxon_is_none_for_the_young_that_are_expected(unit, site):
    makers.document_kind(unit, "keeping")
    makers.requirement(unit, "XR-1", consequence=Consequence.DOCUMENT, documents=("keeping",))
    female = an_animal(unit, "F-1", at=site, sex="female")
    permit = makers.permit(unit, any_taxon=False)
    makers.permit_taxon(unit, permit, unit.fetch(Taxon, female.taxon_id), number=1)
    makers.permit_taxon(unit, permit, makers.taxon(unit, "Boa ficta"), number=10)
    makers.expected_brood(unit, female, expected_on="2026-05-20", number_high=4)

    [one] = of_organisation(unit, site)

    assert one.sentence == "Permit P-1: up to 4 young are expected, and there is no room left under its number."


def test_a_mother_under_a_certificate_of_her_own_leaves_her_young_to_the_permit_that_is_for_them(unit, site):
    makers.document_kind(unit, "keeping")
    makers.requirement(unit, "XR-1", consequence=Consequence.DOCUMENT, documents=("keeping",))
    female = an_animal(unit, "F-1", at=site, sex="female")
    own = makers.permit(unit, number="OWN")
    makers.permit_animal(unit, own, female)
    makers.expected_brood(unit, female, expected_on="2026-05-20", number_high=4)

    [without] = of_organisation(unit, site)
    wide = makers.permit(unit, number="WIDE", total_number=3)
    [one] = of_organisation(unit, site)

    assert (without.subject_id, without.site_id) == (female.id, site.id)
    assert without.sentence.startswith("Up to 4 young of F-1 are expected, and no permit on record would be for them.")
    assert (one.subject_id, one.sentence) == (
        wide.id,
        "Permit WIDE: up to 4 young are expected, and there is room for 3 more under its number.",
    )


def test_young_that_a_kind_does_not_count_are_not_told(unit, site):
    makers.document_kind(unit, "keeping", counted_stages=frozenset((LifeStage.ADULT,)))
    breeding_under(unit, site, number=1)

    assert of_organisation(unit, site) == []


def test_a_permit_that_ends_once_its_number_is_exceeded_says_so(unit, site):
    makers.document_kind(unit, "keeping", ends_with=frozenset((Occasion.NUMBER_EXCEEDED,)))
    breeding_under(unit, site, number=1)

    [one] = of_organisation(unit, site)

    assert one.sentence.endswith("under its number. It ends once its number is exceeded.")


# ------------------------------------------------------------------------------------------------------------------- ends of keeping


def gone(unit, site, tag, kind, on):
    found = an_animal(unit, tag, at=site, acquired_on="2020-01-10")
    makers.event(unit, found, kind, on)
    return found


def keeping(unit, span, occasion=Occasion.DEPARTURE, code="XR-1", **said):
    kept = Obligation(code="kept", duty=Duty.RETAIN, occasion=occasion, within=span)
    return asking(unit, kept, code=code, consequence=Consequence.RECORD, **said)


def test_the_end_of_keeping_is_told_by_the_law_of_where_the_animal_was(unit, site):
    keeping(unit, Span(24, Unit.MONTHS))
    left = gone(unit, site, "T-1", "departed", "2024-03-20")
    gone(unit, site, "T-2", "died", "2024-03-20")
    gone(unit, makers.site(unit, name="Abroad", jurisdiction="XS"), "T-3", "departed", "2024-03-20")

    [one] = of_organisation(unit, site)

    assert (one.kind, one.subject_id, one.due_on, one.site_id) == (ReminderKind.RETENTION_END, left.id, date(2026, 3, 20), None)
    assert one.sentence.startswith("The records of T-1, which left on 20 March 2024, are to be kept until this day, by An invented rule")


@pytest.mark.parametrize(("on", "told_of"), [("2024-01-29", 0), ("2024-01-30", 1), ("2024-03-31", 1), ("2024-04-01", 0)])
def test_it_is_told_for_a_month_before_and_after(unit, site, on, told_of):
    keeping(unit, Span(24, Unit.MONTHS))
    gone(unit, site, "T-1", "departed", on)

    assert len(of_organisation(unit, site)) == told_of


def test_the_longest_of_law_and_house_decides(unit, site):
    keeping(unit, Span(24, Unit.MONTHS), occasion=Occasion.DEATH)
    register_retention_rule(unit, RetentionRuleStated(kind="animal", keep_months=36, source="house"))
    gone(unit, site, "T-1", "died", "2024-03-10")
    gone(unit, site, "T-2", "died", "2023-03-20")

    [one] = of_organisation(unit, site)

    assert ("T-2" in one.sentence, one.due_on) == (True, date(2026, 3, 20))
    assert "by the house's own rule" in one.sentence


def test_what_a_hold_keeps_or_nothing_limits_is_not_told(unit, site):
    gone(unit, site, "T-1", "departed", "2024-03-20")
    assert of_organisation(unit, site) == []

    keeping(unit, Span(24, Unit.MONTHS))
    assert len(of_organisation(unit, site)) == 1
    register_legal_hold(unit, LegalHoldStated(kind="animal", why="an inquiry"))
    assert of_organisation(unit, site) == []


def test_an_animal_that_came_back_is_not_gone(unit, site):
    keeping(unit, Span(24, Unit.MONTHS))
    left = gone(unit, site, "T-1", "departed", "2024-03-20")
    makers.event(unit, left, "returned", "2025-03-20")

    assert of_organisation(unit, site) == []


# ---------------------------------------------------------------------------------------------------------------------- inspections


def test_findings_and_what_is_to_be_done_about_them_are_told_until_they_are_closed_and_done(unit, site):
    visit = makers.inspection(unit, site)
    finding = makers.inspection_finding(unit, visit, due_on="2026-03-20", weight="grave")
    makers.inspection_finding(unit, visit)
    action = makers.corrective_action(unit, finding, due_on="2026-03-10")

    assert told(at(unit, site)) == [("inspection", "2026-03-20"), ("inspection", "2026-03-10")]

    done = {"done_on": "2026-02-27", "proof": "Seen by the curator."}
    change_corrective_action(unit, action.id, done, owner_id=visit.id, expected_version=1)
    assert told(at(unit, site)) == [("inspection", "2026-03-20")]
    closed = {"closed_on": "2026-02-28", "closing": "Put right."}
    change_inspection_finding(unit, finding.id, closed, owner_id=visit.id, expected_version=1)
    assert at(unit, site) == []


@pytest.mark.parametrize(
    ("follower", "due_on"),
    [
        ({"valid_from": "2026-04-01"}, []),
        ({"valid_from": "2026-06-01"}, ["2026-03-31"]),
        ({"valid_from": "2026-03-01", "withdrawn_on": "2026-03-01"}, ["2026-03-31"]),
    ],
    ids=["without a gap", "months later", "withdrawn"],
)
def test_a_permit_is_renewed_unless_another_follows_without_a_gap(unit, site, follower, due_on):
    old = makers.permit(unit, site_id=str(site.id), valid_until="2026-03-31")
    makers.permit(unit, site_id=str(site.id), number="P-2", replaces_id=str(old.id), issued_on="2026-02-01", **follower)

    assert [one.due_on.isoformat() for one in at(unit, site) if one.subject_id == old.id] == due_on


def test_what_ended_long_ago_is_no_more_to_be_renewed(unit, site):
    makers.permit(unit, site_id=str(site.id), issued_on="2015-01-01", valid_until="2017-12-31")

    assert at(unit, site) == []
