"""Overrides: who answers for not heeding a requirement, for what, and until when."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest

from domain.actions.compliance import coverage_on
from domain.actions.overrides import change_override, end_override, overrides_of
from domain.actions.sites import end_site
from domain.errors import NotAllowed, RuleBroken
from domain.records.engine import Store
from domain.records.overrides import Override, OverrideStated
from domain.records.stated import read_stated
from domain.records.statements import json_text
from domain.records.unit import Unit
from domain.rules import compliance
from domain.rules.compliance import Standing
from domain.rules.law.requirements import Activity, Consequence, Requirement
from tests import makers
from tests.actions.of_animals import MISTAKE, an_animal, bound_to, refusal
from tests.actions.test_documents import a_document, to
from tests.behind import proven

pytestmark = pytest.mark.usefixtures("organisation")

NOBODY = "019ca945-0a00-7303-9a41-d18b21ab2c01"


def corrected(unit: Unit, found: Override, **patch: Any) -> Override:
    now = unit.fetch(Override, found.id)
    return change_override(unit, found.id, patch, expected_version=now.version)


def test_an_override_is_registered_corrected_and_ended(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        animal, chief = an_animal(unit), makers.staff(unit)
        letter = a_document(unit, first=to(animal.id))
        made = makers.override(unit, animal, chief, document_id=str(letter.id))

        assert (made.requirement_code, made.animal_id, made.site_id, made.staff_id) == ("XR-1", animal.id, None, chief.id)
        assert corrected(unit, made, expires_on="2026-04-30").expires_on == date(2026, 4, 30)
        assert end_override(unit, made.id, MISTAKE).end_reason == MISTAKE.reason
        assert refusal(corrected, unit, made, note="n") == ("ended", "")
    assert proven(store).flaws == []


@pytest.mark.parametrize(
    ("said", "pointer", "code"),
    [
        ({"site_id": NOBODY}, "/site_id", "not-together"),
        ({"animal_id": None}, "/animal_id", "required"),
        ({"expires_on": "2026-02-02"}, "/expires_on", "not-together"),
        ({"expires_on": "2027-02-04"}, "/expires_on", "too-long"),
        ({"activities": []}, "/activities", "too-short"),
        ({"activities": ["hold", "hold"]}, "/activities", "repeated"),
        ({"expires_on": None}, "/expires_on", "date-type"),
        ({"reason": " "}, "/reason", "required"),
        ({"evidence": ""}, "/evidence", "string-too-short"),
        ({"requirement_code": "no code"}, "/requirement_code", "string-pattern-mismatch"),
    ],
)
def test_what_cannot_be_is_refused_by_its_field(said: dict[str, Any], pointer: str, code: str) -> None:
    whole = {"requirement_code": "XR-1", "animal_id": NOBODY, "staff_id": NOBODY, "reason": "r", "evidence": "e"}
    with pytest.raises(RuleBroken) as refused:
        read_stated(OverrideStated, json_text({**whole, "from_on": "2026-02-03", "expires_on": "2026-02-03", **said}))

    expected = "not-date" if code == "date-type" else code
    assert [(fault.pointer, fault.code) for fault in refused.value.faults] == [(pointer, expected)]


@pytest.mark.parametrize("field", ["animal_id", "staff_id", "document_id"])
def test_an_override_refers_to_what_there_is(store: Store, field: str) -> None:
    with store.transaction(makers.origin()) as unit:
        animal, chief = an_animal(unit), makers.staff(unit)
        made = makers.override(unit, animal, chief)

        assert refusal(makers.override, unit, animal, chief, **{field: NOBODY}) == ("reference-unknown", f"/{field}")
        assert refusal(corrected, unit, made, **{field: NOBODY}) == ("reference-unknown", f"/{field}")


def test_an_override_is_of_a_requirement_that_a_pack_has(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        made = makers.override(unit, an_animal(unit), makers.staff(unit))

        assert refusal(corrected, unit, made, requirement_code="XR-9") == ("requirement-unknown", "/requirement_code")
        makers.behind(unit, "UPDATE requirement SET ended_on = '2026-02-01'")
        assert corrected(unit, made, note="of old law").note == "of old law"


def test_an_override_may_have_three_hundred_and_sixty_six_days(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        made = makers.override(unit, an_animal(unit), makers.staff(unit), from_on="2026-02-03", expires_on="2027-02-03")

        assert (made.expires_on - made.from_on).days == 365


def test_an_override_begins_a_month_ago_at_the_earliest(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        animal, chief = an_animal(unit), makers.staff(unit)
        made = makers.override(unit, animal, chief, from_on="2026-01-29")

        assert made.from_on == date(2026, 1, 29)
        assert refusal(makers.override, unit, animal, chief, from_on="2026-01-28") == ("too-long-ago", "/from_on")
        assert refusal(corrected, unit, made, from_on="2026-01-01") == ("too-long-ago", "/from_on")

    with store.transaction(makers.origin(at=makers.NOON + timedelta(days=90))) as unit:
        assert corrected(unit, made, note="n").note == "n"


def versions() -> tuple[Requirement, Requirement]:
    basic: dict[str, Any] = {
        "code": "V", "pack": "p", "jurisdiction": "XR", "instrument": "Act", "title": "t", "citation": "c", "reviewed_on": date(2026, 1, 1),
    }  # fmt: skip
    old = Requirement(version="1", consequence=Consequence.MARK, applies_from=date(2020, 1, 1), applies_until=date(2026, 3, 31), **basic)
    return old, Requirement(version="2", consequence=Consequence.PROHIBITED, applies_from=date(2026, 4, 1), **basic)


def test_an_override_lifts_the_edition_that_is_in_force_when_it_begins_and_no_later_one(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        makers.pack(unit, "p", requirements=versions())
        site = makers.site(unit, jurisdiction="XR")
        animal, chief = an_animal(unit, at=site), makers.staff(unit)
        made = makers.override(unit, animal, chief, requirement_code="V", reason="too small to mark")

        assert made.edition == "1"
        assert [coverage_on(unit, on=day).coverages[0].standing for day in (date(2026, 3, 1), date(2026, 4, 1))] == [
            Standing.OVERRIDDEN,
            Standing.PROHIBITED,
        ]
        assert makers.override(unit, animal, chief, requirement_code="V", from_on="2026-04-01").edition == "2"
        assert corrected(unit, made, from_on="2026-04-02").edition == "2"


def test_an_override_is_of_an_edition_that_is_in_force_on_its_first_day(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        makers.requirement(unit, "XR-8", applies_from=date(2026, 6, 1))
        animal, chief = an_animal(unit), makers.staff(unit)

        refused = refusal(makers.override, unit, animal, chief, requirement_code="XR-8")
        assert refused == ("requirement-not-in-force", "/from_on")


def test_an_override_is_for_keeping_unless_it_says_for_what(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        acts = (Activity.HOLD, Activity.SELL)
        makers.requirement(unit, activities=frozenset(acts))
        animal, chief = an_animal(unit, at=makers.site(unit, jurisdiction="XR")), makers.staff(unit)

        made = makers.override(unit, animal, chief)
        before = [coverage_on(unit, on=date(2026, 3, 1), activity=act).coverages[0].standing for act in acts]
        corrected(unit, made, activities=["sell"])
        after = [coverage_on(unit, on=date(2026, 3, 1), activity=act).coverages[0].standing for act in acts]

        assert (made.activities, before) == (["hold"], [Standing.OVERRIDDEN, Standing.PROHIBITED])
        assert after == [Standing.PROHIBITED, Standing.OVERRIDDEN]


def test_an_override_for_a_site_stays_when_the_site_has_ended(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        site = makers.site(unit)
        made = makers.override(unit, site, makers.staff(unit))
        end_site(unit, site.id, MISTAKE)

        assert (made.site_id, made.animal_id) == (site.id, None)
        assert corrected(unit, made, expires_on="2026-03-01").expires_on == date(2026, 3, 1)
        assert refusal(makers.override, unit, site, makers.staff(unit, name="B. Head")) == ("reference-ended", "/site_id")


def test_an_override_is_where_its_animal_is_or_at_its_site(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        here, there = makers.site(unit), makers.site(unit, name="Elsewhere")
        own, other = an_animal(unit, "T-1", at=here), an_animal(unit, "T-2", at=there)
        placeless = makers.animal(unit, makers.taxon(unit, "Emys ficta"), tag="T-3")
        chief = makers.staff(unit)
        kept = [makers.override(unit, one, chief) for one in (own, here)]
        elsewhere = [makers.override(unit, one, chief) for one in (other, there, placeless)]
        letter = a_document(unit, first=to(there.id, "site"))

    with store.transaction(bound_to(here)) as unit:
        for one in kept:
            assert corrected(unit, one, note="n").note == "n"
        for one in elsewhere:
            with pytest.raises(NotAllowed):
                corrected(unit, one, note="n")
            with pytest.raises(NotAllowed):
                end_override(unit, one.id, MISTAKE)
        for of in (other, there, placeless):
            with pytest.raises(NotAllowed):
                makers.override(unit, of, chief)
        with pytest.raises(NotAllowed):
            makers.override(unit, own, chief, document_id=str(letter.id))
        # It would then be for what is elsewhere.
        with pytest.raises(NotAllowed):
            corrected(unit, kept[0], animal_id=str(other.id))


def test_the_rules_take_every_override_that_is_kept(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        animal, site, chief = an_animal(unit), makers.site(unit), makers.staff(unit)
        later = makers.override(unit, animal, chief, from_on="2026-02-10")
        first = makers.override(unit, site, chief, from_on="2026-02-01")
        end_override(unit, makers.override(unit, site, chief).id, MISTAKE)

        until = date(2026, 8, 31)
        of = {"requirement_code": "XR-1", "edition": "1", "activities": frozenset((Activity.HOLD,))}
        assert overrides_of(unit) == [
            compliance.Override(id=first.id, from_on=date(2026, 2, 1), expires_on=until, animal_id=None, site_id=site.id, **of),
            compliance.Override(id=later.id, from_on=date(2026, 2, 10), expires_on=until, animal_id=animal.id, site_id=None, **of),
        ]
