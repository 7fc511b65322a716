"""Lives as their events make them."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from itertools import count
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from domain.rules.lives import (
    DAY,
    Event,
    EventKind,
    Grouping,
    LifeBroken,
    LifeStage,
    Sex,
    State,
    Status,
    life_of,
    mixes_eggs,
    numbers_of,
    sex_together,
    stage_together,
)

SPRING = date(2026, 3, 1)
_numbers = count(1)


def told(kind, on=SPRING, number=1, **known):
    place = next(_numbers)
    at = datetime(2026, 3, 1, tzinfo=UTC) + timedelta(seconds=place)
    return Event(id=UUID(int=place), kind=EventKind(kind), on=on, number=number, told_at=at, **known)


def individual(*events):
    return life_of(events, grouping=Grouping.INDIVIDUAL)


def group(*events):
    return life_of(events, grouping=Grouping.GROUP)


def test_an_animal_is_present_from_the_day_it_came():
    life = individual(told("acquired", sex=Sex.FEMALE))

    assert life.states == (State(SPRING, None, Status.PRESENT, Sex.FEMALE, LifeStage.UNKNOWN),)
    assert (life.number, life.ended_on) == (1, None)


def test_a_life_ends_on_the_day_of_death_whatever_is_registered_last():
    died = told("died", SPRING + 5 * DAY)
    came = told("acquired")

    life = individual(died, came)

    assert (life.now.status, life.ended_on, life.number) == (Status.DEAD, SPRING + 5 * DAY, 0)
    assert life.states[0].until_on == SPRING + 4 * DAY


def test_what_is_found_out_on_the_day_of_death_is_known_before_it():
    came, died = told("acquired"), told("died", SPRING + DAY)

    life = individual(came, died, told("sexed", SPRING + DAY, sex=Sex.MALE))

    assert (life.now.sex, life.now.status) == (Sex.MALE, Status.DEAD)


@pytest.mark.parametrize("kind", ["died", "departed"])
@pytest.mark.parametrize("later", [0, 1, 400])
def test_nothing_happens_to_an_animal_after_its_end(kind, later):
    events = [told("acquired"), told(kind, SPRING + DAY)]

    with pytest.raises(LifeBroken) as refused:
        individual(*events, told("escaped", SPRING + (1 + later) * DAY) if later else told("died", SPRING + DAY))

    assert refused.value.code == "after-end"


def test_what_departed_may_return_and_what_died_may_not():
    came = told("acquired")

    life = individual(came, told("departed", SPRING + DAY), told("returned", SPRING + 9 * DAY))

    assert [state.status for state in life.states] == [Status.PRESENT, Status.DEPARTED, Status.PRESENT]
    assert (life.number, life.ended_on) == (1, None)
    with pytest.raises(LifeBroken):
        individual(came, told("died", SPRING + DAY), told("returned", SPRING + 9 * DAY))


def test_as_many_of_a_group_return_as_departed_and_it_stays_as_it_is_meanwhile():
    events = [told("acquired", SPRING, 5), told("departed", SPRING + DAY, 2), told("sent_away", SPRING + 2 * DAY)]

    back = group(*events, told("returned", SPRING + 3 * DAY, 2))

    assert (back.number, back.now.status) == (5, Status.AWAY)
    for already in ((), (told("returned", SPRING + 3 * DAY, 1),)):
        with pytest.raises(LifeBroken) as refused:
            group(*events, *already, told("returned", SPRING + 4 * DAY, 3 - len(already)))
        assert refused.value.code == "too-many"


def test_those_that_departed_return_to_a_group_of_which_the_others_died():
    events = [told("acquired", SPRING, 5), told("departed", SPRING + DAY, 2), told("died", SPRING + 2 * DAY, 3)]

    back = group(*events, told("returned", SPRING + 3 * DAY, 1))

    assert (group(*events).now.status, back.now.status, back.number, back.ended_on) == (Status.DEAD, Status.PRESENT, 1, None)


@pytest.mark.parametrize(
    ("one", "other", "both"),
    [
        ("female", "female", "female"),
        ("female", "male", "mixed"),
        ("hermaphrodite", "male", "mixed"),
        ("mixed", "unknown", "mixed"),
        ("mixed", "male", "mixed"),
        ("female", "unknown", "unknown"),
    ],
)
def test_what_sex_a_group_is_of_once_others_joined_it(one, other, both):
    assert sex_together(Sex(one), Sex(other)) is sex_together(Sex(other), Sex(one)) is Sex(both)


def test_what_stage_a_group_is_at_once_others_joined_it():
    assert stage_together(LifeStage.ADULT, LifeStage.ADULT) is LifeStage.ADULT
    assert stage_together(LifeStage.ADULT, LifeStage.JUVENILE) is LifeStage.UNKNOWN


@pytest.mark.parametrize(
    ("one", "other", "mixes"), [("egg", "adult", True), ("egg", "egg", False), ("egg", "unknown", False), ("adult", "larva", False)]
)
def test_eggs_are_not_put_together_with_what_has_hatched(one, other, mixes):
    assert mixes_eggs(LifeStage(one), LifeStage(other)) is mixes_eggs(LifeStage(other), LifeStage(one)) is mixes


def test_an_animal_comes_once():
    with pytest.raises(LifeBroken) as refused:
        individual(told("acquired"), told("born", SPRING + DAY))

    assert refused.value.code == "here-already"


@pytest.mark.parametrize("kind", sorted(set(EventKind) - {"acquired", "born", "hatched", "laid", "split_from"}))
def test_nothing_happens_before_an_animal_came(kind):
    with pytest.raises(LifeBroken) as refused:
        group(told(kind, SPRING - DAY), told("acquired", SPRING, 9))

    assert refused.value.code == "before-arrival"


def test_no_more_leave_a_group_than_are_there_on_that_day():
    events = [told("acquired", SPRING, 5), told("born", SPRING + 2 * DAY, 3)]

    with pytest.raises(LifeBroken) as refused:
        group(*events, told("died", SPRING + DAY, 6))

    assert (refused.value.code, str(refused.value)) == ("too-many", "There are only 5 on 2026-03-02.")
    assert group(*events, told("died", SPRING + 2 * DAY, 6)).number == 2


def test_a_count_says_how_many_there_are_whatever_was_known_before():
    counted = told("counted", SPRING + 3 * DAY, 40)
    late = told("died", SPRING + DAY, 7)

    life = group(told("acquired", SPRING, 50), counted, late)

    assert (life.number, life.changes[counted.id]) == (40, -3)


def test_an_estimate_is_one_until_somebody_counts():
    pond = [told("acquired", SPRING, 50), told("estimated", SPRING + DAY, 45)]

    assert group(*pond).estimated
    assert not group(*pond, told("counted", SPRING + 2 * DAY, 44)).estimated


def test_of_a_group_only_its_last_animals_end_it():
    pond = [told("acquired", SPRING, 3), told("died", SPRING + DAY, 2)]

    assert group(*pond).ended_on is None
    assert group(*pond, told("departed", SPRING + 2 * DAY, 1)).ended_on == SPRING + 2 * DAY


@pytest.mark.parametrize(("first", "then"), [("escaped", "found"), ("sent_away", "came_back")])
def test_only_what_is_missing_is_found_and_only_what_is_away_comes_back(first, then):
    came = told("acquired")

    assert individual(came, told(first, SPRING + DAY), told(then, SPRING + 2 * DAY)).now.status is Status.PRESENT
    with pytest.raises(LifeBroken) as refused:
        individual(came, told(then, SPRING + DAY))
    assert refused.value.code == "not-so"


def test_who_escapes_while_it_is_away_is_away_still_when_it_is_found():
    lost = [told("acquired"), told("sent_away", SPRING + DAY), told("escaped", SPRING + 2 * DAY)]
    found = [*lost, told("found", SPRING + 3 * DAY)]

    assert individual(*lost).now.status is Status.MISSING
    assert individual(*found).now.status is Status.AWAY
    assert individual(*found, told("came_back", SPRING + 4 * DAY)).now.status is Status.PRESENT
    with pytest.raises(LifeBroken, match="only be said of what is away; it is missing"):
        individual(*lost, told("came_back", SPRING + 3 * DAY))
    with pytest.raises(LifeBroken, match="only be said of what is present or away; it is missing"):
        individual(*lost, told("escaped", SPRING + 3 * DAY))


def test_what_is_missing_can_die():
    assert individual(told("acquired"), told("escaped", SPRING + DAY), told("died", SPRING + 2 * DAY)).now.status is Status.DEAD


@pytest.mark.parametrize("kind", ["counted", "estimated"])
def test_one_animal_is_not_counted(kind):
    with pytest.raises(LifeBroken) as refused:
        individual(told("acquired"), told(kind, SPRING + DAY))

    assert refused.value.code == "individual"


def test_one_animal_is_not_several_and_not_of_mixed_sex():
    with pytest.raises(LifeBroken):
        individual(told("acquired", number=2))
    with pytest.raises(LifeBroken):
        individual(told("acquired", sex=Sex.MIXED))
    assert group(told("acquired", number=2, sex=Sex.MIXED)).now.sex is Sex.MIXED


def test_a_life_without_a_beginning_is_none():
    with pytest.raises(LifeBroken) as refused:
        group()

    assert refused.value.code == "no-beginning"


def test_what_changes_nothing_begins_no_state():
    life = group(
        told("acquired", SPRING, 9, sex=Sex.FEMALE), told("died", SPRING + DAY, 2), told("sexed", SPRING + 2 * DAY, sex=Sex.FEMALE)
    )

    assert len(life.states) == 1


KINDS = st.sampled_from([kind for kind in EventKind if kind is not EventKind.SPLIT_FROM])
EVENTS = st.lists(
    st.tuples(KINDS, st.integers(0, 6), st.integers(1, 5), st.sampled_from([None, *Sex]), st.sampled_from([None, *LifeStage])), max_size=12
)


@given(EVENTS, st.sampled_from(Grouping), st.randoms(use_true_random=False))
def test_whatever_is_accepted_is_a_life(drawn, grouping, random):
    events = [told("acquired", SPRING, 1 if grouping is Grouping.INDIVIDUAL else 9)]
    for kind, days, number, sex, life_stage in drawn:
        one = told(kind, SPRING + timedelta(days), 1 if grouping is Grouping.INDIVIDUAL else number, sex=sex, life_stage=life_stage)
        try:
            life_of([*events, one], grouping=grouping)
        except LifeBroken:
            continue
        events.append(one)
    shuffled = random.sample(events, len(events))

    life, days = life_of(shuffled, grouping=grouping), numbers_of(shuffled, grouping=grouping)

    assert life == life_of(events, grouping=grouping)
    assert sum(life.changes.values()) == life.number == days[-1][1]
    assert all(number >= 0 for _, number in days)
    assert (life.ended_on is None) == (life.number > 0) == (life.now.status in {Status.PRESENT, Status.AWAY, Status.MISSING})
    assert all(later.from_on == earlier.until_on + DAY for earlier, later in zip(life.states, life.states[1:], strict=False))
    assert life.now.until_on is None
