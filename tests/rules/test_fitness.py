"""Whether a place suits the animals that are to live there: example, boundary and absence of every rule."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from itertools import product
from uuid import UUID

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from domain.rules.fitness import (
    CAUTION,
    Apart,
    Bearing,
    CameFrom,
    Closure,
    Hazard,
    Lodgers,
    Outcome,
    Place,
    PlacementFacts,
    ReasonCode,
    Safeguard,
    Target,
    fitness,
    target_for,
)
from domain.rules.lives import LifeStage

TODAY = date(2026, 3, 1)
NEWT, TOAD, FROGS = UUID(int=1), UUID(int=2), UUID(int=3)
"""Two species and what they lie in."""
TARGET = Target(taxon_id=NEWT, least_floor_m2=0.5, floor_each_more_m2=0.25, source="Keeping newts, 2024")
NEWTS = Lodgers(
    taxon_id=NEWT,
    name="Triturus fictus",
    number=1,
    life_stage=LifeStage.ADULT,
    hazard=Hazard.HARMLESS,
    covered_by=frozenset({NEWT, FROGS}),
    target=TARGET,
)
TOADS = replace(NEWTS, taxon_id=TOAD, name="Bufo fictus", covered_by=frozenset({TOAD, FROGS}), target=replace(TARGET, taxon_id=TOAD))
HALL = Place(name="Hall A 01", kind="terrarium", floor_m2=1.0, volume_l=0.0, capacity=12, closure=Closure.LATCHED)
FACTS = PlacementFacts(on=TODAY, animals=NEWTS, place=HALL)


def decided(facts: PlacementFacts) -> tuple[str, list[str]]:
    """Return the outcome and the codes of the reasons."""
    found = fitness(facts)
    return found.outcome.value, [reason.code.value for reason in found.reasons]


def place(**columns) -> PlacementFacts:
    return replace(FACTS, place=replace(HALL, **columns))


def animals(**columns) -> PlacementFacts:
    return replace(FACTS, animals=replace(NEWTS, **columns))


def needing(**columns) -> PlacementFacts:
    return animals(target=replace(TARGET, **columns))


def only(facts: PlacementFacts):
    (reason,) = fitness(facts).reasons
    return reason


def test_what_lacks_nothing_fits_without_a_reason():
    found = fitness(FACTS)

    assert (found.outcome, found.reasons, found.caution) == (Outcome.FITS, (), None)


@pytest.mark.parametrize(("floor_m2", "outcome"), [(0.4999, "does_not_fit"), (0.5, "fits"), (0.5001, "fits")])
def test_the_floor_is_as_large_as_one_animal_needs(floor_m2, outcome):
    assert decided(place(floor_m2=floor_m2))[0] == outcome


def test_a_floor_that_is_too_small_is_said_with_the_numbers_and_whose_rule_it_is():
    reason = only(replace(place(floor_m2=0.7), animals=replace(NEWTS, number=2)))

    assert (reason.code, reason.bearing) == (ReasonCode.FLOOR_TOO_SMALL, Bearing.AGAINST)
    assert reason.sentence == "2 animals there need 0.75 m² of floor at least; Hall A 01 has 0.7 m²."
    assert (reason.source, reason.missing) == ("Keeping newts, 2024", None)


@pytest.mark.parametrize(("number", "outcome"), [(1, "fits"), (3, "fits"), (4, "does_not_fit")])
def test_every_further_animal_needs_room(number, outcome):
    # 0.5 for one and 0.25 for each more, in 1 m2.
    assert decided(animals(number=number))[0] == outcome


@pytest.mark.parametrize(("there", "outcome"), [(2, "fits"), (3, "does_not_fit")])
def test_those_who_are_there_already_need_room_too(there, outcome):
    assert decided(replace(FACTS, others=[replace(NEWTS, number=there)]))[0] == outcome


@pytest.mark.parametrize(("floor_m2", "outcome"), [(2.2499, "does_not_fit"), (2.25, "fits")])
def test_of_several_taxa_the_neediest_counts_as_the_first(floor_m2, outcome):
    # Of a toad and a newt more, the toad as the first: 2.0 + 0.25; the newt as the first: 0.5 + 1.0.
    toads = replace(TOADS, target=replace(TARGET, least_floor_m2=2.0, floor_each_more_m2=1.0))

    assert decided(replace(place(floor_m2=floor_m2), others=[toads]))[0] == outcome


def test_every_target_that_a_size_comes_from_is_named_once():
    others = [replace(TOADS, target=replace(TARGET, source="Toads, 2020")), replace(TOADS, life_stage=LifeStage.JUVENILE)]

    assert only(replace(place(floor_m2=0.1), others=others)).source == "Keeping newts, 2024; Toads, 2020"


def test_a_floor_that_a_computer_takes_for_too_small_by_a_rounding_is_large_enough():
    assert 0.7 * 0.1 < 0.07
    assert decided(replace(place(floor_m2=0.7 * 0.1), animals=replace(NEWTS, target=replace(TARGET, least_floor_m2=0.07))))[0] == "fits"


@pytest.mark.parametrize(("volume_l", "outcome"), [(0.0, "does_not_fit"), (99.9, "does_not_fit"), (100.0, "fits")])
def test_water_is_asked_for_where_the_target_says_so(volume_l, outcome):
    facts = replace(place(volume_l=volume_l), animals=replace(NEWTS, target=replace(TARGET, least_floor_m2=None, least_water_l=100.0)))

    assert decided(facts) == (outcome, ["water-too-little"] if outcome == "does_not_fit" else [])


def test_too_little_water_is_said_in_litres():
    swimmers = Target(taxon_id=NEWT, least_water_l=60, water_each_more_l=20.5)
    facts = replace(place(volume_l=80.0), animals=replace(NEWTS, number=3, target=swimmers))

    assert only(facts).sentence == "3 animals there need 101 L of water at least; Hall A 01 has 80 L."


LARVAE = replace(NEWTS, life_stage=LifeStage.LARVA, target=None)
ADDERS = replace(NEWTS, name="Vipera ficta", hazard=Hazard.VENOMOUS)
LOCKED = Safeguard(least_closure=Closure.LOCKED_TWICE, source="Safety code 2")


@pytest.mark.parametrize(
    ("facts", "code", "missing", "source", "sentence"),
    [
        (
            replace(FACTS, animals=LARVAE),
            "target-unknown",
            "husbandry_target",
            None,
            "No husbandry target holds for Triturus fictus at stage larva on that day.",
        ),
        (
            replace(FACTS, others=[replace(TOADS, life_stage=LifeStage.UNKNOWN, target=None)]),
            "target-unknown",
            "husbandry_target",
            None,
            "No husbandry target holds for Bufo fictus at an unknown stage of life on that day.",
        ),
        (
            needing(least_floor_m2=None),
            "size-unknown",
            "husbandry_target.least_floor_m2",
            "Keeping newts, 2024",
            "The target for Triturus fictus says neither how much floor nor how much water they need.",
        ),
        (
            place(floor_m2=None),
            "floor-unknown",
            "enclosure.shape",
            "Keeping newts, 2024",
            "1 animal there needs 0.5 m² of floor at least; how much Hall A 01 has is not on record.",
        ),
        (
            replace(
                place(volume_l=None), animals=replace(NEWTS, number=2, target=Target(taxon_id=NEWT, least_water_l=90, water_each_more_l=20))
            ),
            "water-unknown",
            "enclosure.shape",
            "",
            "2 animals there need 110 L of water at least; how much Hall A 01 has is not on record.",
        ),
        (
            animals(number=2, target=replace(TARGET, floor_each_more_m2=None)),
            "each-more-unknown",
            "husbandry_target.floor_each_more_m2",
            "Keeping newts, 2024",
            "The target for Triturus fictus does not say how much floor each more needs, and there would be 2 animals.",
        ),
        (
            animals(hazard=None),
            "hazard-unknown",
            "taxon.hazard",
            None,
            "What Triturus fictus can do to people is not on record, nor of a taxon above.",
        ),
        (
            replace(FACTS, animals=ADDERS),
            "containment-unknown",
            "containment",
            None,
            "No containment rule holds on 1 March 2026 for animals of class 'venomous', such as Vipera ficta.",
        ),
        (
            animals(hazard=Hazard.CAN_INJURE),
            "containment-unknown",
            "containment",
            None,
            "No containment rule holds on 1 March 2026 for animals of class 'can injure', such as Triturus fictus.",
        ),
        (
            replace(place(closure=None), animals=ADDERS, safeguard=LOCKED),
            "closure-unknown",
            "enclosure.closure",
            "Safety code 2",
            "Animals of class 'venomous' are kept 'locked twice' at least; how Hall A 01 closes is not on record.",
        ),
    ],
)
def test_what_is_missing_is_named_and_nothing_fits_then(facts, code, missing, source, sentence):
    found = fitness(facts)

    assert (found.outcome, found.against) == (Outcome.CANNOT_DECIDE, ())
    (reason,) = found.reasons
    assert (reason.code.value, reason.bearing) == (code, Bearing.MISSING)
    assert (reason.missing, reason.source, reason.sentence) == (missing, source, sentence)


def test_one_animal_alone_needs_nothing_for_each_more():
    assert decided(needing(floor_each_more_m2=None)) == ("fits", [])


def test_what_is_known_to_be_too_much_does_not_wait_for_what_is_not_known():
    unknown = replace(TOADS, number=5, target=replace(TARGET, floor_each_more_m2=None))

    assert decided(replace(place(floor_m2=0.4), others=[unknown])) == ("does_not_fit", ["floor-too-small"])


def test_what_is_against_wins_over_what_is_missing_and_comes_first():
    facts = replace(animals(number=13, hazard=None), others=[], place=replace(HALL, floor_m2=None))

    assert decided(facts) == ("does_not_fit", ["too-many", "floor-unknown", "hazard-unknown"])


@pytest.mark.parametrize(("there", "outcome"), [(10, "fits"), (11, "fits"), (12, "does_not_fit")])
def test_no_more_live_there_than_it_is_for(there, outcome):
    facts = replace(place(floor_m2=100.0), others=[replace(TOADS, number=there)])

    assert decided(facts)[0] == outcome


def test_too_many_are_counted():
    reason = only(replace(place(floor_m2=100.0), animals=replace(NEWTS, number=13)))

    assert reason.sentence == "There would be 13 animals in Hall A 01, which is for 12 at most."
    assert reason.source == "The enclosure's capacity as registered."


def test_without_a_stated_capacity_the_size_alone_counts():
    assert decided(replace(place(floor_m2=100.0, capacity=None), animals=replace(NEWTS, number=100)))[0] == "fits"


def test_the_kind_of_enclosure_is_one_that_the_target_names():
    assert decided(needing(enclosure_kinds=("pond", "terrarium")))[0] == "fits"
    reason = only(needing(enclosure_kinds=("pond", "tub")))
    assert (reason.code, reason.source) == (ReasonCode.KIND_UNSUITED, "Keeping newts, 2024")
    assert reason.sentence == "Hall A 01 is of kind 'terrarium'; Triturus fictus should live in one of kind 'pond' or 'tub'."


def test_the_kind_is_not_asked_for_those_who_are_there_already():
    there = replace(NEWTS, target=replace(TARGET, enclosure_kinds=("pond",)))

    assert decided(replace(FACTS, others=[there]))[0] == "fits"


@pytest.mark.parametrize(
    ("one", "other", "outcome"),
    [
        (NEWT, TOAD, "does_not_fit"),
        (TOAD, NEWT, "does_not_fit"),
        (FROGS, TOAD, "does_not_fit"),
        (TOAD, FROGS, "does_not_fit"),
        (TOAD, TOAD, "fits"),
        (UUID(int=9), TOAD, "fits"),
        (NEWT, UUID(int=9), "fits"),
        (FROGS, FROGS, "does_not_fit"),
    ],
)
def test_taxa_that_are_kept_apart_do_not_share_whichever_is_there_first(one, other, outcome):
    facts = replace(FACTS, others=[TOADS], apart=[Apart(one=one, other=other, reason="toads eat newts", source="House rule 4")])

    assert decided(facts)[0] == outcome


def test_that_taxa_are_kept_apart_is_said_with_the_reason():
    apart = [Apart(one=TOAD, other=NEWT, reason="toads eat newts", source="House rule 4")]
    reason = only(replace(place(floor_m2=9.0), others=[replace(TOADS, number=3)], apart=apart))

    assert (reason.code, reason.source) == (ReasonCode.KEPT_APART, "House rule 4")
    assert reason.sentence == "Triturus fictus may not share with Bufo fictus, and 3 Bufo fictus live there: toads eat newts."


def test_nobody_is_kept_apart_from_an_empty_enclosure():
    assert decided(replace(FACTS, apart=[Apart(one=NEWT, other=TOAD), Apart(one=NEWT, other=NEWT)]))[0] == "fits"


SINGLY = [Apart(one=NEWT, other=NEWT, reason="males fight", source="House rule 5")]


def test_what_lives_singly_shares_with_none_of_its_own_kind():
    reason = only(replace(FACTS, others=[NEWTS], apart=SINGLY))

    assert (reason.code, reason.source) == (ReasonCode.LIVES_SINGLY, "House rule 5")
    assert reason.sentence == "Triturus fictus live singly, and 1 Triturus fictus lives there: males fight."
    assert decided(replace(FACTS, others=[TOADS], apart=SINGLY))[0] == "fits"


def test_what_lives_singly_is_not_placed_as_a_group():
    reason = only(replace(animals(number=2), apart=SINGLY))

    assert reason.sentence == "Triturus fictus live singly, and these are 2: males fight."
    assert reason.source == "House rule 5"
    assert decided(replace(animals(number=2), apart=[Apart(one=FROGS, other=FROGS)]))[0] == "does_not_fit"
    assert decided(replace(animals(number=2), apart=[Apart(one=TOAD, other=TOAD)]))[0] == "fits"


def test_a_species_that_is_kept_from_its_genus_may_live_with_its_own_kind():
    apart = [Apart(one=NEWT, other=FROGS)]

    assert decided(replace(animals(number=2), apart=apart))[0] == "fits"
    assert decided(replace(FACTS, others=[NEWTS], apart=apart))[0] == "fits"
    assert decided(replace(FACTS, others=[TOADS], apart=apart))[0] == "does_not_fit"


def test_eggs_are_no_company_to_each_other():
    target = Target(taxon_id=NEWT, life_stage=LifeStage.EGG)
    eggs, adults = (replace(NEWTS, number=8, life_stage=stage, target=target) for stage in (LifeStage.EGG, LifeStage.LARVA))
    clutch = replace(place(capacity=None), animals=eggs, apart=SINGLY)

    assert decided(replace(clutch, others=[replace(eggs, number=1)]))[0] == "fits"
    assert decided(replace(clutch, others=[replace(adults, number=1, target=TARGET)]))[0] == "does_not_fit"


def test_eggs_that_are_there_need_room_only_where_a_target_says_so():
    eggs = replace(NEWTS, life_stage=LifeStage.EGG, target=None)

    assert decided(replace(FACTS, others=[eggs]))[0] == "fits"
    assert decided(replace(FACTS, animals=eggs)) == ("cannot_decide", ["target-unknown"])


@pytest.mark.parametrize(("closure", "least"), [*product(Closure, Closure)])
def test_an_enclosure_closes_as_well_as_the_hazard_class_asks_for(closure, least):
    facts = replace(animals(hazard=Hazard.VENOMOUS), place=replace(HALL, closure=closure), safeguard=Safeguard(least_closure=least))
    order = ["open", "covered", "latched", "locked", "locked_twice"]

    well = order.index(closure.value) >= order.index(least.value)
    assert decided(facts) == (("fits", []) if well else ("does_not_fit", ["closure-too-weak"]))


def test_a_closure_that_is_too_weak_is_said():
    rule = Safeguard(least_closure=Closure.LOCKED_TWICE, source="Safety code 2")
    reason = only(replace(animals(hazard=Hazard.CAN_INJURE), safeguard=rule))

    assert reason.sentence == "Animals of class 'can injure' are kept 'locked twice' at least; Hall A 01 is only 'latched'."
    assert reason.source == "Safety code 2"


@pytest.mark.parametrize(("needed", "competent", "outcome"), [(True, 0, "does_not_fit"), (True, 1, "fits"), (False, 0, "fits")])
def test_somebody_competent_is_there_where_the_rule_asks_for_it(needed, competent, outcome):
    rule = Safeguard(least_closure=Closure.OPEN, competence_needed=needed, source="Safety code 3")
    facts = replace(animals(hazard=Hazard.VENOMOUS), safeguard=rule, competent=competent)

    assert decided(facts) == (outcome, ["nobody-competent"] if outcome == "does_not_fit" else [])
    assert [reason.source for reason in fitness(facts).reasons] == ["Safety code 3"][: outcome == "does_not_fit"]


def test_that_nobody_is_competent_is_said_with_the_day():
    rule = Safeguard(least_closure=Closure.OPEN, competence_needed=True, source="Safety code 3")
    reason = only(replace(animals(hazard=Hazard.VENOMOUS), safeguard=rule))

    assert reason.sentence == (
        "0 staff of the site or of the whole organisation hold a competence for class 'venomous' on 1 March 2026; 1 is needed at least."
    )


def test_a_rule_for_harmless_animals_counts_where_there_is_one():
    assert decided(replace(FACTS, safeguard=Safeguard(least_closure=Closure.LOCKED)))[0] == "does_not_fit"


@pytest.mark.parametrize(
    ("came_from", "quarantine", "at_site", "expected"),
    [
        (CameFrom.STOCK, False, True, ("fits", [])),
        (CameFrom.QUARANTINE, False, True, ("does_not_fit", ["out-of-quarantine"])),
        (CameFrom.QUARANTINE, False, False, ("does_not_fit", ["out-of-quarantine"])),
        (CameFrom.OUTSIDE, False, True, ("does_not_fit", ["past-quarantine"])),
        (CameFrom.OUTSIDE, False, False, ("fits", ["no-quarantine"])),
        (CameFrom.STOCK, True, True, ("fits", [])),
        (CameFrom.QUARANTINE, True, True, ("fits", [])),
        (CameFrom.OUTSIDE, True, True, ("fits", [])),
    ],
)
def test_what_leaves_or_passes_quarantine_needs_a_stated_release(came_from, quarantine, at_site, expected):
    facts = replace(place(quarantine=quarantine), came_from=came_from, site_quarantines=at_site)

    assert decided(facts) == expected


def test_a_site_without_a_place_for_quarantine_is_told_so():
    reason = only(replace(FACTS, came_from=CameFrom.OUTSIDE))

    assert reason.bearing is Bearing.REMARK
    assert reason.sentence == (
        "Triturus fictus arrived and would join the stock in Hall A 01 without quarantine; the site has no enclosure for it on record."
    )


@pytest.mark.parametrize("code", [ReasonCode.OUT_OF_QUARANTINE, ReasonCode.PAST_QUARANTINE])
def test_a_release_is_asked_for(code):
    came_from = CameFrom.QUARANTINE if code is ReasonCode.OUT_OF_QUARANTINE else CameFrom.OUTSIDE
    reason = only(replace(FACTS, came_from=came_from, site_quarantines=True))

    assert reason.code is code
    assert reason.sentence.endswith("This needs a stated release: say who allows it, and on what findings.")
    assert reason.source.startswith("Quarantine practice")


@pytest.mark.parametrize(("there", "said"), [(1, "1 animal is there already"), (3, "3 animals are there already")])
def test_whoever_joins_others_in_quarantine_restarts_the_clock(there, said):
    facts = replace(place(quarantine=True, floor_m2=9.0), others=[replace(NEWTS, number=there)])
    reason = only(facts)

    assert (reason.code, reason.bearing) == (ReasonCode.CLOCK_RESTARTS, Bearing.REMARK)
    assert said in reason.sentence
    assert "the clock restarts for all of them on 1 March 2026" in reason.sentence
    assert fitness(facts).outcome is Outcome.FITS


@pytest.mark.parametrize(
    ("hazard", "other", "caution"),
    [
        (Hazard.HARMLESS, Hazard.HARMLESS, None),
        (Hazard.VENOMOUS, Hazard.HARMLESS, CAUTION),
        (Hazard.HARMLESS, Hazard.DANGEROUS, CAUTION),
        (None, Hazard.HARMLESS, CAUTION),
    ],
)
def test_where_animals_may_harm_people_the_decision_says_what_comes_first(hazard, other, caution):
    facts = replace(animals(hazard=hazard), others=[replace(TOADS, hazard=other)])

    assert fitness(facts).caution == caution
    assert "licensed practice come first" in CAUTION


ADULT, ANY, EGG, OF_FROGS, UNKNOWN = (
    Target(taxon_id=taxon, life_stage=stage, source=name)
    for taxon, stage, name in [
        (NEWT, LifeStage.ADULT, "adult"),
        (NEWT, None, "any"),
        (NEWT, LifeStage.EGG, "egg"),
        (FROGS, None, "frogs"),
        (NEWT, LifeStage.UNKNOWN, "unknown"),
    ]
)


@pytest.mark.parametrize(
    ("targets", "stage", "found"),
    [
        ([ADULT, ANY], "adult", ADULT),
        ([ADULT, ANY], "juvenile", ANY),
        ([ADULT, OF_FROGS], "juvenile", OF_FROGS),
        ([ANY, OF_FROGS], "adult", ANY),
        ([OF_FROGS], "adult", OF_FROGS),
        ([ADULT], "juvenile", None),
        ([], "adult", None),
        ([replace(ANY, taxon_id=TOAD)], "adult", None),
        ([ANY, OF_FROGS], "egg", None),
        ([ANY, EGG], "egg", EGG),
        ([replace(EGG, taxon_id=FROGS), ANY], "egg", replace(EGG, taxon_id=FROGS)),
        ([ANY], "unknown", ANY),
        ([ADULT, ANY], "unknown", None),
        ([ADULT, OF_FROGS], "unknown", None),
        ([ADULT, ANY, UNKNOWN], "unknown", UNKNOWN),
        ([OF_FROGS], "unknown", OF_FROGS),
    ],
)
def test_the_target_is_that_of_the_nearest_taxon_for_the_stage_of_life(targets, stage, found):
    assert target_for(targets, lineage=(NEWT, FROGS), life_stage=LifeStage(stage)) == found


@settings(deadline=None)
@given(
    number=st.integers(1, 50),
    there=st.integers(0, 50),
    floor_m2=st.one_of(st.none(), st.floats(0, 20)),
    hazard=st.sampled_from([None, *Hazard]),
    closure=st.sampled_from([None, *Closure]),
    has_target=st.booleans(),
    came_from=st.sampled_from(CameFrom),
)
def test_nothing_fits_that_something_is_missing_for_and_more_animals_never_make_it_better(
    number, there, floor_m2, hazard, closure, has_target, came_from
):
    target = TARGET if has_target else None
    others = [replace(TOADS, number=there)] if there else []
    facts = PlacementFacts(
        on=TODAY,
        animals=replace(NEWTS, number=number, hazard=hazard, target=target),
        place=replace(HALL, floor_m2=floor_m2, closure=closure),
        others=others,
        came_from=came_from,
        safeguard=Safeguard(least_closure=Closure.LOCKED, source="Safety code 2"),
    )
    found = fitness(facts)
    more = fitness(replace(facts, animals=replace(facts.animals, number=number + 1)))

    bearings = {reason.bearing for reason in found.reasons}
    assert (found.outcome is Outcome.FITS) == (not bearings & {Bearing.AGAINST, Bearing.MISSING})
    assert (found.outcome is Outcome.DOES_NOT_FIT) == (Bearing.AGAINST in bearings)
    if floor_m2 is None or hazard is None or closure is None or target is None:
        assert found.outcome is not Outcome.FITS
    if found.outcome is Outcome.DOES_NOT_FIT:
        assert more.outcome is Outcome.DOES_NOT_FIT
    assert all(reason.source or reason.bearing is Bearing.MISSING for reason in found.reasons)
