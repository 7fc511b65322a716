"""How keeping animals stands on a day: what the law asks, what was granted, and who answers for the rest."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from domain.rules.compliance import Coverage, LawInForce, Override, Standing, Stretch, joined, least, standings
from domain.rules.law.decision import Bearing
from domain.rules.law.requirements import Activity, Consequence, Exemption, Fact, Predicate, Relation
from domain.rules.lives import LifeStage
from domain.rules.permits import Share
from domain.rules.taxonomy import TaxonRank
from tests.rules.law.stating import DAY, ON_RECORD, SITE, animal, identified, kind, listing, permit, premises, requirement, taxon

LISTED = listing("Testudo ficta")
TO_KEEP = requirement("XR-1", LISTED, consequence=Consequence.DOCUMENT, documents=("keeping",))
OTHER = requirement("XR-0", listing("Boa ficta"))
FLOCK = [animal(f"A-{number}") for number in range(3)]


def found(*requirements, subjects=FLOCK, permits=(), overrides=(), on=DAY, at=None, kinds=("keeping",)):
    law = LawInForce(
        jurisdictions=ON_RECORD, requirements=requirements, kinds={one: kind(one) for one in kinds}, permits=permits, overrides=overrides
    )
    return standings(law, subjects, activity=Activity.HOLD, premises={SITE: at or premises()}, on=on)


def stand(*args, **rest):
    return [one.standing for one in found(*args, **rest).coverages]


def test_each_animal_is_covered_by_a_permit_that_is_named_with_its_last_day():
    two = permit(number=2, last_day=date(2026, 5, 1))

    answer = found(TO_KEEP, permits=[two])

    assert [one.standing for one in answer.coverages] == [Standing.COVERED, Standing.COVERED, Standing.UNCOVERED]
    assert answer.coverages[0].answers[0].shares == (Share(two.id, 1),)
    assert answer.coverages[0].answers[0].lapses_on == date(2026, 5, 1)
    assert [one.uncovered for one in answer.coverages] == [0, 0, 1]
    assert [(room.permit_id, room.taken, room.left) for room in answer.head_rooms] == [(two.id, 2, 0)]


def test_a_permit_that_covers_nobody_shows_all_its_room_and_one_that_is_over_none():
    rooms = found(OTHER, permits=[permit("P-1", number=3), permit("P-2", last_day=date(2026, 2, 28)), permit("P-3")]).head_rooms

    assert [(one.permit_id, one.taken, one.left) for one in rooms] == [(identified("P-1"), 0, 3), (identified("P-3"), 0, None)]


@pytest.mark.parametrize(
    ("rule", "standing"),
    [
        (OTHER, Standing.NOTHING_NEEDED),
        (TO_KEEP, Standing.UNCOVERED),
        (requirement("XR-1", LISTED), Standing.PROHIBITED),
        (requirement("XR-1", listing("Crocodilia", rank=TaxonRank.ORDER)), Standing.CANNOT_DECIDE),
        (requirement("XR-1", LISTED, consequence=Consequence.MARK), Standing.UNCOVERED),
    ],
)
def test_an_animal_stands_as_the_strictest_says(rule, standing):
    assert stand(rule, subjects=FLOCK[:1]) == [standing]


def test_a_mark_that_is_missing_is_told_from_a_paper_that_is():
    rule = requirement("XR-1", LISTED, consequence=Consequence.MARK)

    unmarked, marked = found(rule, subjects=[animal("A-1"), animal("A-2", is_marked=True)]).coverages

    assert (unmarked.needs_mark, unmarked.standing, marked.standing) == (True, Standing.UNCOVERED, Standing.NOTHING_NEEDED)


def test_animals_of_no_known_place_cannot_be_decided():
    (only,) = found(TO_KEEP, subjects=[animal(site_id=None)]).coverages

    assert (only.standing, only.decision.missing) == (Standing.CANNOT_DECIDE, {"jurisdiction"})


def test_who_needs_one_of_few_kinds_needs_no_second_place_for_one_of_more():
    wider = requirement("XR-2", LISTED, consequence=Consequence.DOCUMENT, documents=("keeping", "display"))

    answer = found(TO_KEEP, wider, subjects=FLOCK[:2], permits=[permit(number=2)], kinds=("keeping", "display"))

    assert [one.standing for one in answer.coverages] == [Standing.COVERED, Standing.COVERED]
    assert least((("a", "b"), ("a",), ("c",), ("a", "b"))) == (("a",), ("c",))


def test_a_permit_lifts_a_prohibition_that_exempts_those_who_have_it():
    rule = requirement("XR-1", LISTED, exemptions=(Exemption(code="a", document="keeping"),))

    assert stand(rule, subjects=FLOCK[:1]) == [Standing.UNCOVERED]
    assert stand(rule, subjects=FLOCK[:1], permits=[permit()]) == [Standing.COVERED]


def test_more_than_so_many_at_the_premises_are_told_from_fewer():
    many = requirement("XR-1", LISTED, when=(Predicate(fact=Fact.NUMBER, relation=Relation.OVER, number=3),))
    group = animal("G-1", number=2)

    assert stand(many) == [Standing.NOTHING_NEEDED] * 3
    assert stand(many, subjects=[*FLOCK, group]) == [Standing.PROHIBITED] * 4
    assert stand(many, subjects=[*FLOCK, animal("U-1", taxon("Testudo", rank=TaxonRank.GENUS))]) == [Standing.CANNOT_DECIDE] * 4


def excusing(**said):
    return Override(id=UUID(int=3), requirement_code="XR-1", from_on=DAY, expires_on=date(2026, 3, 31), **said)


@pytest.mark.parametrize(
    ("override", "on", "standing"),
    [
        (excusing(animal_id=identified("A-0")), DAY, Standing.NOTHING_NEEDED),
        (excusing(site_id=SITE), date(2026, 3, 31), Standing.NOTHING_NEEDED),
        (excusing(animal_id=identified("A-1")), DAY, Standing.PROHIBITED),
        (excusing(site_id=UUID(int=9)), DAY, Standing.PROHIBITED),
        (excusing(site_id=SITE), date(2026, 4, 1), Standing.PROHIBITED),
        (excusing(site_id=SITE), date(2026, 2, 28), Standing.PROHIBITED),
        (replace(excusing(site_id=SITE), requirement_code="XR-2"), DAY, Standing.PROHIBITED),
    ],
)
def test_an_override_lifts_its_requirement_for_its_animals_and_days_alone(override, on, standing):
    (only,) = found(requirement("XR-1", LISTED), subjects=FLOCK[:1], overrides=[override], on=on).coverages

    assert only.standing is standing
    assert [(one.requirement.code, by) for one, by in only.lifted] == (
        [("XR-1", override.id)] if standing is Standing.NOTHING_NEEDED else []
    )


def test_an_override_makes_nothing_known_that_is_not():
    (only,) = found(
        requirement("XR-1", LISTED), subjects=FLOCK[:1], overrides=[excusing(site_id=SITE)], at=premises("XR-HIL", "XR")
    ).coverages

    assert (only.standing, only.decision.missing) == (Standing.CANNOT_DECIDE, {"jurisdiction_XR-HIL"})


def test_what_hinders_nothing_is_not_lifted():
    duty = requirement("XR-1", LISTED, consequence=Consequence.RECORD)

    (only,) = found(duty, subjects=FLOCK[:1], overrides=[excusing(site_id=SITE)]).coverages

    assert (only.lifted, only.decision.findings[0].bearing) == ((), Bearing.OBLIGES)


granted = st.builds(
    permit,
    st.uuids().map(str),
    number=st.one_of(st.none(), st.integers(0, 3)),
    animal_ids=st.sets(st.sampled_from([one.id for one in FLOCK]), max_size=2).map(frozenset),
)
asked = st.lists(
    st.sampled_from(
        (TO_KEEP, OTHER, requirement("XR-3", LISTED, exemptions=(Exemption(code="a", document="keeping"),)), requirement("XR-4", LISTED))
    ),
    min_size=1,
    max_size=4,
)
IN_ORDER = list(Standing)


@given(asked, st.lists(granted, max_size=4), granted)
def test_a_further_permit_makes_no_animal_stand_worse(rules, permits, further):
    before, after = stand(*rules, permits=permits), stand(*rules, permits=[*permits, further])

    assert all(IN_ORDER.index(now) <= IN_ORDER.index(then) for now, then in zip(after, before, strict=True))


@given(asked, st.lists(granted, max_size=3), st.sampled_from((requirement("XR-9", LISTED), requirement("XR-9", jurisdiction="XR-LOW"))))
def test_a_further_prohibition_makes_no_animal_stand_better(rules, permits, prohibition):
    before, after = stand(*rules, permits=permits), stand(*rules, prohibition, permits=permits)

    assert all(IN_ORDER.index(now) >= IN_ORDER.index(then) for now, then in zip(after, before, strict=True))


def test_stretches_that_touch_and_stand_alike_are_one():
    days = [date(2026, 3, day) for day in range(1, 6)]
    said = [Standing.COVERED, Standing.COVERED, Standing.UNCOVERED, Standing.COVERED, Standing.COVERED]

    found = joined(Stretch(day, day, standing) for day, standing in reversed(list(zip(days, said, strict=True))))

    assert [(one.from_on.day, one.until_on.day, one.days) for one in found] == [(1, 2, 2), (3, 3, 1), (4, 5, 2)]
    assert joined([Stretch(days[0], days[0], Standing.COVERED), Stretch(days[2], days[2], Standing.COVERED)])[0].days == 1


def test_eggs_of_a_listed_animal_stand_for_themselves():
    eggs = animal("E-1", number=12, life_stage=LifeStage.EGG)
    law = LawInForce(
        jurisdictions=ON_RECORD,
        requirements=[TO_KEEP],
        kinds={"keeping": kind(counted_stages=frozenset((LifeStage.ADULT,)))},
        permits=[permit(number=1)],
    )

    both = standings(law, [animal(), eggs], activity=Activity.HOLD, premises={SITE: premises()}, on=DAY).coverages

    assert [isinstance(one, Coverage) and one.standing for one in both] == [Standing.COVERED, Standing.COVERED]
