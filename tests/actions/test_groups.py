"""Animals that go from one record to another."""

from __future__ import annotations

from datetime import date

import pytest

from domain.actions.groups import MergeStated, SplitStated, merge_animal, split_animal
from domain.actions.lives import EVENTS_OF, PLACEMENTS_OF, withdraw_event
from domain.actions.recording import Ending
from domain.errors import RuleBroken
from domain.records.animals import Animal, AnimalEvent, Placement
from domain.records.sites import Site
from domain.records.taxa import Taxon
from domain.rules.lives import EventKind, Grouping, LifeStage, Sex, Status
from tests import makers

WRONG = Ending(reason="entered by mistake")
DAY = date(2026, 2, 1)


@pytest.fixture
def unit(store, organisation):
    with store.transaction(makers.origin()) as opened:
        yield opened


@pytest.fixture
def hall(unit):
    return makers.enclosure(unit, makers.site(unit))


@pytest.fixture
def shoal(unit, hall):
    return makers.group(unit, makers.taxon(unit, "Danio fictivus"), 12, enclosure_id=str(hall.id), acquired_on="2026-01-10", sex="mixed")


def split(unit, of, **stated):
    return split_animal(unit, of.id, SplitStated(happened_on=DAY, **{"tag": "D-1", **stated}))


def test_one_taken_out_of_a_group_is_in_its_place_with_a_record_of_its_own(unit, shoal, hall):
    one = split(unit, shoal, sex=Sex.FEMALE)

    [place] = unit.all(Placement, PLACEMENTS_OF, animal_id=one.id)
    assert (one.count, one.grouping, one.sex, one.version) == (1, Grouping.INDIVIDUAL, Sex.FEMALE, 1)
    assert (place.enclosure_id, place.from_on) == (hall.id, DAY)
    assert unit.fetch(Animal, shoal.id).count == 11


def test_of_a_mixed_group_nothing_is_known_of_the_one_taken_out(unit, shoal):
    assert split(unit, shoal).sex is Sex.UNKNOWN


def test_both_records_name_the_other(unit, shoal):
    one = split(unit, shoal)

    [came] = unit.all(AnimalEvent, EVENTS_OF, animal_id=one.id)
    *_, left = unit.all(AnimalEvent, EVENTS_OF, animal_id=shoal.id)
    assert (came.kind, came.other_animal_id, came.other_event_id, came.change) == (EventKind.SPLIT_FROM, shoal.id, left.id, 1)
    assert (left.kind, left.other_animal_id, left.other_event_id, left.change) == (EventKind.SPLIT_OFF, one.id, came.id, -1)


def test_no_more_are_taken_out_than_there_are(unit, shoal):
    with pytest.raises(RuleBroken) as refused:
        split(unit, shoal, grouping=Grouping.GROUP, number=13)

    assert (refused.value.code, refused.value.faults[0].pointer) == ("too-many", "/number")


def test_one_animal_is_not_split(unit, shoal):
    with pytest.raises(RuleBroken):
        split(unit, split(unit, shoal), tag="D-2")


def test_what_hatches_leaves_the_clutch_and_is_born(unit, hall):
    clutch = makers.group(
        unit, makers.taxon(unit), 8, life_stage="egg", came_by="laid", enclosure_id=str(hall.id), acquired_on="2026-01-01"
    )

    young = split(unit, clutch, grouping=Grouping.GROUP, number=5, hatched=True, life_stage=LifeStage.NEONATE)

    [came] = unit.all(AnimalEvent, EVENTS_OF, animal_id=young.id)
    assert (came.kind, young.life_stage, young.hatched_on, young.count) == (EventKind.HATCHED, LifeStage.NEONATE, DAY, 5)
    assert unit.fetch(Animal, clutch.id).count == 3


def test_only_eggs_hatch(unit, shoal):
    with pytest.raises(RuleBroken) as refused:
        split(unit, shoal, hatched=True, life_stage=LifeStage.NEONATE)

    assert refused.value.code == "not-eggs"


def test_an_animal_that_joins_a_group_goes_on_in_it(unit, shoal):
    one = split(unit, shoal)

    group = merge_animal(unit, one.id, MergeStated(happened_on=date(2026, 2, 10), into_id=shoal.id))

    gone = unit.fetch(Animal, one.id)
    assert (group.count, gone.count, gone.status, gone.ended_on) == (12, 0, Status.MERGED, date(2026, 2, 10))


def test_a_group_joins_only_a_group_of_its_own_taxon(unit, shoal, hall):
    frogs = makers.group(unit, makers.taxon(unit, "Rana fictiva"), 3, tag="R-1", enclosure_id=str(hall.id), acquired_on="2026-01-10")
    one = split(unit, shoal)

    for into, code in ((shoal, "another-taxon"), (one, "not-a-group"), (frogs, "not-a-group")):
        with pytest.raises(RuleBroken) as refused:
            merge_animal(unit, frogs.id, MergeStated(happened_on=DAY, into_id=into.id))
        assert (refused.value.code, refused.value.faults[0].pointer) == (code, "/into_id")


def test_a_split_withdrawn_leaves_the_group_as_it_was_and_the_other_record_ended(unit, shoal):
    one = split(unit, shoal)
    *_, left = unit.all(AnimalEvent, EVENTS_OF, animal_id=shoal.id)

    withdraw_event(unit, left.id, WRONG, owner_id=shoal.id)

    assert unit.fetch(Animal, shoal.id).count == 12
    gone = unit.fetch(Animal, one.id)
    assert (gone.count, gone.end_reason) == (0, "entered by mistake")
    assert unit.all(Placement, PLACEMENTS_OF, animal_id=one.id) == []


def test_a_withdrawal_that_would_make_later_events_impossible_is_refused(unit, shoal):
    one = split(unit, shoal, grouping=Grouping.GROUP, number=5)
    makers.event(unit, shoal, "born", "2026-02-02", number=4)
    makers.event(unit, shoal, "died", "2026-02-03", number=11)
    born = unit.all(AnimalEvent, EVENTS_OF, animal_id=shoal.id)[-2]

    with pytest.raises(RuleBroken) as refused:
        withdraw_event(unit, born.id, WRONG, owner_id=shoal.id)

    assert (refused.value.code, "2026-02-03" in refused.value.detail) == ("too-many", True)
    assert one.count == 5


def test_what_is_told_late_of_a_group_is_as_it_was_on_that_day(unit, hall):
    pond = makers.enclosure(unit, unit.fetch(Site, hall.site_id), name="Pond")
    facts = {"enclosure_id": str(hall.id), "acquired_on": "2026-01-10", "sex": "female", "life_stage": "juvenile"}
    shoal = makers.group(unit, makers.taxon(unit, "Danio fictivus"), 12, **facts)
    makers.move(unit, shoal, pond, "2026-02-20")
    makers.event(unit, shoal, "staged", "2026-02-20", life_stage="adult")
    makers.event(unit, shoal, "sexed", "2026-02-20", sex="mixed")

    one = split(unit, shoal)

    [place] = unit.all(Placement, PLACEMENTS_OF, animal_id=one.id)
    assert (place.enclosure_id, one.life_stage, one.sex) == (hall.id, LifeStage.JUVENILE, Sex.FEMALE)


def test_a_clutch_that_hatched_since_can_still_be_told_to_have_hatched_on_an_earlier_day(unit, hall):
    taxon = makers.taxon(unit)
    clutch = makers.group(unit, taxon, 6, enclosure_id=str(hall.id), acquired_on="2026-01-10", came_by="laid", life_stage="egg")
    makers.event(unit, clutch, "staged", "2026-02-15", life_stage="neonate")

    hatchling = split(unit, clutch, hatched=True, life_stage=LifeStage.NEONATE)

    assert (hatchling.hatched_on, hatchling.life_stage, unit.fetch(Animal, clutch.id).count) == (DAY, LifeStage.NEONATE, 5)


@pytest.mark.parametrize(("kept", "said"), [("egg", LifeStage.NEONATE), ("adult", LifeStage.EGG)])
def test_eggs_do_not_become_animals_without_hatching_nor_animals_eggs(unit, hall, kept, said):
    clutch = makers.group(unit, makers.taxon(unit), 6, enclosure_id=str(hall.id), acquired_on="2026-01-10", life_stage=kept)

    with pytest.raises(RuleBroken) as refused:
        split(unit, clutch, life_stage=said)

    assert (refused.value.code, refused.value.faults[0].pointer) == ("not-hatched", "/life_stage")


def test_eggs_do_not_join_animals(unit, shoal):
    makers.event(unit, shoal, "staged", "2026-01-12", life_stage="adult")
    clutch = makers.group(unit, unit.fetch(Taxon, shoal.taxon_id), 6, acquired_on="2026-01-10", life_stage="egg", tag="D-E")

    with pytest.raises(RuleBroken) as refused:
        merge_animal(unit, clutch.id, MergeStated(happened_on=DAY, into_id=shoal.id))

    assert (refused.value.code, refused.value.faults[0].pointer) == ("eggs", "/into_id")


@pytest.mark.parametrize(
    ("joining", "sex", "stage"),
    [
        ({"sex": "male", "life_stage": "adult"}, Sex.MIXED, LifeStage.ADULT),
        ({"sex": "female", "life_stage": "juvenile"}, Sex.FEMALE, LifeStage.UNKNOWN),
        ({}, Sex.UNKNOWN, LifeStage.UNKNOWN),
    ],
)
def test_a_group_that_others_join_is_of_what_they_are_together_until_that_is_withdrawn(unit, hall, joining, sex, stage):
    taxon = makers.taxon(unit, "Danio fictivus")
    facts = {"enclosure_id": str(hall.id), "acquired_on": "2026-01-10"}
    group = makers.group(unit, taxon, 5, **facts, sex="female", life_stage="adult", tag="D-G")
    other = makers.group(unit, taxon, 3, **facts, **joining, tag="D-O")

    together = merge_animal(unit, other.id, MergeStated(happened_on=DAY, into_id=group.id))

    assert (together.count, together.sex, together.life_stage) == (8, sex, stage)
    *_, joined = unit.all(AnimalEvent, EVENTS_OF, animal_id=group.id)
    withdraw_event(unit, joined.id, WRONG, owner_id=group.id)
    alone = unit.fetch(Animal, group.id)
    assert (alone.count, alone.sex, alone.life_stage) == (5, Sex.FEMALE, LifeStage.ADULT)


def test_all_that_there_were_on_the_day_join_a_group_and_nothing_can_have_happened_to_them_since(unit, hall):
    taxon = makers.taxon(unit, "Danio fictivus")
    group = makers.group(unit, taxon, 5, enclosure_id=str(hall.id), acquired_on="2026-01-10", tag="D-G")
    other = makers.group(unit, taxon, 7, enclosure_id=str(hall.id), acquired_on="2026-01-10", tag="D-O")
    died = makers.event(unit, other, "died", "2026-02-10", number=4).event

    with pytest.raises(RuleBroken) as refused:
        merge_animal(unit, other.id, MergeStated(happened_on=DAY, into_id=group.id))

    assert (refused.value.code, "2026-02-10 (died)" in refused.value.detail) == ("after-end", True)
    withdraw_event(unit, died.id, WRONG, owner_id=other.id)
