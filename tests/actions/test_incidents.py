"""What went wrong, and what had to be told to whom by when."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from domain.actions.incidents import (
    Telling,
    change_incident,
    change_notification,
    end_incident,
    end_incident_animal,
    end_notification,
    incidents_between,
    notify_by,
)
from domain.actions.recording import Ending
from domain.records.taxa import Taxon
from domain.rules.law.requirements import Consequence, Duty, Entry, Obligation, Occasion, Selector
from domain.rules.law.spans import Span, Unit
from domain.rules.taxonomy import TaxonRank
from tests import makers
from tests.actions.of_animals import refusal

MISTAKE = Ending(reason="entered wrongly")
FOUND = datetime(2026, 2, 28, 20, 0, tzinfo=UTC)


@pytest.fixture
def unit(store, organisation):
    with store.transaction(makers.origin()) as opened:
        yield opened


@pytest.fixture
def site(unit):
    return makers.site(unit, jurisdiction="XR")


@pytest.fixture
def animal(unit, site):
    place = makers.enclosure(unit, site)
    return makers.animal(unit, makers.taxon(unit), enclosure_id=str(place.id), acquired_on="2025-01-10")


@pytest.fixture
def escape(unit, site, animal):
    made = makers.incident(unit, site, found_at="2026-02-28T20:00:00Z")
    makers.incident_animal(unit, made, animal)
    return made


def told_within(unit, hours, code="XR-1", occasion=Occasion.ESCAPE, **said):
    listed = Selector(any_of=(Entry(name="Testudo fictiva", rank=TaxonRank.SPECIES),))
    duty = Obligation(code="tell", duty=Duty.NOTIFY, occasion=occasion, within=Span(hours, Unit.HOURS))
    makers.requirement(unit, code, consequence=Consequence.NOTIFY, selector=listed, obligations=(duty,), **said)


def standings(unit, incident):
    return {one.notice.requirement.code: one.standing for one in notify_by(unit, incident.id).asked}


def test_an_escape_is_told_in_time_late_or_not_at_all(unit, escape):
    """The clock of these tests stands at noon of 1 March, sixteen hours after the escape was found."""
    for hours, code in ((12, "XR-12"), (24, "XR-24"), (10, "XR-10"), (13, "XR-13")):
        told_within(unit, hours, code)
    makers.notification(unit, escape, told_at="2026-03-01T07:00:00Z", requirement_code="XR-12")
    makers.notification(unit, escape, told_at="2026-03-01T07:00:00Z", requirement_code="XR-10")

    found = notify_by(unit, escape.id)

    assert [one.notice.tell_by for one in found.asked] == sorted(one.notice.tell_by for one in found.asked)
    assert standings(unit, escape) == {
        "XR-10": Telling.TOLD_LATE,
        "XR-12": Telling.TOLD,
        "XR-13": Telling.MISSED,
        "XR-24": Telling.OPEN,
    }


def test_the_first_telling_counts_and_one_taken_back_does_not(unit, escape):
    told_within(unit, 12)
    early = makers.notification(unit, escape, told_at="2026-03-01T07:00:00Z", requirement_code="XR-1")
    makers.notification(unit, escape, told_at="2026-03-01T11:00:00Z", requirement_code="XR-1")
    assert standings(unit, escape) == {"XR-1": Telling.TOLD}

    end_notification(unit, early.id, MISTAKE, owner_id=escape.id)

    assert standings(unit, escape) == {"XR-1": Telling.TOLD_LATE}


def test_which_animals_were_concerned_decides_and_without_them_it_cannot_be_decided(unit, site, escape):
    told_within(unit, 24)
    other = makers.incident(unit, site, kind="escape")

    assert (standings(unit, escape), standings(unit, other)) == ({"XR-1": Telling.OPEN}, {"XR-1": Telling.CANNOT_DECIDE})


def test_an_animal_that_died_on_that_day_is_asked_about_as_it_was(unit, site, animal):
    told_within(unit, 24, occasion=Occasion.DEATH)
    died = makers.incident(unit, site, kind="death", found_at="2026-02-28T20:00:00Z")
    makers.incident_animal(unit, died, animal)
    makers.event(unit, animal, "died", "2026-02-28")

    assert standings(unit, died) == {"XR-1": Telling.OPEN}


def test_later_law_asks_nothing_of_what_happened_before(unit, escape):
    told_within(unit, 24, applies_from=date(2026, 3, 1))

    assert standings(unit, escape) == {}


def test_a_site_without_a_jurisdiction_is_said_to_be_unknown(unit):
    nowhere = makers.incident(unit, makers.site(unit, name="Saltings Hall"))

    assert notify_by(unit, nowhere.id).missing == {"jurisdiction"}


def test_incidents_of_a_period_are_those_found_on_its_days_at_the_site(unit, site, escape):
    assert [one.incident.id for one in incidents_between(unit, site.id, from_on=date(2026, 2, 28), until_on=date(2026, 2, 28))] == [
        escape.id
    ]
    assert incidents_between(unit, site.id, from_on=date(2026, 2, 1), until_on=date(2026, 2, 27)) == []
    end_incident(unit, escape.id, MISTAKE)
    assert incidents_between(unit, site.id, from_on=date(2026, 2, 1), until_on=date(2026, 3, 1)) == []


@pytest.mark.parametrize(
    ("said", "fault"),
    [
        ({"found_at": "2026-03-01T12:00:01Z"}, ("in-future", "/found_at")),
        ({"closed_on": "2026-03-02", "outcome": "found"}, ("in-future", "/closed_on")),
        ({"closed_on": "2026-02-28"}, ("required", "/outcome")),
        ({"found_at": "2026-02-28T20:00:00"}, ("not-instant", "/found_at")),
    ],
)
def test_what_cannot_be_is_refused_by_its_field(unit, site, said, fault):
    assert refusal(makers.incident, unit, site, **said) == fault


def test_instants_are_kept_in_utc_whatever_offset_they_were_told_with(unit, site):
    assert makers.incident(unit, site, found_at="2026-02-28T21:00:00+01:00").found_at == FOUND


def test_an_enclosure_is_of_the_site_and_the_site_stays(unit, site, escape):
    other = makers.site(unit, name="Saltings Hall")
    place = makers.enclosure(unit, other)

    assert refusal(makers.incident, unit, site, enclosure_id=str(place.id)) == ("other-site", "/enclosure_id")
    assert refusal(change_incident, unit, escape.id, {"site_id": str(other.id)}, expected_version=1) == ("stays-at-site", "/site_id")


def test_nobody_is_told_before_it_was_found_and_no_animal_twice(unit, escape, animal):
    assert refusal(makers.notification, unit, escape, told_at="2026-02-28T19:59:59Z") == ("before-found", "/told_at")
    told = makers.notification(unit, escape, told_at="2026-02-28T21:00:00Z")
    early = {"told_at": "2026-02-28T19:00:00Z"}
    assert refusal(change_notification, unit, told.id, early, owner_id=escape.id, expected_version=1) == ("before-found", "/told_at")
    assert refusal(makers.incident_animal, unit, escape, animal) == ("already-there", "/animal_id")


def test_an_animal_that_was_not_concerned_is_taken_off(unit, site, animal):
    told_within(unit, 24)
    made = makers.incident(unit, site)
    concerned = makers.incident_animal(unit, made, animal)
    end_incident_animal(unit, concerned.id, MISTAKE, owner_id=made.id)

    assert standings(unit, made) == {"XR-1": Telling.CANNOT_DECIDE}


def test_an_animal_that_died_before_it_was_found_is_asked_about_as_it_was(unit, site, animal):
    """Another one that lives and that no rule is about does not hide it."""
    makers.event(unit, animal, "died", "2026-02-20")
    other = makers.animal(
        unit, makers.taxon(unit, "Bufo alter"), tag="T-2", enclosure_id=str(animal.enclosure_id), acquired_on="2025-01-10"
    )
    told_within(unit, 24, occasion=Occasion.DEATH)
    found = makers.incident(unit, site, kind="death", found_at="2026-02-28T20:00:00Z")
    for one in (animal, other):
        makers.incident_animal(unit, found, one)

    assert standings(unit, found) == {"XR-1": Telling.OPEN}


def test_of_an_animal_that_was_never_kept_it_cannot_be_decided(unit, site, animal):
    later = makers.animal(unit, unit.fetch(Taxon, animal.taxon_id), tag="T-3", acquired_on="2026-03-01")
    told_within(unit, 24)
    found = makers.incident(unit, site, found_at="2026-02-10T20:00:00Z")
    makers.incident_animal(unit, found, later)

    (asked,) = notify_by(unit, found.id).asked
    assert (asked.standing, asked.notice.missing) == (Telling.CANNOT_DECIDE, {"animals"})


def test_telling_one_obligation_does_not_tell_the_other(unit, escape):
    listed = Selector(any_of=(Entry(name="Testudo fictiva", rank=TaxonRank.SPECIES),))
    duties = tuple(
        Obligation(code=code, duty=Duty.NOTIFY, occasion=Occasion.ESCAPE, within=Span(hours, Unit.HOURS))
        for code, hours in (("call", 24), ("write", 240))
    )
    makers.requirement(unit, "XR-2", consequence=Consequence.NOTIFY, selector=listed, obligations=duties)

    makers.notification(unit, escape, told_at="2026-03-01T07:00:00Z", requirement_code="XR-2")
    assert [one.standing for one in notify_by(unit, escape.id).asked] == [Telling.OPEN, Telling.OPEN]
    makers.notification(unit, escape, told_at="2026-03-01T07:00:00Z", requirement_code="XR-2", obligation_code="call")
    assert [one.standing for one in notify_by(unit, escape.id).asked] == [Telling.TOLD, Telling.OPEN]
    wrong = {"told_at": "2026-03-01T07:00:00Z", "requirement_code": "XR-2", "obligation_code": "shout"}
    assert refusal(makers.notification, unit, escape, **wrong) == ("requirement-unknown", "/obligation_code")


def test_what_is_over_was_found_before(unit, site, escape):
    said = {"closed_on": "2026-02-27", "outcome": "caught"}
    assert refusal(change_incident, unit, escape.id, said, expected_version=1) == ("before-found", "/closed_on")
    makers.notification(unit, escape, told_at="2026-03-01T07:00:00Z")
    later = {"found_at": "2026-03-01T08:00:00Z"}
    assert refusal(change_incident, unit, escape.id, later, expected_version=1) == ("before-found", "/found_at")
