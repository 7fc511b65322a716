"""Since when animals are kept, where they come from and when they were born, through all that happened to them."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from domain.rules.law.provenance import Change, Provenance, provenances
from domain.rules.lives import EventKind, Origin

GROUP, OTHER, SINGLE, CHILD = (UUID(int=number) for number in range(1, 5))
EARLY, LATE, LATER = date(2015, 1, 1), date(2025, 6, 1), date(2026, 2, 1)


def whence(first, last=None, **said):
    return Provenance(acquired_from=first, acquired_until=last or first, **{"origin": Origin.CAPTIVE_BRED, **said})


OWN = {GROUP: whence(EARLY), OTHER: whence(LATE), SINGLE: whence(LATE), CHILD: whence(LATER)}


def change(animal_id, on, kind, number, other_id=None, **said):
    return Change(animal_id=animal_id, on=on, kind=EventKind(kind), change=number, other_id=other_id, **said)


CAME = change(GROUP, EARLY, "acquired", 10)


def known(*changes, own=OWN, of=GROUP, on=date(2026, 3, 1)):
    """Return what is known of a record's animals on a day."""
    found = [one for day, one in provenances(own, changes).get(of, ()) if day <= on]
    return found[-1] if found else own[of]


def days(*changes, **asked):
    found = known(*changes, **asked)
    return found.acquired_from, found.acquired_until


def test_what_came_and_stayed_is_as_its_record_says():
    assert known(CAME) == known(of=SINGLE, own={**OWN, SINGLE: OWN[GROUP]}) == OWN[GROUP]


def test_a_group_to_which_others_came_was_acquired_between_the_first_and_the_last_from_that_day_on():
    more = change(GROUP, LATE, "acquired", 2)

    assert days(CAME, more) == (EARLY, LATE)
    assert days(CAME, more, on=date(2025, 5, 31)) == (EARLY, EARLY)


@pytest.mark.parametrize("kind", ["counted", "estimated"])
def test_what_a_count_finds_besides_came_by_its_day_and_what_it_misses_changes_nothing(kind):
    assert days(CAME, change(GROUP, LATE, kind, 2)) == (EARLY, LATE)
    assert days(CAME, change(GROUP, LATE, kind, -2)) == (EARLY, EARLY)


def test_what_was_sold_and_bought_back_is_acquired_anew_and_what_was_on_loan_is_not():
    sold, back = change(SINGLE, LATE, "departed", -1), change(SINGLE, LATER, "returned", 1)

    assert days(sold, back, of=SINGLE) == (LATER, LATER)
    assert days(sold, back, of=SINGLE, on=LATE) == (LATE, LATE)
    assert days(sold, replace(back, ends_loan=True), of=SINGLE) == (LATE, LATE)


def test_of_a_group_some_of_which_came_back_any_may_be_one_of_these():
    some = change(GROUP, date(2020, 1, 1), "departed", -4)
    all_ = change(GROUP, date(2020, 1, 1), "departed", -10)

    assert days(CAME, some, change(GROUP, LATE, "returned", 4)) == (EARLY, LATE)
    assert days(CAME, all_, change(GROUP, LATE, "returned", 4)) == (LATE, LATE)
    assert days(CAME, all_, change(GROUP, LATE, "returned", 4), change(GROUP, LATER, "returned", 4, ends_loan=True)) == (EARLY, LATE)


def test_what_comes_back_from_a_loan_is_what_all_that_have_departed_were():
    joined, all_ = change(GROUP, LATE, "joined_by", 1, SINGLE), change(GROUP, date(2025, 7, 1), "departed", -11)
    some_bought, lent = change(GROUP, date(2025, 8, 1), "returned", 5), change(GROUP, date(2025, 9, 1), "departed", -5)

    assert days(CAME, joined, all_, change(GROUP, LATER, "returned", 11, ends_loan=True)) == (EARLY, LATE)
    assert days(CAME, joined, all_, some_bought, lent, change(GROUP, LATER, "returned", 5, ends_loan=True)) == (EARLY, date(2025, 8, 1))


def test_more_of_an_origin_that_are_acquired_leave_the_origin_known():
    own = {GROUP: replace(OWN[GROUP], origin=Origin.WILD)}

    assert known(CAME, change(GROUP, LATE, "acquired", 2), own=own).origin is Origin.WILD


def test_animals_that_join_a_group_bring_along_since_when_they_are_kept():
    joined = change(GROUP, LATER, "joined_by", 1, SINGLE)

    assert days(CAME, change(SINGLE, LATER, "joined", -1, GROUP), joined) == (EARLY, LATE)


def test_an_animal_taken_out_of_a_group_may_be_any_of_it_as_it_was_then():
    split = (change(GROUP, LATER, "split_off", -1, CHILD), change(CHILD, LATER, "split_from", 1, GROUP))

    assert days(CAME, *split, of=CHILD) == (EARLY, EARLY)
    assert days(CAME, change(GROUP, LATE, "acquired", 2), *split, of=CHILD) == (EARLY, LATE)
    assert days(CAME, change(GROUP, LATER, "acquired", 2), *split, of=CHILD) == (EARLY, LATER)
    assert days(CAME, *split, change(GROUP, date(2026, 2, 2), "acquired", 2), of=CHILD) == (EARLY, EARLY)


def test_what_joined_and_was_taken_out_on_one_day_goes_in_the_order_in_which_it_was_told():
    joined = change(GROUP, LATER, "joined_by", 1, SINGLE)
    split = change(CHILD, LATER, "split_from", 1, GROUP)

    assert days(CAME, joined, split, of=CHILD) == (EARLY, LATE)
    assert days(CAME, split, joined, of=CHILD) == (EARLY, EARLY)


def test_what_hatched_was_acquired_between_its_clutch_and_its_hatching():
    assert days(CAME, change(CHILD, LATER, "hatched", 1, GROUP), of=CHILD) == (EARLY, LATER)


def test_a_group_of_several_origins_is_of_none_that_is_known_and_so_is_what_is_taken_out_of_it():
    own = {**OWN, SINGLE: replace(OWN[SINGLE], origin=Origin.WILD)}
    mixed = (CAME, change(GROUP, LATE, "joined_by", 1, SINGLE))
    split = change(CHILD, LATER, "split_from", 1, GROUP)

    assert known(*mixed, own=own, on=date(2025, 5, 31)).origin is Origin.CAPTIVE_BRED
    assert known(*mixed, own=own).origin is Origin.UNKNOWN
    assert known(*mixed, split, own=own, of=CHILD).origin is Origin.UNKNOWN
    assert known(*mixed, split, own={**own, CHILD: replace(own[CHILD], origin=Origin.WILD)}, of=CHILD).origin is Origin.WILD


@pytest.mark.parametrize(
    ("origin", "found"), [(Origin.CAPTIVE_BRED, Origin.CAPTIVE_BRED), (Origin.WILD, Origin.UNKNOWN), (Origin.FARMED, Origin.UNKNOWN)]
)
def test_young_born_into_a_group_are_of_its_origin_only_where_it_is_bred_in_captivity(origin, found):
    own = {GROUP: replace(OWN[GROUP], origin=origin)}

    assert known(CAME, own=own).origin is origin
    assert known(CAME, change(GROUP, LATE, "born", 3), own=own).origin is found


def test_a_group_is_as_old_as_its_oldest_and_as_young_as_its_youngest_as_far_as_all_are_known():
    old, young = {"born_from": EARLY, "born_until": date(2015, 12, 31)}, {"born_from": LATE, "born_until": LATE}
    own = {**OWN, GROUP: replace(OWN[GROUP], **old), SINGLE: replace(OWN[SINGLE], **young), CHILD: replace(OWN[CHILD], **old)}
    joined = change(GROUP, LATER, "joined_by", 1, SINGLE)

    def born(*changes, **asked):
        found = known(CAME, *changes, **{"own": own, **asked})
        return found.born_from, found.born_until

    assert born() == (EARLY, date(2015, 12, 31))
    assert born(joined) == (EARLY, LATE)
    assert born(joined, change(CHILD, LATER, "split_from", 1, GROUP), of=CHILD) == (EARLY, LATE)
    assert born(change(CHILD, LATER, "hatched", 1, GROUP), of=CHILD, own={**own, CHILD: replace(OWN[CHILD], **young)}) == (LATE, LATE)
    assert born(change(GROUP, LATER, "born", 2)) == (EARLY, LATER)
    assert born(change(GROUP, LATER, "joined_by", 1, OTHER)) == (None, None)
    assert born(change(GROUP, LATER, "laid", 2)) == (None, None)
    assert born(change(GROUP, LATER, "born", 2), own=OWN) == (None, None)


def test_where_animals_came_from_that_is_not_on_record_is_as_their_own_record_says():
    assert known(change(CHILD, LATER, "split_from", 1, UUID(int=99)), of=CHILD) == OWN[CHILD]


kinds = st.sampled_from(["acquired", "born", "counted", "returned", "departed", "died", "joined_by", "split_off"])
told = st.lists(st.tuples(kinds, st.dates(EARLY, LATER), st.integers(1, 3), st.booleans()), max_size=8)


@given(told)
def test_the_first_day_is_never_after_the_last_and_no_later_than_the_day_asked_about(said):
    changes = [
        change(GROUP, on, kind, -number if kind in ("departed", "died", "split_off") else number, SINGLE if kind == "joined_by" else None,
               ends_loan=loan)
        for kind, on, number, loan in said
    ]  # fmt: skip
    own = {**OWN, SINGLE: whence(EARLY)}

    for day, found in provenances(own, [CAME, *changes]).get(GROUP, ()):
        assert EARLY <= found.acquired_from <= found.acquired_until <= day
