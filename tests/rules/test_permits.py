"""Permits: until when they are good, what they cover, and whom."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from itertools import product
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from domain.rules.law.facts import key_of
from domain.rules.law.requirements import Activity, Occasion
from domain.rules.law.spans import Span, Unit, WorkingDays
from domain.rules.lives import LifeStage, Sex
from domain.rules.permits import (
    End,
    EndReason,
    Limit,
    Need,
    PermitStanding,
    Share,
    Start,
    assign,
    covers,
    end_of,
    head_room,
    is_valid,
    renew_by,
    standing_of,
    valid_until,
)
from tests.rules.law.stating import DAY, SITE, animal, identified, kind, permit, premises, taxon

SLIDER, BOA = taxon("Trachemys ficta", family="Emydidae"), taxon("Boa ficta")
KINDS = {"keeping": kind()}


def need(tag="A-1", of=SLIDER, kinds=("keeping",), activity=Activity.HOLD, **known):
    return Need(subject=animal(tag, of, **known), activity=activity, kinds=kinds, premises=premises())


def named(*names):
    return frozenset(map(key_of, names))


def assigned(needs, permits, kinds=KINDS, on=DAY):
    return assign(needs, permits, kinds, on=on)


MONTHS_24, DAYS_30 = Span(24, Unit.MONTHS), Span(30, Unit.DAYS)


@pytest.mark.parametrize(
    ("of", "said", "last"),
    [
        ({}, {}, None),
        ({}, {"last_day": date(2026, 5, 1)}, date(2026, 5, 1)),
        ({"lasts": MONTHS_24}, {"issued_on": date(2024, 2, 29)}, date(2026, 2, 28)),
        ({"lasts": MONTHS_24}, {"issued_on": date(2024, 2, 29), "last_day": date(2025, 1, 1)}, date(2025, 1, 1)),
        (
            {"lasts": DAYS_30, "starts": Start.INSPECTION},
            {"issued_on": date(2026, 1, 25), "inspected_on": date(2026, 1, 20)},
            date(2026, 2, 19),
        ),
        ({"lasts": DAYS_30, "starts": Start.INSPECTION}, {}, date.min),
        ({}, {"withdrawn_on": DAY}, date(2026, 2, 28)),
        ({"ends_with": frozenset((Occasion.OWNER_CHANGE,))}, {"events": ((Occasion.OWNER_CHANGE, DAY),)}, date(2026, 2, 28)),
        ({"ends_with": frozenset((Occasion.OWNER_CHANGE,))}, {"events": ((Occasion.ADDRESS_CHANGE, DAY),)}, None),
        ({"for_one_consignment": True}, {"used_on": DAY}, DAY),
        ({}, {"used_on": DAY}, None),
    ],
)
def test_a_permit_is_good_through_the_earliest_of_its_ends(of, said, last):
    assert valid_until(permit(**said), kind(**of)) == last


@pytest.mark.parametrize(
    ("of", "said", "end"),
    [
        ({}, {}, None),
        ({}, {"last_day": DAY}, End(DAY, EndReason.OWN_LAST_DAY)),
        ({"lasts": DAYS_30}, {"issued_on": date(2026, 1, 1), "last_day": DAY}, End(date(2026, 1, 31), EndReason.SPAN)),
        ({"lasts": DAYS_30, "starts": Start.INSPECTION}, {"last_day": DAY}, End(date.min, EndReason.NOT_INSPECTED)),
        ({}, {"last_day": DAY, "withdrawn_on": DAY}, End(date(2026, 2, 28), EndReason.WITHDRAWN)),
        (
            {"ends_with": frozenset((Occasion.DEATH,))},
            {"events": ((Occasion.DEATH, DAY),)},
            End(date(2026, 2, 28), EndReason.EVENT, Occasion.DEATH),
        ),
        ({"for_one_consignment": True}, {"last_day": date(2026, 4, 1), "used_on": DAY}, End(DAY, EndReason.USED)),
    ],
)
def test_what_ends_a_permit_first_is_told_with_its_reason(of, said, end):
    assert end_of(permit(**said), kind(**of)) == end


@pytest.mark.parametrize(
    ("on", "standing"),
    [
        (date(2025, 12, 31), PermitStanding.NOT_YET),
        (date(2026, 1, 1), PermitStanding.GOOD),
        (date(2026, 1, 29), PermitStanding.GOOD),
        (date(2026, 1, 30), PermitStanding.ENDING),
        (date(2026, 3, 31), PermitStanding.ENDING),
        (date(2026, 4, 1), PermitStanding.ENDED),
    ],
)
def test_a_permit_ends_soon_from_sixty_days_before_its_last(on, standing):
    one = permit(valid_from=date(2026, 1, 1), last_day=date(2026, 3, 31))

    assert standing_of(one, kind(), on=on) is standing
    assert standing_of(one, None, on=on) is PermitStanding.KIND_UNKNOWN


def test_the_first_and_the_last_day_count_and_no_other():
    one = permit(valid_from=DAY, last_day=date(2026, 3, 5))

    days = [DAY + timedelta(days=number) for number in (-1, 0, 4, 5)]

    assert [is_valid(one, kind(), on=day) for day in days] == [False, True, True, False]


def test_a_renewal_is_applied_for_before_its_lead_in_working_days():
    one = permit(last_day=date(2026, 4, 7))
    easter = WorkingDays(holidays=frozenset((date(2026, 4, 3), date(2026, 4, 6))))

    assert renew_by(one, kind(renewal_lead=Span(1, Unit.WORKING_DAYS)), working=easter) == date(2026, 4, 2)
    assert renew_by(permit(last_day=date(2032, 5, 10)), kind(renewal_lead=Span(6, Unit.MONTHS))) == date(2031, 11, 10)
    assert renew_by(one, kind()) is None
    assert renew_by(permit(), kind(renewal_lead=Span(1, Unit.MONTHS))) is None
    assert renew_by(one, kind(renewal_lead=Span(1, Unit.MONTHS), for_one_consignment=True)) is None


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        ({}, True),
        ({"taxa": named("Trachemys  FICTA")}, True),
        ({"taxa": named("Emydidae")}, True),
        ({"taxa": named("Boa ficta")}, False),
        ({"limits": (Limit(named("Boa ficta"), 3),)}, False),
        ({"limits": (Limit(named("Boa ficta"), 3),), "taxa": named("Emydidae")}, True),
        ({"site_ids": frozenset((SITE,))}, True),
        ({"site_ids": frozenset((UUID(int=9),))}, False),
        ({"animal_ids": frozenset((identified("A-1"),))}, True),
        ({"animal_ids": frozenset((identified("A-2"),))}, False),
        ({"activities": frozenset((Activity.HOLD,))}, True),
        ({"activities": frozenset((Activity.SELL,))}, False),
    ],
)
def test_a_scope_takes_what_it_names_and_an_empty_one_everything(said, expected):
    assert covers(permit(**said), animal("A-1", SLIDER), activity=Activity.HOLD, premises=premises()) is expected


def test_a_permit_for_twelve_covers_eleven_adults_and_a_gravid_female_and_leaves_no_room_for_her_young():
    twelve = permit(number=12, taxa=named("Trachemys ficta"))
    adults = [need(f"A-{one}") for one in range(11)]
    gravid = need("F-1", sex=Sex.FEMALE)
    brood = need("F-2", number=6, life_stage=LifeStage.NEONATE)

    now = assigned([*adults, gravid], [twelve])
    then = assigned([*adults, gravid, brood], [twelve])

    assert (now.uncovered, now.taken, head_room(twelve, now.taken[twelve.id])) == ({}, {twelve.id: 12}, 0)
    assert then.uncovered == {12: 6}


def test_eggs_that_a_kind_does_not_count_are_covered_beside_its_number():
    eggs = need("E-1", number=30, life_stage=LifeStage.EGG)
    counted = {"keeping": kind(counted_stages=frozenset((LifeStage.ADULT,)))}
    two = permit(number=2)

    found = assigned([need("A-1", life_stage=LifeStage.ADULT), need("A-2"), eggs], [two], counted)

    assert (found.uncovered, found.taken) == ({}, {two.id: 2})
    assert found.shares[2] == (Share(two.id, 30),)
    assert assigned([eggs], [two]).uncovered == {0: 28}


def test_the_narrow_permit_is_taken_first_and_the_wide_one_kept_for_others():
    own, wide = permit("P-1", animal_ids=frozenset((identified("A-1"),)), number=1), permit("P-0", number=1)

    found = assigned([need("A-1"), need("A-2", BOA)], [wide, own])

    assert (found.uncovered, found.shares) == ({}, {0: (Share(own.id, 1),), 1: (Share(wide.id, 1),)})


def test_an_earlier_animal_changes_its_permit_to_leave_room_for_another():
    of_boas, of_all = permit("P-1", taxa=named("Boa ficta"), number=1), permit("P-2", taxa=named("Boa ficta", "Emydidae"), number=1)

    found = assigned([need("A-1", BOA), need("A-2", SLIDER), need("A-3", BOA)], [of_all, of_boas])

    assert found.uncovered == {2: 1}
    assert (found.shares[0][0].permit_id, found.shares[1][0].permit_id) == (of_boas.id, of_all.id)


def test_a_group_may_be_covered_by_several_permits_and_in_part():
    five, four = permit("P-1", number=5), permit("P-2", number=4)

    found = assigned([need("G-1", number=10)], [five, four])

    assert (found.shares[0], found.uncovered) == ((Share(five.id, 5), Share(four.id, 4)), {0: 1})


def test_limits_by_taxon_and_the_number_of_all_bind_together():
    one = permit(number=3, limits=(Limit(named("Trachemys ficta"), 2), Limit(named("Boa ficta"), 2)))

    found = assigned([need("G-1", SLIDER, number=5), need("G-2", BOA, number=5)], [one])

    assert (found.uncovered, found.taken, head_room(one, 3)) == ({0: 3, 1: 4}, {one.id: 3}, 0)
    assert head_room(replace(one, number=None), 3) == 1
    assert head_room(permit(), 3) is None
    assert head_room(replace(one, number=None, taxa=named("Emys ficta")), 3) is None
    assert head_room(replace(one, taxa=named("Emys ficta")), 2) == 1


def test_permits_of_another_kind_or_out_of_date_cover_nobody():
    others = [permit("P-1", kind="selling"), permit("P-2", last_day=date(2026, 2, 28)), permit("P-3", valid_from=date(2026, 3, 2))]

    assert assigned([need()], others, {**KINDS, "selling": kind("selling")}).uncovered == {0: 1}


FLOCK = [need(f"A-{place}", of, number=number) for place, (of, number) in enumerate(product((SLIDER, BOA, taxon("Python ficta")), (1, 2)))]
TAXA = st.sets(st.sampled_from(["Trachemys ficta", "Boa ficta", "Python ficta", "Emydidae"])).map(lambda names: named(*names))
granted = st.builds(
    permit,
    st.uuids().map(str),
    taxa=TAXA,
    number=st.one_of(st.none(), st.integers(0, 4)),
    limits=st.lists(st.builds(Limit, TAXA.filter(bool), st.integers(0, 3)), max_size=2).map(tuple),
    animal_ids=st.sets(st.sampled_from([one.subject.id for one in FLOCK]), max_size=2).map(frozenset),
)


@given(st.permutations(FLOCK), st.lists(granted, max_size=5), granted)
def test_a_further_permit_never_uncovers_an_animal(needs, permits, further):
    before, after = assigned(needs, permits), assigned(needs, [*permits, further])

    assert all(after.uncovered.get(place, 0) <= before.uncovered.get(place, 0) for place in range(len(needs)))


@given(st.permutations(FLOCK), st.lists(granted, max_size=5))
def test_no_permit_covers_more_than_it_is_for_and_every_animal_is_covered_or_not(needs, permits):
    found = assigned(needs, permits)
    by_id = {one.id: one for one in permits}

    for place, one in enumerate(needs):
        assert sum(share.number for share in found.shares[place]) + found.uncovered.get(place, 0) == one.subject.number
        assert all(
            covers(by_id[share.permit_id], one.subject, activity=one.activity, premises=one.premises) for share in found.shares[place]
        )
    for one in permits:
        assert found.taken.get(one.id, 0) == sum(
            share.number for shares in found.shares.values() for share in shares if share.permit_id == one.id
        )
        assert one.number is None or found.taken.get(one.id, 0) <= one.number


@given(st.permutations(FLOCK), st.lists(granted, max_size=4))
def test_the_fewest_are_left_whatever_the_order(needs, permits):
    assert sum(assigned(needs, permits).uncovered.values()) == sum(assigned(FLOCK, permits).uncovered.values())
