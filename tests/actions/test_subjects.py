"""Animals as the law asks for them: since when they are kept, where they come from, whether they are marked."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest

from domain.actions.compliance import coverage_on, coverage_over
from domain.actions.groups import MergeStated, SplitStated, merge_animal, split_animal
from domain.actions.lives import withdraw_event
from domain.actions.marks import record_mark
from domain.actions.subjects import Chronicle
from domain.rules.compliance import Standing
from domain.rules.law.requirements import Entry, Exemption, Fact, Predicate, Relation, Selector
from domain.rules.lives import Origin
from domain.rules.taxonomy import TaxonRank
from tests import makers
from tests.actions.of_animals import MISTAKE, mark
from tests.counting import counted

TODAY = date(2026, 3, 1)
TORTOISES = Selector(any_of=(Entry(name="Testudo fictiva", rank=TaxonRank.SPECIES),))
KEPT_LONG = Exemption(
    code="kept-long", when=(Predicate(fact=Fact.ACQUIRED_ON, relation=Relation.BEFORE, day=date(2022, 8, 2)),)
)  # fmt: skip


@pytest.fixture
def unit(store, organisation):
    with store.transaction(makers.origin()) as opened:
        yield opened


@pytest.fixture
def keep(unit):
    """Return what registers tortoises, at a site where only those may be kept that came before August 2022."""
    hall = makers.enclosure(unit, makers.site(unit, jurisdiction="XR"))
    tortoise = makers.taxon(unit)
    makers.requirement(unit, selector=TORTOISES, exemptions=(KEPT_LONG,))

    def made(tag="T-1", **stated):
        return makers.animal(unit, tortoise, **{"tag": tag, "acquired_on": "2015-01-01", "enclosure_id": str(hall.id), **stated})

    return made


@pytest.fixture
def flock(keep):
    """Return a group that came in 2015."""
    return keep("G-1", grouping="group", count=2, origin="captive_bred")


def joins(unit, animal, group, on, **stated: Any):
    merge_animal(unit, animal.id, makers._stated(MergeStated, {"happened_on": on, "into_id": str(group.id)}, stated))


def taken_out(unit, group, on, tag="S-1", **stated: Any):
    return split_animal(unit, group.id, makers._stated(SplitStated, {"happened_on": on, "tag": tag}, stated))


def stand(unit, on=TODAY):
    return {one.subject.tag: one.standing for one in coverage_on(unit, on=on).coverages}


def subject(unit, animal, on=TODAY):
    found = Chronicle(unit, from_on=on, until_on=on).of(animal.id, on=on)
    assert found is not None
    return found


def acquired(unit, animal, on=TODAY):
    found = subject(unit, animal, on)
    return found.acquired_from, found.acquired_until


@pytest.mark.parametrize(
    ("basis", "since", "standing"),
    [
        ("purchase", date(2025, 6, 1), Standing.PROHIBITED),
        (None, date(2025, 6, 1), Standing.PROHIBITED),
        ("loan_return", date(2015, 1, 1), Standing.NOTHING_NEEDED),
    ],
)
def test_what_comes_back_is_acquired_anew_unless_it_was_on_loan(unit, keep, basis, since, standing):
    animal = keep()
    makers.event(unit, animal, "departed", "2020-01-01", basis="sale")
    makers.event(unit, animal, "returned", "2025-06-01", **({} if basis is None else {"basis": basis}))
    makers.move(unit, animal, makers.enclosure(unit, makers.site(unit, name="Reed", jurisdiction="XR"), name="B"), "2025-06-01")

    assert acquired(unit, animal) == (since, since)
    assert stand(unit) == {"T-1": standing}
    assert stand(unit, on=date(2019, 12, 31)) == {"T-1": Standing.NOTHING_NEEDED}


def test_a_group_of_which_some_came_too_late_cannot_be_decided_from_that_day_on(unit, flock):
    makers.event(unit, flock, "acquired", "2025-06-01", number=10)

    (only,) = coverage_over(unit, from_on=date(2025, 1, 1), until_on=TODAY)

    assert [(one.from_on, one.standing) for one in only.stretches] == [
        (date(2025, 1, 1), Standing.NOTHING_NEEDED),
        (date(2025, 6, 1), Standing.CANNOT_DECIDE),
    ]
    (found,) = coverage_on(unit, on=TODAY).coverages
    assert found.decision.missing == {"acquired_on"}
    assert found.decision.findings[0].used["acquired_on"] == "2015-01-01 to 2025-06-01"


def test_an_animal_that_came_too_late_stays_in_doubt_whatever_it_joins_and_is_taken_out_of(unit, keep, flock):
    newcomer = keep("T-9", acquired_on="2025-06-01")
    before = stand(unit)

    joins(unit, newcomer, flock, "2026-02-01")
    taken_out(unit, flock, "2026-02-10")

    assert before == {"G-1": Standing.NOTHING_NEEDED, "T-9": Standing.PROHIBITED}
    assert stand(unit) == {"G-1": Standing.CANNOT_DECIDE, "S-1": Standing.CANNOT_DECIDE}
    assert stand(unit, on=date(2026, 1, 31)) == before


def test_an_animal_taken_out_of_a_group_is_kept_as_long_as_the_group(unit, flock):
    single = taken_out(unit, flock, "2026-02-10")

    assert acquired(unit, single) == (date(2015, 1, 1), date(2015, 1, 1))
    assert stand(unit) == {"G-1": Standing.NOTHING_NEEDED, "S-1": Standing.NOTHING_NEEDED}


def test_what_hatched_here_was_acquired_between_its_clutch_and_its_hatching(unit, keep):
    clutch = keep("E-1", grouping="group", count=4, life_stage="egg", came_by="laid", acquired_on="2026-01-05")
    young = taken_out(unit, clutch, "2026-02-20", hatched=True, life_stage="neonate")

    assert acquired(unit, young) == (date(2026, 1, 5), date(2026, 2, 20))
    assert subject(unit, young).born_from == date(2026, 2, 20)


def test_a_wild_animal_that_joins_a_bred_group_leaves_the_origin_of_all_unknown(unit, keep, flock):
    makers.requirement(unit, "W-1", selector=Selector(any_of=TORTOISES.any_of, origins=frozenset((Origin.WILD,))))
    joins(unit, keep("W-1", origin="wild"), flock, "2026-02-01")
    single = taken_out(unit, flock, "2026-02-10")

    assert {subject(unit, one).origin for one in (flock, single)} == {Origin.UNKNOWN}
    assert subject(unit, flock, date(2026, 1, 31)).origin is Origin.CAPTIVE_BRED
    assert stand(unit) == {"G-1": Standing.CANNOT_DECIDE, "S-1": Standing.CANNOT_DECIDE}


def test_a_coming_that_was_entered_wrongly_is_forgotten(unit, flock):
    wrong = makers.event(unit, flock, "acquired", "2025-06-01", number=10)
    withdraw_event(unit, wrong.event.id, MISTAKE, owner_id=flock.id)

    assert acquired(unit, flock) == (date(2015, 1, 1), date(2015, 1, 1))


def marked(unit, animal, on=TODAY, **stated):
    record_mark(unit, animal.id, mark(**{"from_on": "2025-07-01", **stated}))
    return subject(unit, animal, on).is_marked


@pytest.mark.parametrize(
    ("stated", "is_marked"),
    [
        ({}, True),
        ({"code": "620000000000001"}, True),
        ({"code": "999000000000001"}, False),
        ({"code": "005000000000001"}, False),
        ({"kind": "band", "code": "999000000000001"}, True),
        ({"kind": "photograph", "code": None, "reading": None, "view": "plastron"}, False),
    ],
    ids=["manufacturer", "country", "test", "nobody", "band", "photograph"],
)
def test_a_transponder_that_no_law_takes_for_one_marks_nothing(unit, keep, stated, is_marked):
    assert marked(unit, keep(), **stated) is is_marked


def test_a_group_is_never_known_to_be_marked(unit, flock):
    unmarked = subject(unit, flock).is_marked

    assert (unmarked, marked(unit, flock, kind="band", code="B1", reading=None)) == (False, None)
    assert subject(unit, flock, date(2025, 6, 30)).is_marked is False


def test_the_animals_are_read_by_as_many_statements_however_many_they_are(unit, keep, flock):
    def statements():
        with counted(unit) as asked:
            Chronicle(unit, from_on=TODAY - timedelta(days=30), until_on=TODAY)
        return asked.executed

    taken_out(unit, flock, "2026-02-10")
    few = statements()
    for number in range(8):
        joins(unit, keep(f"J-{number}"), flock, "2026-02-11")
        taken_out(unit, flock, "2026-02-12", f"O-{number}")

    assert statements() == few
