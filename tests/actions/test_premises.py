"""What is known of premises from day to day, and as the law asks for it."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from domain.actions.law import law_as_of
from domain.actions.premises import PremisesHistory, change_premises, end_premises
from domain.actions.sites import end_site
from domain.errors import Conflict, NotAllowed, NotFound, RuleBroken
from domain.records.base import row_of
from domain.records.engine import Store
from domain.records.premises import Premises, PremisesStated
from domain.records.sites import Site
from domain.records.stated import read_stated
from domain.records.statements import json_text
from domain.records.unit import Unit
from domain.rules.law import facts
from tests import makers
from tests.actions.of_animals import MISTAKE, bound_to, refusal
from tests.behind import proven

pytestmark = pytest.mark.usefixtures("organisation")

OVERLAP = ("overlap", "/from_on")


def corrected(unit: Unit, found: Premises, **patch: Any) -> Premises:
    now = unit.fetch(Premises, found.id)
    return change_premises(unit, found.id, patch, owner_id=found.site_id, expected_version=now.version)


def days(unit: Unit, found: Premises) -> tuple[str, str]:
    now = unit.fetch(Premises, found.id)
    return str(now.from_on), str(now.until_on)


def history(unit: Unit) -> PremisesHistory:
    return PremisesHistory(unit, law_as_of(unit))


def test_what_becomes_known_ends_what_was_known_until_then(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        site = makers.site(unit)
        first = makers.premises(unit, site, holder_kind="private")
        second = makers.premises(unit, site, from_on="2025-07-01", holder_kind="trust", kinds=["zoo", "rescue-centre"], public_days=40)

        assert (days(unit, first), days(unit, second)) == (("2025-01-01", "2025-06-30"), ("2025-07-01", "None"))
        assert corrected(unit, second, public_days=None, kinds=[]).kinds == []
        assert refusal(corrected, unit, first, until_on=None) == OVERLAP
        assert refusal(corrected, unit, second, from_on="2025-06-30") == OVERLAP
        assert end_premises(unit, second.id, MISTAKE, owner_id=site.id).end_reason == MISTAKE.reason
        assert days(unit, corrected(unit, first, until_on=None)) == ("2025-01-01", "None")
    assert proven(store).flaws == []


def test_days_that_another_record_has_are_refused(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        site, other = makers.site(unit), makers.site(unit, name="Elsewhere")
        makers.premises(unit, site, until_on="2025-05-31")

        assert refusal(makers.premises, unit, site, from_on="2025-05-31", until_on="2025-06-30") == OVERLAP
        assert refusal(makers.premises, unit, site, from_on="2025-01-01") == OVERLAP
        assert makers.premises(unit, site, from_on="2025-06-01", until_on="2026-12-31")
        assert makers.premises(unit, other)


def test_the_database_itself_refuses_days_in_two_records(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        made = makers.premises(unit, makers.site(unit))
    with pytest.raises(Conflict) as refused, store.transaction(makers.origin()) as unit:
        unit.add(Premises(**{**row_of(made), "id": unit.new_id(), "from_on": date(2025, 6, 1)}), action="register_premises")

    assert refused.value.code == "overlap"


@pytest.mark.parametrize(
    ("said", "pointer", "code"),
    [
        ({"until_on": "2024-12-31"}, "/until_on", "not-together"),
        ({"kinds": ["zoo", "zoo"]}, "/kinds", "repeated"),
        ({"kinds": ["Zoo"]}, "/kinds/0", "string-pattern-mismatch"),
        ({"holder_kind": "two words"}, "/holder_kind", "string-pattern-mismatch"),
        ({"public_days": 367}, "/public_days", "less-than-equal"),
        ({"public_days": -1}, "/public_days", "greater-than-equal"),
    ],
)
def test_what_cannot_be_is_refused_by_its_field(said: dict[str, Any], pointer: str, code: str) -> None:
    with pytest.raises(RuleBroken) as refused:
        read_stated(PremisesStated, json_text({"from_on": "2025-01-01", **said}))

    assert [(fault.pointer, fault.code) for fault in refused.value.faults] == [(pointer, code)]


def test_facts_hold_from_a_day_that_has_come_at_the_site(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        # NOON is 2 March 01:00 in Auckland.
        site = makers.site(unit, zone="Pacific/Auckland")
        made = makers.premises(unit, site, from_on="2026-03-02")

        assert refusal(corrected, unit, made, from_on="2026-03-03") == ("in-future", "/from_on")
        assert refusal(makers.premises, unit, site, from_on="2026-03-03") == ("in-future", "/from_on")


def test_facts_belong_to_their_site_and_are_said_of_no_closed_one(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        site, other = makers.site(unit), makers.site(unit, name="Elsewhere")
        made = makers.premises(unit, site)
        for work in (
            lambda: change_premises(unit, made.id, {"note": "n"}, owner_id=other.id, expected_version=1),
            lambda: end_premises(unit, made.id, MISTAKE, owner_id=other.id),
        ):
            with pytest.raises(NotFound):
                work()
        end_site(unit, site.id, MISTAKE)

        assert refusal(makers.premises, unit, site, from_on="2026-01-01") == ("ended", "")
        assert refusal(corrected, unit, made, note="n") == ("ended", "")
        assert end_premises(unit, made.id, MISTAKE, owner_id=site.id).ended_on is not None


def test_premises_elsewhere_are_beyond_reach(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        here, there = makers.site(unit), makers.site(unit, name="Elsewhere")
        other = makers.premises(unit, there)

    with store.transaction(bound_to(here)) as unit:
        assert makers.premises(unit, here).site_id == here.id
        for work in (
            lambda: makers.premises(unit, there, from_on="2025-06-01"),
            lambda: corrected(unit, other, note="n"),
            lambda: end_premises(unit, other.id, MISTAKE, owner_id=there.id),
        ):
            with pytest.raises(NotAllowed):
                work()


def test_the_law_is_told_what_is_known_of_a_day_and_nothing_more(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        makers.document_kind(unit)
        site, nowhere = makers.site(unit, jurisdiction="XR-LOW"), makers.site(unit, name="Nowhere")
        makers.premises(unit, site, until_on="2025-06-30", holder_kind="private", kinds=[], public_days=0)
        makers.premises(unit, site, from_on="2025-08-01", kinds=["zoo"])
        wrong = makers.premises(unit, nowhere, public_days=300)
        end_premises(unit, wrong.id, MISTAKE, owner_id=nowhere.id)

        found = history(unit)

        def on(day: date, of: Site = site) -> facts.Premises:
            return found.on(day)[of.id]

        # The province is not on record: what it lies in is read from its code.
        own = {"site_id": site.id, "jurisdictions": ("XR-LOW", "XR")}
        assert on(date(2024, 12, 31)) == facts.Premises(**own)
        assert on(date(2025, 1, 1)) == facts.Premises(**own, holder_kind="private", kinds=frozenset(), public_days=0)
        assert on(date(2025, 6, 30)) == on(date(2025, 1, 1))
        assert on(date(2025, 7, 31)) == facts.Premises(**own)
        assert on(date(2026, 3, 1)) == facts.Premises(**own, kinds=frozenset(("zoo",)))
        assert on(date(2026, 3, 1), nowhere) == facts.Premises(site_id=nowhere.id)
        assert sorted(found.turning_days()) == [date(2025, 1, 1), date(2025, 7, 1), date(2025, 8, 1)]
