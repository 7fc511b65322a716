"""How keeping animals stands on a day: what the law asks, what was granted, and who answers for the rest."""

from __future__ import annotations

from collections import Counter
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
    of = {"requirement_code": "XR-1", "edition": "1", "activities": frozenset((Activity.HOLD,))}
    return Override(id=UUID(int=3), from_on=DAY, expires_on=date(2026, 3, 31), **{**of, **said})


@pytest.mark.parametrize(
    ("override", "on", "standing"),
    [
        (excusing(animal_id=identified("A-0")), DAY, Standing.OVERRIDDEN),
        (excusing(site_id=SITE), date(2026, 3, 31), Standing.OVERRIDDEN),
        (excusing(animal_id=identified("A-1")), DAY, Standing.PROHIBITED),
        (excusing(site_id=UUID(int=9)), DAY, Standing.PROHIBITED),
        (excusing(site_id=SITE), date(2026, 4, 1), Standing.PROHIBITED),
        (excusing(site_id=SITE), date(2026, 2, 28), Standing.PROHIBITED),
        (excusing(site_id=SITE, requirement_code="XR-2"), DAY, Standing.PROHIBITED),
        (excusing(site_id=SITE, edition="2"), DAY, Standing.PROHIBITED),
        (excusing(site_id=SITE, activities=frozenset((Activity.SELL,))), DAY, Standing.PROHIBITED),
    ],
)
def test_an_override_lifts_its_requirement_for_its_animals_and_days_alone(override, on, standing):
    (only,) = found(requirement("XR-1", LISTED), subjects=FLOCK[:1], overrides=[override], on=on).coverages

    assert only.standing is standing
    assert [(one.requirement.code, by) for one, by in only.lifted] == ([("XR-1", override.id)] if standing is Standing.OVERRIDDEN else [])


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


BOA = taxon("Boa ficta")
MIXED = [animal("T-0"), animal("B-0", BOA), animal("T-1", number=2), animal("B-1", BOA), animal("T-2")]
KINDS = ("X", "Y", "Z")
sets_of_kinds = st.permutations(KINDS).flatmap(lambda kinds: st.integers(1, 3).map(lambda number: tuple(kinds[:number])))
asking = st.builds(
    lambda code, entry, documents: requirement(code, entry, consequence=Consequence.DOCUMENT, documents=documents),
    st.uuids().map(str),
    st.sampled_from((LISTED, listing("Boa ficta"), listing("Boa ficta", members=("Testudo ficta",)))),
    sets_of_kinds,
)
of_some_kind = st.builds(
    permit,
    st.uuids().map(str),
    kind=st.sampled_from(KINDS),
    number=st.one_of(st.none(), st.integers(0, 3)),
    animal_ids=st.one_of(st.just(set()), st.sets(st.sampled_from([one.id for one in MIXED]))).map(frozenset),
)
CROSSED = [
    requirement(f"XR-{kinds[0]}", *entries, consequence=Consequence.DOCUMENT, documents=kinds)
    for kinds, entries in ((("X",), ()), (("Y",), (listing("Boa ficta"),)), (("Z",), (LISTED,)))
]
any_law = st.one_of(st.just(CROSSED), st.lists(asking, min_size=1, max_size=4))
hindering = st.sampled_from([(), (requirement("P", listing("Boa ficta")),), (requirement("P", LISTED),)])


def stand_mixed(rules, permits):
    return found(*rules, subjects=MIXED, permits=permits, kinds=KINDS)


@given(any_law, hindering, st.lists(of_some_kind, max_size=5), of_some_kind)
def test_a_further_permit_uncovers_nobody_whichever_documents_are_needed(rules, hindered, permits, further):
    before, after = stand_mixed([*rules, *hindered], permits), stand_mixed([*rules, *hindered], [*permits, further])

    for then, now in zip(before.coverages, after.coverages, strict=True):
        assert IN_ORDER.index(now.standing) <= IN_ORDER.index(then.standing)


@given(any_law, st.lists(of_some_kind, max_size=5))
def test_an_animal_takes_one_place_of_a_permit_and_no_permit_more_than_it_has(rules, permits):
    answer = stand_mixed(rules, permits)
    taken: Counter[UUID] = Counter()
    for one in answer.coverages:
        most: Counter[UUID] = Counter()
        for share in (share for each in one.answers for share in each.shares):
            most[share.permit_id] = max(most[share.permit_id], share.number)
        taken += most

    for room in answer.head_rooms:
        assert room.left is None or room.left >= 0
        assert taken[room.permit_id] <= room.taken <= sum(one.number for one in MIXED)


@pytest.mark.parametrize("other", [("Y", "X"), ("X", "Z")])
def test_a_permit_that_meets_two_needs_of_an_animal_gives_it_one_place(other):
    rules = [
        requirement(f"XR-{place}", LISTED, consequence=Consequence.DOCUMENT, documents=kinds)
        for place, kinds in enumerate((("X", "Y"), other))
    ]

    answer = found(*rules, subjects=FLOCK, permits=[permit(kind="X", number=3)], kinds=KINDS)

    assert [one.standing for one in answer.coverages] == [Standing.COVERED] * 3
    assert [(one.taken, one.left) for one in answer.head_rooms] == [(3, 0)]


def test_who_finds_no_place_for_both_needs_at_once_takes_one_for_each():
    rules = [requirement(f"XR-{kind}", LISTED, consequence=Consequence.DOCUMENT, documents=("X", kind)) for kind in ("Y", "Z")]
    group = animal("G-1", number=3)

    answer = found(*rules, subjects=[group], permits=[permit(kind, kind=kind, number=2) for kind in KINDS], kinds=KINDS)

    (only,) = answer.coverages
    assert (only.standing, [sum(share.number for share in one.shares) for one in only.answers]) == (Standing.COVERED, [3, 3])
    assert [(one.permit_id, one.taken) for one in answer.head_rooms] == [
        (identified("X"), 2), (identified("Y"), 1), (identified("Z"), 1),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("rule", "standing"),
    [
        (requirement("XR-P", listing("Boa ficta")), Standing.PROHIBITED),
        (requirement("XR-U", listing("Boa ficta"), when=(Predicate(fact=Fact.AGE_MONTHS, relation=Relation.UNDER, number=3),)),
         Standing.CANNOT_DECIDE),
        (requirement("XR-N", listing("Boa ficta"), consequence=Consequence.DOCUMENT, documents=("Y",)), Standing.UNCOVERED),
    ],
)  # fmt: skip
def test_who_no_permit_can_help_takes_no_place_from_who_can_be_covered(rule, standing):
    asked_of_all = requirement("XR-A", consequence=Consequence.DOCUMENT, documents=("X",))

    answer = found(asked_of_all, rule, subjects=[animal("B-1", BOA), animal("T-1")], permits=[permit(kind="X", number=1)], kinds=KINDS)

    assert [one.standing for one in answer.coverages] == [standing, Standing.COVERED]


def test_of_those_with_several_needs_they_come_first_for_whom_there_is_every_document():
    one_x, z, y = permit("P-X", kind="X", number=1), permit("P-Z", kind="Z"), permit("P-Y", kind="Y")

    def standing(*permits):
        answer = found(*CROSSED, subjects=[animal("B-1", BOA), animal("T-1")], permits=permits, kinds=KINDS)
        return [one.standing for one in answer.coverages]

    assert standing(one_x, z) == [Standing.UNCOVERED, Standing.COVERED]
    assert standing(one_x, z, y) == [Standing.UNCOVERED, Standing.COVERED]
    assert standing(one_x, y, z) == [Standing.COVERED, Standing.UNCOVERED]


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
