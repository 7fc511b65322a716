"""Rule packs on record: added once, continued by later ones, never changed behind a past answer."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest
import sqlalchemy as sa

from api.law import read_pack
from domain.actions.law import JURISDICTIONS, KINDS, PACKS, REQUIREMENTS, Law, known_law, law_as_of, load_pack, packs_behind
from domain.actions.verify import prove
from domain.errors import Conflict, RuleBroken
from domain.records import jurisdictions as places
from domain.records import requirements as records
from domain.records.base import table_of
from domain.records.engine import Store
from domain.records.statements import Statement
from domain.rules.law.decision import decide
from domain.rules.law.facts import Premises
from domain.rules.law.jurisdictions import Jurisdiction, Level
from domain.rules.law.packs import OnRecord, RulePack
from domain.rules.law.requirements import Activity, Consequence, Exemption, Requirement
from domain.rules.law.spans import Span, WorkingDays
from domain.rules.law.spans import Unit as SpanUnit
from domain.rules.permits import DocumentKind
from seed.demo import law_files
from tests import makers
from tests.counting import counted
from tests.rules.law.stating import animal, listing, requirement, taxon

pytestmark = pytest.mark.usefixtures("organisation")

STATE = Jurisdiction(code="XR", name="Arvenne (fictional)", level=Level.STATE, zone="Europe/Lisbon", fictional=True)
PROVINCE = replace(STATE, code="XR-LOW", level=Level.SUBDIVISION, parent_code="XR")
KIND = DocumentKind(code="keeping", jurisdiction="XR", title="Permit to keep", citation="s. 2", lasts=Span(24, SpanUnit.MONTHS))


def test_the_packs_behind_a_law_are_those_that_state_it_where_it_is_and_above(store: Store) -> None:
    elsewhere = replace(STATE, code="XQ")
    with store.transaction(makers.origin()) as unit:
        makers.pack(unit, "state", jurisdictions=(STATE,), kinds=(KIND,))
        makers.pack(unit, "province", jurisdictions=(PROVINCE,))
        makers.pack(unit, "elsewhere", jurisdictions=(elsewhere,), kinds=(replace(KIND, code="moving", jurisdiction="XQ"),))
        makers.requirement(unit, "XR-5")
        makers.pack(unit, "empty")

        def behind(*codes: str, kinds: set[str] | None = None) -> list[str]:
            return [one.name for one in packs_behind(unit, jurisdictions=codes, kinds=kinds or set())]

        assert behind("XR") == ["rule-xr-5", "state"]
        assert behind("XR-LOW") == ["province", "rule-xr-5", "state"]
        assert behind("XR", kinds={"moving"}) == ["elsewhere", "rule-xr-5", "state"]
        assert behind() == []


def rule(code: str = "XR-1", *names: str, **said: Any) -> Requirement:
    return requirement(code, *map(listing, names or ("Testudo ficta",)), **{"reviewed_on": date(2026, 1, 10), **said})


def pack(version: str, *requirements: Requirement, **said: Any) -> RulePack:
    basic = {"title": "Invented law", "fictional": True, "jurisdictions": (STATE, PROVINCE), "kinds": (KIND,), "source": version}
    return RulePack(name="fiction", version=version, digest=f"digest {version}", requirements=requirements, **{**basic, **said})


def test_the_demos_packs_come_back_as_they_were_read(store: Store) -> None:
    known, packs = OnRecord(), []
    for file, text in law_files().items():
        read = read_pack(text, file=file)
        known = read.check(known, today=makers.NOON.date())
        packs.append(read.pack)
    with store.transaction(makers.origin()) as unit:
        for one in packs:
            loaded = load_pack(unit, one)
            assert loaded.added["requirement"] == len(one.requirements)
            assert loaded.changed == {}
    with store.snapshot(makers.origin()) as unit:
        law, stored = law_as_of(unit), known_law(unit)
        [(source,)] = unit.rows(Statement(sa.select(table_of(records.RulePack).c.source).where(
            table_of(records.RulePack).c.organisation_id == sa.bindparam("organisation_id"), table_of(records.RulePack).c.name == "lorrow"
        )))  # fmt: skip
        proof = prove(unit)

    assert stored == known
    assert sorted(law.requirements, key=lambda one: (one.code, one.version)) == [
        known.requirements[key] for key in sorted(known.requirements)
    ]  # fmt: skip
    assert (law.kinds, law.jurisdictions) == (known.kinds, known.jurisdictions)
    assert source == law_files()["lorrow.toml"]
    assert proof.flaws == []


def test_the_very_same_pack_again_changes_nothing(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        first = load_pack(unit, pack("1", rule()))
    with store.transaction(makers.origin()) as unit:
        second = load_pack(unit, pack("1", rule()))

        assert (first.added, first.changed) == ({"rule_pack": 1, "jurisdiction": 2, "document_kind": 1, "requirement": 1}, {})
        assert (second.added, second.changed, unit.unsealed) == ({}, {}, 0)


def test_a_pack_of_before_again_takes_nothing_back(store: Store) -> None:
    corrected = replace(KIND, title="Permit to keep, as printed now")
    with store.transaction(makers.origin()) as unit:
        load_pack(unit, pack("1", rule()))
        load_pack(unit, pack("2", kinds=(corrected,)))
        load_pack(unit, pack("1", rule()))

        assert law_as_of(unit).kinds == {"keeping": corrected}


def test_a_later_pack_adds_versions_and_says_last_days(store: Store) -> None:
    first = rule("XR-1", applies_from=date(2020, 1, 1))
    ended = replace(first, applies_until=date(2026, 5, 31))
    second = replace(first, version="2", applies_from=date(2026, 6, 1), listed_on=date(2026, 4, 1), title="Another rule")
    with store.transaction(makers.origin()) as unit:
        load_pack(unit, pack("1", first))
        loaded = load_pack(unit, pack("2", ended, second))
        again = load_pack(unit, pack("3", ended, second, rule("XR-2")))
        law = law_as_of(unit)
        stored = unit.all(records.Requirement, REQUIREMENTS)
        names = {one.id: one.edition for one in unit.all(records.RulePack, PACKS)}

    assert (loaded.added, loaded.changed) == ({"rule_pack": 1, "requirement": 1}, {"requirement": 1})
    assert (again.added, again.changed) == ({"rule_pack": 1, "requirement": 1}, {})
    assert law.requirements == [ended, second, rule("XR-2")]
    assert [(one.code, one.edition, one.version, names[one.pack_id]) for one in stored] == [
        ("XR-1", "1", 2, "2"), ("XR-1", "2", 1, "2"), ("XR-2", "1", 1, "3"),
    ]  # fmt: skip


def test_a_pack_that_says_a_last_day_is_behind_the_law_and_one_that_says_nothing_new_is_not(store: Store) -> None:
    first = rule(applies_from=date(2020, 1, 1))
    ended = replace(first, applies_until=date(2026, 5, 31))
    with store.transaction(makers.origin()) as unit:
        for version, one in (("1", first), ("2", ended), ("3", ended)):
            load_pack(unit, pack(version, one))
        behind = packs_behind(unit, jurisdictions=("XR",), kinds=())

    assert [(one.name, one.edition) for one in behind] == [("fiction", "1"), ("fiction", "2")]


def test_what_a_later_pack_leaves_out_stays(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        load_pack(unit, pack("1", rule()))
        loaded = load_pack(unit, pack("2", jurisdictions=(), kinds=()))

        law = law_as_of(unit)
        assert (loaded.added, loaded.changed) == ({"rule_pack": 1}, {})
        assert (len(law.requirements), set(law.kinds), set(law.jurisdictions)) == (1, {"keeping"}, {"XR", "XR-LOW"})


@pytest.mark.parametrize(
    "changed",
    [
        {"title": "Another title"},
        {"selector": rule("X", "Boa ficta").selector},
        {"exemptions": (Exemption(code="a", document="keeping"),)},
        {"applies_from": date(2020, 1, 2)},
        {"consequence": Consequence.MARK},
    ],
    ids=lambda changed: next(iter(changed)),
)
def test_a_version_on_record_is_not_changed_and_nothing_else_of_the_pack_is_taken(store: Store, changed: dict[str, Any]) -> None:
    with store.transaction(makers.origin()) as unit:
        load_pack(unit, pack("1", rule()))
        before = known_law(unit)
        with pytest.raises(RuleBroken) as refused:
            load_pack(unit, pack("2", replace(rule(), **changed), rule("XR-9"), kinds=(replace(KIND, title="New"),)))

        assert "state a new version" in refused.value.faults[0].detail
        assert (refused.value.code, refused.value.faults[0].pointer) == ("pack-unfit", "/requirement/0/version")
        assert known_law(unit) == before


def test_a_pack_that_contradicts_itself_or_the_record_leaves_nothing(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        load_pack(unit, pack("1", rule()))
        unsealed = unit.unsealed
        for bad in (
            replace(pack("1", rule()), digest="another"),
            pack("2", rule("XR-1", version="2", applies_from=date(2021, 1, 1))),
            pack("2", rule("XR-2", jurisdiction="XL")),
            pack("2", rule("XR-2", consequence=Consequence.DOCUMENT, documents=("visa",))),
        ):
            with pytest.raises(RuleBroken):
                load_pack(unit, bad)
        assert unit.unsealed == unsealed


def test_jurisdictions_and_kinds_are_corrected_and_the_journal_keeps_what_they_were(store: Store) -> None:
    closed = WorkingDays(rest=frozenset((6,)), holidays=frozenset((date(2026, 4, 24), date(2026, 1, 1))))
    longer = replace(KIND, lasts=Span(36, SpanUnit.MONTHS), renewal_lead=Span(10, SpanUnit.WORKING_DAYS))
    with store.transaction(makers.origin()) as unit:
        load_pack(unit, pack("1", rule()))
    with store.transaction(makers.origin(at=makers.NOON + timedelta(days=1))) as unit:
        corrected = {"jurisdictions": (replace(STATE, working_days=closed), PROVINCE), "kinds": (longer,)}
        loaded = load_pack(unit, pack("2", correction="The term was misread.", **corrected))
        law = law_as_of(unit)
        stored = {one.code: one for one in unit.all(places.Jurisdiction, JURISDICTIONS)}
        packs = {one.id: one.edition for one in unit.all(records.RulePack, PACKS)}
        kind_pack = packs[unit.all(records.DocumentKind, KINDS)[0].pack_id]
    with store.snapshot(makers.origin()) as unit:
        said = [row[0] for row in unit.rows(Statement(sa.text("SELECT content FROM journal ORDER BY position")))]

    assert loaded.changed == {"jurisdiction": 1, "document_kind": 1}
    assert law.kinds == {"keeping": longer}
    assert (law.working_days("XR"), law.working_days("XR-LOW")) == (closed, WorkingDays())
    assert (stored["XR"].rest_days, stored["XR"].holidays) == (["sunday"], ["2026-01-01", "2026-04-24"])
    assert (packs[stored["XR"].pack_id], packs[stored["XR-LOW"].pack_id], kind_pack) == ("2", "1", "2")
    assert sum("change_jurisdiction" in one for one in said) == 1
    assert sum("change_document_kind" in one for one in said) == 1


UNION = replace(STATE, code="XU", level=Level.SUPRANATIONAL)
PAST = {
    "validity": ({"kinds": (replace(KIND, lasts=Span(12, SpanUnit.MONTHS)),)}, "/document_kind/0/lasts"),
    "parent": ({"jurisdictions": (UNION, replace(STATE, parent_code="XU"), PROVINCE)}, "/jurisdiction/1/parent"),
    "last day": ({"requirements": (rule(applies_until=date(2026, 2, 28)),)}, "/requirement/0/applies_until"),
}


@pytest.mark.parametrize("said", PAST)
def test_a_later_pack_changes_what_past_answers_rest_on_only_where_it_says_why(store: Store, said: str) -> None:
    changed, pointer = PAST[said]
    later = replace(pack("2"), **changed)
    with store.transaction(makers.origin()) as unit:
        load_pack(unit, pack("1", rule()))
        before = known_law(unit)
        with pytest.raises(RuleBroken) as refused:
            load_pack(unit, later)

        assert [(one.pointer, one.code) for one in refused.value.faults] == [(pointer, "changes-the-past")]
        assert known_law(unit) == before
        assert load_pack(unit, replace(later, correction="It was misread.")).changed != {}


def test_titles_leads_holidays_and_a_last_day_that_has_not_gone_by_are_taken_from_a_later_pack(store: Store) -> None:
    closed = WorkingDays(holidays=frozenset((date(2027, 1, 1),)))
    with store.transaction(makers.origin()) as unit:
        load_pack(unit, pack("1", rule()))
        kind = replace(KIND, title="Another title", citation="s. 3", renewal_lead=Span(10, SpanUnit.WORKING_DAYS))
        place = replace(STATE, working_days=closed)
        loaded = load_pack(unit, pack("2", rule(applies_until=makers.NOON.date()), kinds=(kind,), jurisdictions=(place, PROVINCE)))

    assert loaded.changed == {"jurisdiction": 1, "document_kind": 1, "requirement": 1}


def test_the_chain_goes_up_and_offices_rest_as_in_the_nearest_place_on_record(store: Store) -> None:
    union = replace(STATE, code="XU", level=Level.SUPRANATIONAL, working_days=WorkingDays(rest=frozenset((4,))))
    with store.transaction(makers.origin()) as unit:
        load_pack(unit, pack("1", rule(), jurisdictions=(union, replace(STATE, parent_code="XU"), PROVINCE)))
        law = law_as_of(unit)

    assert law.chain("XR-LOW") == ("XR-LOW", "XR", "XU")
    assert law.chain("XR-HIL") == ("XR-HIL", "XR", "XU")
    assert law.chain("PT") == ("PT",)
    assert law.working_days("XU").rest == {4}
    assert law.working_days("XR-HIL") == law.jurisdictions["XR"].working_days
    assert law.working_days("PT") == WorkingDays()


DAYS = [date(2020, 1, 1), date(2025, 12, 31), date(2026, 5, 31), date(2026, 6, 1), date(2027, 1, 1)]


def answers(law: Law, on: date) -> list[Any]:
    """Return what the law says of keeping some animals on a day, by code and version."""
    premises = Premises(jurisdictions=law.chain("XR-LOW"))
    found = []
    for one in (animal(of=taxon("Testudo ficta")), animal(of=taxon("Boa ficta")), animal(of=taxon("Rana ficta"))):
        said = decide(law.requirements, one, activity=Activity.HOLD, premises=premises, known=law.jurisdictions, on=on)
        found.append((said.outcome, [(each.requirement.code, each.requirement.version, each.bearing) for each in said.findings]))
    return found


def test_later_versions_change_no_answer_about_a_day_before_them(store: Store) -> None:
    first = rule("XR-1", applies_from=date(2019, 1, 1))
    second = replace(first, version="2", applies_from=date(2026, 6, 1), selector=rule("X", "Boa ficta").selector)
    with store.transaction(makers.origin()) as unit:
        load_pack(unit, pack("1", first))
        before = {on: answers(law_as_of(unit), on) for on in DAYS}
        load_pack(
            unit, pack("2", replace(first, applies_until=date(2026, 5, 31)), second, rule("XR-2", "Rana ficta", applies_from=DAYS[3]))
        )
        after = {on: answers(law_as_of(unit), on) for on in DAYS}

    assert {on: after[on] == before[on] for on in DAYS} == {on: on < date(2026, 6, 1) for on in DAYS}


def test_the_database_refuses_two_editions_on_one_day(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        load_pack(unit, pack("1", rule("XR-1", applies_until=date(2026, 5, 31)), rule("XR-1", version="2", applies_from=date(2026, 6, 1))))

    with store.snapshot(makers.origin()) as unit:
        first = unit.all(records.Requirement, REQUIREMENTS)[0]
    with pytest.raises(Conflict, match="Some of these days"), store.transaction(makers.origin()) as unit:
        unit.change(first, {"applies_until": date(2026, 6, 1)}, action="change_requirement")


def test_another_organisation_has_none_of_it(store: Store) -> None:
    makers.organisation(store, organisation_id=makers.OTHER_ORGANISATION, name="Saltings Aquarium")
    with store.transaction(makers.origin()) as unit:
        load_pack(unit, pack("1", rule()))
    with store.snapshot(makers.origin(organisation_id=makers.OTHER_ORGANISATION)) as unit:
        law = law_as_of(unit)

    assert (law.requirements, law.kinds, law.jurisdictions) == ([], {}, {})


def test_the_law_is_read_by_one_statement_for_each_kind_of_record(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        load_pack(unit, pack("1", *(rule(f"XR-{number}") for number in range(40))))
        with counted(unit) as asked:
            law = law_as_of(unit)

    assert (len(law.requirements), asked.executed) == (40, 4)
