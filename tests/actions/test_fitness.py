"""The facts that a decision about a placement is made from are those on record, as of the day, with whoever lives there on it."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import pytest

from domain.actions.competences import end_competence
from domain.actions.fitness import decided, decision_json, fitness_of, number_there
from domain.actions.groups import MergeStated, SplitStated, merge_animal, split_animal
from domain.actions.lives import EVENTS_OF
from domain.actions.placements import end_placement
from domain.actions.recording import Ending
from domain.actions.staff import end_staff
from domain.actions.taxa import change_taxon, end_separation
from domain.errors import RuleBroken
from domain.records.animals import Animal, AnimalEvent
from domain.records.enclosures import Enclosure
from domain.records.engine import Store
from domain.records.sites import Site
from domain.records.statements import json_text
from domain.records.taxa import Taxon
from domain.records.unit import Unit
from domain.rules.fitness import Fitness
from tests import makers

pytestmark = pytest.mark.usefixtures("organisation")
TODAY = date(2026, 3, 1)
GONE = Ending(reason="entered by mistake")
BOX = {"kind": "box", "length_m": 2.0, "width_m": 0.5, "water_depth_m": 0.0}
"""1 m2 of floor, no water."""


@dataclass
class House:
    """A site with an enclosure that suits newts."""

    unit: Unit
    site: Site
    newts: Taxon
    hall: Enclosure

    def enclosure(self, name: str, **stated: Any) -> Enclosure:
        return makers.enclosure(self.unit, self.site, name=name, **{"shape": BOX, "kind": "terrarium", **stated})

    def animal(self, tag: str, of: Taxon | None = None, **stated: Any) -> Animal:
        born = {"came_by": "born", "acquired_on": "2025-06-01", "life_stage": "adult"}
        return makers.animal(self.unit, of or self.newts, tag=tag, **{**born, **stated})

    def group(self, tag: str, count: int, of: Taxon | None = None, **stated: Any) -> Animal:
        return self.animal(tag, of, grouping="group", count=count, **stated)

    def fitness(self, animal: Animal, place: Enclosure | None = None, *, on: date = TODAY, number: int = 1) -> Fitness:
        return fitness_of(self.unit, animal, place or self.hall, on=on, number=number)

    def codes(self, animal: Animal, place: Enclosure | None = None, **rest: Any) -> tuple[str, list[str]]:
        found = self.fitness(animal, place, **rest)
        return found.outcome.value, [reason.code.value for reason in found.reasons]


def house(unit: Unit) -> House:
    site = makers.site(unit)
    newts = makers.taxon(unit, "Triturus fictus", hazard="harmless")
    makers.target(unit, newts)
    return House(unit, site, newts, makers.enclosure(unit, site, shape=BOX, kind="terrarium", capacity=10))


def test_an_empty_enclosure_that_is_large_enough_fits(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = house(unit)

        assert at.codes(at.animal("N-1")) == ("fits", [])


def test_an_organisation_that_has_recorded_nothing_is_told_what_is_missing(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        of, place = makers.taxon(unit), makers.enclosure(unit, makers.site(unit))
        found = fitness_of(unit, makers.animal(unit, of), place, on=TODAY, number=1)

        assert found.outcome == "cannot_decide"
        assert [reason.missing for reason in found.reasons] == ["husbandry_target", "taxon.hazard", None]
        assert [reason.code for reason in found.reasons] == ["target-unknown", "hazard-unknown", "no-quarantine"]
        assert found.caution is not None


def test_those_who_live_there_on_the_day_count_with_their_numbers(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = house(unit)
        group = at.group("G-1", 2, enclosure_id=at.hall.id, placed_on="2025-07-01")
        one = at.animal("N-1")

        assert at.codes(one) == ("fits", [])
        makers.event(unit, group, "born", "2026-02-01", number=2)
        assert at.codes(one) == ("does_not_fit", ["floor-too-small"])
        assert at.codes(one, on=date(2026, 1, 31)) == ("fits", [])
        assert at.codes(one, on=date(2025, 6, 30), number=3) == ("fits", [])
        assert at.codes(one, on=date(2025, 7, 1), number=3) == ("does_not_fit", ["floor-too-small"])
        makers.event(unit, group, "died", "2026-02-10", number=4)
        assert at.codes(one) == ("fits", [])
        assert at.codes(one, on=date(2026, 2, 9)) == ("does_not_fit", ["floor-too-small"])


def test_those_who_have_moved_on_do_not_count(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = house(unit)
        other, elsewhere = at.group("G-1", 3, enclosure_id=at.hall.id), at.enclosure("Hall A 02")
        one = at.animal("N-1")
        moved = makers.move(unit, other, elsewhere, "2026-01-10", override_reason="to be told apart")

        assert at.codes(one) == ("fits", [])
        assert at.codes(one, on=date(2026, 1, 9)) == ("does_not_fit", ["floor-too-small"])
        end_placement(unit, moved.id, GONE, owner_id=other.id)
        assert at.codes(one) == ("does_not_fit", ["floor-too-small"])


def test_an_animal_is_no_company_to_itself(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = house(unit)
        group = at.group("G-1", 3, enclosure_id=at.hall.id)

        assert at.codes(group, number=3) == ("fits", [])
        assert at.codes(group, number=4) == ("does_not_fit", ["floor-too-small"])


def test_the_target_is_the_one_in_force_for_the_stage_of_life_on_the_day(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = house(unit)
        makers.target(unit, at.newts, from_on="2026-02-01", least_floor_m2=3.0)
        makers.target(unit, at.newts, life_stage="juvenile", from_on="2025-01-01", least_floor_m2=0.1)
        one = at.animal("N-1", life_stage="juvenile")
        makers.event(unit, one, "staged", "2026-01-15", life_stage="adult")

        assert at.codes(one, on=date(2026, 1, 14)) == ("fits", [])
        assert at.codes(one, on=date(2026, 1, 31)) == ("fits", [])
        assert at.codes(one, on=date(2026, 2, 1)) == ("does_not_fit", ["floor-too-small"])
        assert at.codes(one, on=date(2024, 12, 31))[1] == ["target-unknown", "no-quarantine"]


def test_what_is_said_of_a_genus_holds_for_its_species_and_of_the_accepted_name_for_its_synonyms(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = house(unit)
        genus = makers.taxon(unit, "Rana", rank="genus", hazard="harmless")
        species, old = makers.taxon(unit, "Rana una", parent_id=genus.id), makers.taxon(unit, "Rana prior", parent_id=genus.id)
        makers.target(unit, genus, least_floor_m2=2.0)
        one, by_old_name = at.animal("R-1", species), at.animal("R-2", old)
        assert at.codes(one) == at.codes(by_old_name) == ("does_not_fit", ["floor-too-small"])

        makers.target(unit, species, least_floor_m2=0.2)
        assert at.codes(one) == ("fits", [])
        assert at.codes(by_old_name) == ("does_not_fit", ["floor-too-small"])
        change_taxon(unit, old.id, {"accepted_id": str(species.id)}, expected_version=1)
        assert at.codes(by_old_name) == ("fits", [])
        makers.separation(unit, species, species)
        makers.move(unit, one, at.hall, "2026-02-01")
        assert at.codes(by_old_name) == ("does_not_fit", ["lives-singly"])


def test_the_kind_of_enclosure_is_that_of_the_target(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = house(unit)
        makers.target(unit, at.newts, from_on="2026-01-01", enclosure_kinds=["pond", "paludarium"])
        one = at.animal("N-1")

        assert at.codes(one) == ("does_not_fit", ["kind-unsuited"])
        assert at.codes(one, at.enclosure("Marsh", kind="paludarium")) == ("fits", [])


def test_an_enclosure_is_as_large_as_its_shape_says(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = house(unit)
        one = at.animal("N-1")

        assert at.codes(one, at.enclosure("Small", shape={**BOX, "length_m": 0.9}))[1] == ["floor-too-small"]
        assert at.codes(one, at.enclosure("Unmeasured", shape=None)) == ("cannot_decide", ["floor-unknown"])
        assert at.codes(one, at.enclosure("One", capacity=1), number=2)[1] == ["too-many"]


def test_taxa_that_are_kept_apart_are_known_by_lineage_and_concept_both_ways(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = house(unit)
        snakes = makers.taxon(unit, "Serpentes", rank="suborder", hazard="harmless")
        getula, split_off = (makers.taxon(unit, name, hazard="harmless") for name in ("Lampropeltis getula", "Lampropeltis splendida"))
        prey = makers.taxon(unit, "Pantherophis", rank="genus", parent_id=snakes.id)
        makers.concept_member(unit, getula, split_off, from_on="2025-09-01")
        made = makers.separation(unit, getula, snakes, from_on="2025-07-01", until_on="2026-12-31")
        large = at.enclosure("Large", shape={**BOX, "length_m": 40.0})
        for taxon in (snakes, getula, split_off):
            makers.target(unit, taxon)
        eater, eaten = at.animal("E-1", split_off), at.animal("P-1", prey)
        makers.move(unit, eaten, large, "2025-06-10")

        assert at.codes(eater, large) == ("does_not_fit", ["kept-apart"])
        assert at.codes(eater, large, on=date(2025, 8, 31)) == ("fits", [])
        assert at.codes(eater, large, on=date(2025, 9, 1)) == ("does_not_fit", ["kept-apart"])
        assert at.codes(eater, large, on=date(2027, 1, 1)) == ("fits", [])
        assert at.codes(at.animal("G-1", getula), large, on=date(2025, 7, 1))[1] == ["kept-apart"]
        assert at.codes(at.animal("N-1"), large) == ("fits", [])
        den = at.enclosure("Den")
        makers.move(unit, eater, den, "2025-06-10")
        assert at.codes(eaten, den)[1] == ["kept-apart"]
        end_separation(unit, made.id, GONE, owner_id=getula.id)
        assert at.codes(eater, large) == ("fits", [])


def test_what_lives_singly_shares_with_no_other_record_of_its_kind(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = house(unit)
        makers.separation(unit, at.newts, at.newts, reason="males fight")
        first, second = at.animal("N-1", enclosure_id=at.hall.id), at.animal("N-2")

        assert at.codes(first) == ("fits", [])
        assert at.codes(second) == ("does_not_fit", ["lives-singly"])
        assert at.codes(second, at.enclosure("Hall A 02"), number=2) == ("does_not_fit", ["lives-singly"])


def venomous(unit: Unit, at: House) -> tuple[Animal, Enclosure]:
    family = makers.taxon(unit, "Viperidae", rank="family", hazard="venomous")
    adder = makers.taxon(unit, "Vipera ficta", parent_id=family.id)
    makers.target(unit, family)
    return at.animal("V-1", adder), at.enclosure("Hot room 1", closure="locked_twice")


def test_a_hazard_class_asks_for_its_closure_as_the_rule_of_the_day_says(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = house(unit)
        adder, hot = venomous(unit, at)
        assert at.codes(adder, hot) == ("cannot_decide", ["containment-unknown"])

        makers.containment(unit, from_on="2025-01-01", least_closure="latched")
        makers.containment(unit, from_on="2026-02-01", least_closure="locked_twice")
        makers.containment(unit, "dangerous", least_closure="open", competence_needed=True)

        assert at.codes(adder, hot) == ("fits", [])
        latched = at.enclosure("Hot room 2", closure="latched")
        assert at.codes(adder, latched, on=date(2026, 1, 31)) == ("fits", [])
        assert at.codes(adder, latched, on=date(2026, 2, 1)) == ("does_not_fit", ["closure-too-weak"])
        assert at.codes(adder) == ("cannot_decide", ["closure-unknown"])
        assert "Safety code 2" in {reason.source for reason in at.fitness(adder).reasons}
        assert at.fitness(adder, hot).caution is not None


def test_somebody_of_the_site_or_of_the_whole_organisation_is_competent_on_the_day(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = house(unit)
        adder, hot = venomous(unit, at)
        makers.containment(unit, competence_needed=True)
        makers.staff(unit, name="C. Head", role="administrator")
        here, there = makers.staff(unit, at.site), makers.staff(unit, makers.site(unit, name="Elsewhere"), name="B. Keeper")

        lacking = ("does_not_fit", ["nobody-competent"])
        assert at.codes(adder, hot) == lacking
        makers.competence(unit, there)
        makers.competence(unit, here, hazard="dangerous")
        makers.competence(unit, here, hazard=None)
        makers.competence(unit, here, expires_on="2026-02-28")
        end_competence(unit, makers.competence(unit, here).id, GONE, owner_id=here.id)
        assert at.codes(adder, hot) == lacking
        assert at.codes(adder, hot, on=date(2026, 2, 28)) == ("fits", [])
        assert at.codes(adder, hot, on=date(2025, 6, 1)) == ("fits", [])
        assert at.codes(adder, hot, on=date(2025, 5, 31))[1][0] == "nobody-competent"

        whole = makers.staff(unit, name="D. Curator", role="curator")
        makers.competence(unit, whole, from_on="2026-03-01")
        assert at.codes(adder, hot) == ("fits", [])
        end_staff(unit, whole.id, Ending(reason="left"))
        assert at.codes(adder, hot) == lacking


def arrived(at: House, tag: str = "N-1", **stated: Any) -> Animal:
    return at.animal(tag, came_by="acquired", acquired_on="2026-02-01", **stated)


def test_an_arrival_joins_the_stock_with_a_stated_release_where_the_site_quarantines(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = house(unit)
        one = arrived(at)
        assert at.codes(one) == ("fits", ["no-quarantine"])

        makers.enclosure(unit, makers.site(unit, name="Elsewhere"), quarantine=True)
        assert at.codes(one) == ("fits", ["no-quarantine"])
        at.enclosure("Quarantine 1", quarantine=True)
        assert at.codes(one) == ("does_not_fit", ["past-quarantine"])
        assert at.codes(at.animal("N-2")) == ("fits", [])


def test_what_was_in_quarantine_leaves_it_with_a_stated_release(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = house(unit)
        apart, second = at.enclosure("Quarantine 1", quarantine=True), at.enclosure("Hall A 02")
        one = arrived(at, enclosure_id=apart.id)

        assert at.codes(one) == ("does_not_fit", ["out-of-quarantine"])
        assert at.codes(one, at.enclosure("Quarantine 2", quarantine=True)) == ("fits", [])
        makers.move(unit, one, at.hall, "2026-02-20", override_reason="released by the vet, two clear screens")
        assert at.codes(one, second) == ("fits", [])
        assert at.codes(one, second, on=date(2026, 2, 20)) == ("does_not_fit", ["out-of-quarantine"])


@pytest.mark.parametrize(("left", "back"), [("sent_away", "came_back"), ("departed", "returned")])
def test_what_comes_back_from_elsewhere_is_an_arrival_again(store: Store, left: str, back: str) -> None:
    with store.transaction(makers.origin()) as unit:
        at = house(unit)
        at.enclosure("Quarantine 1", quarantine=True)
        one = at.animal("N-1", enclosure_id=at.hall.id)
        makers.event(unit, one, left, "2026-01-10")
        makers.event(unit, one, back, "2026-02-10")

        assert at.codes(one) == ("does_not_fit", ["past-quarantine"])
        assert at.codes(one, on=date(2026, 1, 9)) == ("fits", [])


@pytest.mark.parametrize(("hatched", "stage"), [(False, None), (True, "larva")])
def test_what_was_split_from_a_group_in_quarantine_comes_from_there(store: Store, *, hatched: bool, stage: str | None) -> None:
    with store.transaction(makers.origin()) as unit:
        at = house(unit)
        apart = at.enclosure("Quarantine 1", quarantine=True)
        said = {"came_by": "acquired", "acquired_on": "2026-02-01", "enclosure_id": apart.id}
        group = at.group("G-1", 6, **said, life_stage="egg" if hatched else "adult", override_reason="a trial")
        split = {"happened_on": "2026-02-10", "tag": "N-1", "hatched": hatched, "life_stage": stage, "enclosure_id": at.hall.id}

        with pytest.raises(RuleBroken) as refused:
            _split_and_decide(unit, at, group, split)
        assert [fault.code for fault in refused.value.faults] == ["out-of-quarantine"]


def _split_and_decide(unit: Unit, at: House, group: Animal, stated: dict[str, Any]) -> None:
    """Split an animal off, with a reason where the placement asks for one, and decide about its place as if it had none yet."""
    made = split_animal(unit, group.id, SplitStated.model_validate_json(json_text({**stated, "override_reason": "to be decided"})))
    decided(unit, made, at.hall, on=date(2026, 2, 10), number=1, override_reason=None)


def test_whoever_joins_a_group_elsewhere_goes_where_it_suits_them_or_for_a_reason(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = house(unit)
        apart = at.enclosure("Quarantine 1", quarantine=True)
        group, one = at.group("G-1", 2, enclosure_id=at.hall.id), arrived(at, enclosure_id=apart.id)

        with pytest.raises(RuleBroken) as refused:
            _merge(unit, one, group)
        assert [(fault.pointer, fault.code) for fault in refused.value.faults] == [("/into_id", "out-of-quarantine")]

        _merge(unit, one, group, override_reason="released by the vet")
        *_, came = unit.all(AnimalEvent, EVENTS_OF, animal_id=group.id)
        *_, left = unit.all(AnimalEvent, EVENTS_OF, animal_id=one.id)
        assert (came.override_reason, came.fitness["outcome"], came.fitness["number"]) == ("released by the vet", "does_not_fit", 1)
        assert (left.override_reason, left.fitness) == (None, None)


def test_those_who_join_are_counted_together_with_the_group_that_they_join(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = house(unit)
        group = at.group("G-1", 8, enclosure_id=at.enclosure("Wide", shape={**BOX, "length_m": 20.0}, capacity=10).id)
        others = at.group("G-2", 3, enclosure_id=at.hall.id, override_reason="for a night")

        with pytest.raises(RuleBroken) as refused:
            _merge(unit, others, group)
        assert [(fault.pointer, fault.code) for fault in refused.value.faults] == [("/into_id", "too-many")]
        _merge(unit, others, group, number=2)
        *_, came = unit.all(AnimalEvent, EVENTS_OF, animal_id=group.id)
        assert (came.fitness["outcome"], came.fitness["number"]) == ("fits", 2)


def test_nothing_is_decided_where_animals_stay_or_the_group_is_in_no_enclosure(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = house(unit)
        crowd = at.group("G-1", 10, enclosure_id=at.hall.id, override_reason="for a night")
        beside = at.group("G-2", 5, enclosure_id=at.hall.id, override_reason="for a night")
        nowhere = at.group("G-3", 50)

        for source, group in ((beside, crowd), (crowd, nowhere)):
            _merge(unit, source, group)
            *_, came = unit.all(AnimalEvent, EVENTS_OF, animal_id=group.id)
            assert came.fitness is None


def _merge(unit: Unit, source: Animal, group: Animal, **stated: Any) -> None:
    merge_animal(unit, source.id, MergeStated.model_validate_json(json_text({"happened_on": TODAY, "into_id": group.id, **stated})))


def test_whoever_joins_others_in_quarantine_restarts_the_clock(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = house(unit)
        apart = at.enclosure("Quarantine 1", quarantine=True)
        first, second = arrived(at, enclosure_id=apart.id), arrived(at, "N-2")

        assert at.codes(second, apart) == ("fits", ["clock-restarts"])
        assert at.codes(first, apart) == ("fits", [])
        assert at.codes(second, apart, on=date(2026, 1, 31)) == ("fits", [])


def test_what_does_not_fit_is_refused_with_a_fault_for_every_reason_against_it(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = house(unit)
        group = at.group("G-1", 11)
        small = at.enclosure("Small", shape={**BOX, "length_m": 0.5}, capacity=2)

        with pytest.raises(RuleBroken, match=r"^Small does not suit them\. .* say why in override_reason\.$") as refused:
            decided(unit, group, small, on=TODAY, number=11, override_reason=None)
        assert refused.value.code == "unfit"
        assert [(fault.pointer, fault.code) for fault in refused.value.faults] == [
            ("/enclosure_id", "floor-too-small"),
            ("/enclosure_id", "too-many"),
        ]
        assert refused.value.faults[1].detail == "There would be 11 animals in Small, which is for 2 at most."


def test_a_reason_overrides_and_the_decision_is_kept_as_it_was(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = house(unit)
        small = at.enclosure("Small", shape={**BOX, "length_m": 0.5})

        kept = decided(unit, at.animal("N-1"), small, on=TODAY, number=1, override_reason="one night only")

        assert json.loads(json_text(kept)) == {
            "outcome": "does_not_fit",
            "on": "2026-03-01",
            "number": 1,
            "reasons": [
                {
                    "code": "floor-too-small",
                    "bearing": "against",
                    "sentence": "1 animal there needs 0.5 m² of floor at least; Small has 0.25 m².",
                    "source": "House guide",
                    "missing": None,
                }
            ],
            "caution": None,
        }


def test_what_cannot_be_decided_hinders_nothing_and_is_kept(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = house(unit)
        one = at.animal("N-1", makers.taxon(unit, "Ignotus"))

        kept = decided(unit, one, at.hall, on=TODAY, number=1, override_reason=None)

        assert kept["outcome"] == "cannot_decide"
        assert [reason["missing"] for reason in kept["reasons"]] == ["husbandry_target", "taxon.hazard"]
        assert kept["caution"].startswith("Site rules, local codes and licensed practice come first")


def test_how_many_of_a_record_are_there_is_known_for_each_day(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = house(unit)
        group = at.group("G-1", 5)
        makers.event(unit, group, "died", "2026-02-10", number=2)

        days = [date(2025, 5, 31), date(2025, 6, 1), date(2026, 2, 9), date(2026, 2, 10), TODAY + timedelta(days=1)]
        assert [number_there(unit, group, on=day) for day in days] == [0, 5, 5, 3, 3]


def test_another_organisations_records_do_not_bear_on_a_decision(store: Store) -> None:
    makers.organisation(store, organisation_id=makers.OTHER_ORGANISATION, name="Saltings Aquarium")
    with store.transaction(makers.origin(organisation_id=makers.OTHER_ORGANISATION)) as unit:
        theirs = house(unit)
        theirs.enclosure("Quarantine 1", quarantine=True)
        makers.containment(unit, "harmless", least_closure="locked_twice")
    with store.transaction(makers.origin()) as unit:
        at = house(unit)
        found = at.fitness(arrived(at))

        assert decision_json(found, on=TODAY, number=1)["outcome"] == "fits"
        assert [reason.code for reason in found.reasons] == ["no-quarantine"]
