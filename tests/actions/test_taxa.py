"""Taxa: names, ranks and synonyms; what names cover; what animals need, dated; and whom they may not live with."""

from __future__ import annotations

from datetime import date
from typing import Any
from uuid import uuid4

import pytest

from domain.actions.recording import Ending
from domain.actions.taxa import (
    change_concept_member,
    change_husbandry_target,
    change_separation,
    change_taxon,
    end_concept_member,
    end_husbandry_target,
    end_separation,
    end_taxon,
)
from domain.actions.taxonomy import AT_ONCE, taxonomy_above
from domain.errors import Conflict, NotAllowed, NotFound, Refusal, RuleBroken
from domain.records.engine import Store
from domain.records.journal import Origin
from domain.records.stated import read_stated
from domain.records.statements import json_text
from domain.records.taxa import (
    ConceptMember,
    ContainmentStated,
    HusbandryTarget,
    HusbandryTargetStated,
    Separation,
    SeparationStated,
    Taxon,
)
from domain.records.unit import Unit
from domain.rules.fitness import Hazard
from domain.rules.permissions import Reach
from tests import makers
from tests.behind import proven

pytestmark = pytest.mark.usefixtures("organisation")
TODAY = date(2026, 3, 1)
GONE = Ending(reason="entered by mistake")


def refusal(work: Any) -> tuple[str, str]:
    """Return the code and the field of a refusal."""
    with pytest.raises(Refusal) as refused:
        work()
    return refused.value.code, refused.value.faults[0].pointer if refused.value.faults else ""


def kingsnakes(unit: Unit) -> dict[str, Taxon]:
    """Register the kingsnakes: three former subspecies of one species are species now, and a list still means them."""
    made = {"Colubridae": makers.taxon(unit, "Colubridae", rank="family", hazard="harmless")}
    made["Lampropeltis"] = makers.taxon(unit, "Lampropeltis", rank="genus", parent_id=made["Colubridae"].id)
    for name in ("getula", "californiae", "splendida", "holbrooki", "triangulum"):
        made[name] = makers.taxon(unit, f"Lampropeltis {name}", parent_id=made["Lampropeltis"].id)
    made["yumensis"] = makers.taxon(unit, "Lampropeltis getulus yumensis", rank="subspecies", accepted_id=made["californiae"].id)
    for name in ("californiae", "splendida", "holbrooki"):
        makers.concept_member(unit, made["getula"], made[name])
    return made


def test_a_listed_name_covers_what_was_split_from_it(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        taxa = kingsnakes(unit)

        above = taxonomy_above(unit, [one.id for one in taxa.values()])

        covered = {name for name, one in taxa.items() if above.covers(taxa["getula"].id, one.id, on=TODAY)}
        assert covered == {"getula", "californiae", "splendida", "holbrooki", "yumensis"}
        assert above.hazard(taxa["yumensis"].id) is Hazard.HARMLESS
        assert above.name(taxa["yumensis"].id) == "Lampropeltis getulus yumensis"


def test_what_covers_one_taxon_is_read_without_the_others(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        taxa = kingsnakes(unit)

        above = taxonomy_above(unit, [taxa["yumensis"].id])

        covering = {name for name, one in taxa.items() if above.covers(one.id, taxa["yumensis"].id, on=TODAY)}
        assert covering == {"yumensis", "californiae", "getula", "Lampropeltis", "Colubridae"}
        assert above.name(taxa["triangulum"].id) == ""


def test_more_taxa_are_asked_for_than_one_statement_takes(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        genus = makers.taxon(unit, "Lampropeltis", rank="genus")
        made = [makers.taxon(unit, f"Lampropeltis {number}", parent_id=genus.id) for number in range(AT_ONCE * 2 + 1)]

        above = taxonomy_above(unit, [one.id for one in made])

        assert [above.lineage(one.id) for one in made] == [(one.id, genus.id) for one in made]
        assert taxonomy_above(unit, []).lineage(genus.id) == (genus.id,)


def test_another_organisations_taxonomy_is_not_read(store: Store) -> None:
    makers.organisation(store, organisation_id=makers.OTHER_ORGANISATION, name="Saltings Aquarium")
    with store.transaction(makers.origin()) as unit:
        taxa = kingsnakes(unit)
    with store.transaction(makers.origin(organisation_id=makers.OTHER_ORGANISATION)) as unit:
        above = taxonomy_above(unit, [taxa["yumensis"].id])

        assert above.lineage(taxa["yumensis"].id) == (taxa["yumensis"].id,)


def test_a_member_that_was_withdrawn_is_not_covered(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        one, other = makers.taxon(unit, "Rana una"), makers.taxon(unit, "Rana altera")
        member = makers.concept_member(unit, one, other)
        end_concept_member(unit, member.id, GONE, owner_id=one.id)

        assert not taxonomy_above(unit, [other.id]).covers(one.id, other.id, on=TODAY)
        assert makers.concept_member(unit, one, other).id != member.id


@pytest.mark.parametrize(
    ("above", "below", "taken"),
    [
        ("class", "order", True),
        ("suborder", "family", True),
        ("family", "subfamily", True),
        ("genus", "species", True),
        ("species", "subspecies", True),
        ("genus", "hybrid", True),
        ("species", "hybrid", True),
        ("order", "species", True),
        ("species", "species", False),
        ("species", "genus", False),
        ("subspecies", "species", False),
        ("hybrid", "subspecies", False),
        ("subspecies", "hybrid", False),
    ],
)
def test_a_taxon_lies_in_one_of_a_higher_rank(store: Store, above: str, below: str, *, taken: bool) -> None:
    with store.transaction(makers.origin()) as unit:
        parent = makers.taxon(unit, "Upper", rank=above)
        if taken:
            assert makers.taxon(unit, "Lower", rank=below, parent_id=parent.id).parent_id == parent.id
        else:
            assert refusal(lambda: makers.taxon(unit, "Lower", rank=below, parent_id=parent.id)) == ("rank-order", "/parent_id")


def test_a_rank_that_what_lies_in_it_does_not_allow_is_refused(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        genus = makers.taxon(unit, "Rana", rank="genus")
        makers.taxon(unit, "Rana una", parent_id=genus.id)

        assert refusal(lambda: change_taxon(unit, genus.id, {"rank": "species"}, expected_version=1)) == ("rank-order", "/rank")
        assert change_taxon(unit, genus.id, {"rank": "family"}, expected_version=1).rank == "family"


def test_a_taxon_does_not_lie_above_itself(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        family = makers.taxon(unit, "Ranidae", rank="family")
        genus = makers.taxon(unit, "Rana", rank="genus", parent_id=family.id)
        species = makers.taxon(unit, "Rana una", parent_id=genus.id)

        def lies_in(taxon: Taxon, above: Taxon) -> tuple[str, str]:
            return refusal(lambda: change_taxon(unit, taxon.id, {"parent_id": str(above.id)}, expected_version=1))

        assert lies_in(family, family) == ("circular", "/parent_id")
        assert lies_in(family, genus) == ("circular", "/parent_id")
        assert lies_in(family, species) == ("circular", "/parent_id")


def test_a_synonym_stands_for_an_accepted_taxon_of_its_own(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        accepted, other = makers.taxon(unit, "Rana una"), makers.taxon(unit, "Rana altera")
        synonym = makers.taxon(unit, "Rana prior", accepted_id=accepted.id)

        assert synonym.accepted_id == accepted.id
        assert refusal(lambda: makers.taxon(unit, "Rana antiqua", accepted_id=synonym.id)) == ("synonym", "/accepted_id")
        assert refusal(lambda: makers.taxon(unit, "Rana x", accepted_id=uuid4())) == ("reference-unknown", "/accepted_id")
        assert refusal(lambda: makers.taxon(unit, "Rana x", accepted_id=other.id, hazard="harmless")) == ("of-accepted", "/hazard")
        assert refusal(lambda: makers.taxon(unit, "Rana una x", rank="subspecies", parent_id=synonym.id)) == ("synonym", "/parent_id")
        changed = {"accepted_id": str(other.id)}
        assert refusal(lambda: change_taxon(unit, accepted.id, changed, expected_version=1)) == ("has-synonyms", "/accepted_id")
        itself = {"accepted_id": str(other.id)}
        assert refusal(lambda: change_taxon(unit, other.id, itself, expected_version=1)) == ("circular", "/accepted_id")


def test_a_species_becomes_a_synonym_and_what_lay_in_it_lies_in_the_accepted_one(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        genus = makers.taxon(unit, "Rana", rank="genus")
        kept, sunk = (makers.taxon(unit, name, parent_id=genus.id) for name in ("Rana una", "Rana altera"))
        below = makers.taxon(unit, "Rana altera parva", rank="subspecies", parent_id=sunk.id)
        animal = makers.animal(unit, sunk)

        change_taxon(unit, sunk.id, {"accepted_id": str(kept.id)}, expected_version=1)

        assert taxonomy_above(unit, [below.id]).lineage(below.id) == (below.id, kept.id, genus.id)
        assert taxonomy_above(unit, [animal.taxon_id]).accepted(animal.taxon_id) == kept.id
        with pytest.raises(RuleBroken, match="synonym of Rana una; say it of that taxon") as refused:
            makers.target(unit, sunk)
        assert refused.value.code == "synonym"


def test_what_is_said_of_a_taxon_is_mended_before_it_becomes_a_synonym(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        kept, sunk, third = makers.taxon(unit, "Rana una"), makers.taxon(unit, "Rana altera"), makers.taxon(unit, "Rana tertia")

        def while_there(made: Any, end: Any, owner: Taxon) -> None:
            with pytest.raises(Conflict, match="Still in use by 1") as refused:
                change_taxon(unit, sunk.id, {"accepted_id": str(kept.id)}, expected_version=1)
            assert refused.value.code == "in-use"
            end(unit, made.id, GONE, owner_id=owner.id)

        while_there(makers.target(unit, sunk), end_husbandry_target, sunk)
        while_there(makers.separation(unit, sunk, third), end_separation, sunk)
        while_there(makers.separation(unit, third, sunk), end_separation, third)
        while_there(makers.concept_member(unit, sunk, third), end_concept_member, sunk)
        while_there(makers.concept_member(unit, third, sunk), end_concept_member, third)
        change_taxon(unit, sunk.id, {"accepted_id": str(kept.id)}, expected_version=1)
        assert change_taxon(unit, sunk.id, {"note": "sunk"}, expected_version=2).accepted_id == kept.id


def test_a_taxon_is_no_synonym_of_what_lies_in_it(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        species = makers.taxon(unit, "Rana una")
        below = makers.taxon(unit, "Rana una parva", rank="subspecies", parent_id=species.id)

        changed = {"accepted_id": str(below.id)}
        assert refusal(lambda: change_taxon(unit, species.id, changed, expected_version=1)) == ("circular", "/accepted_id")
        assert change_taxon(unit, below.id, {"accepted_id": str(species.id)}, expected_version=1).accepted_id == species.id


def test_a_synonym_that_is_accepted_again_does_not_lie_above_itself(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        other = makers.taxon(unit, "Bufonidae", rank="family")
        name, above = makers.taxon(unit, "Ranidae", rank="family"), makers.taxon(unit, "Anura", rank="order")
        makers.taxon(unit, "Ranoidea", rank="suborder", parent_id=above.id)
        change_taxon(unit, name.id, {"accepted_id": str(other.id), "parent_id": str(above.id)}, expected_version=1)
        change_taxon(unit, other.id, {"parent_id": str(above.id)}, expected_version=1)

        again = change_taxon(unit, name.id, {"accepted_id": None}, expected_version=2)

        assert (again.accepted_id, again.parent_id) == (None, above.id)
        assert taxonomy_above(unit, [name.id]).lineage(name.id) == (name.id, above.id)


def test_a_name_does_not_cover_itself_or_what_covers_it(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        taxa = kingsnakes(unit)
        getula, californiae, genus, yumensis = (taxa[name] for name in ("getula", "californiae", "Lampropeltis", "yumensis"))

        assert refusal(lambda: makers.concept_member(unit, getula, getula)) == ("same-taxon", "/member_id")
        assert refusal(lambda: makers.concept_member(unit, californiae, yumensis)) == ("synonym", "/member_id")
        assert refusal(lambda: makers.concept_member(unit, yumensis, taxa["triangulum"])) == ("synonym", "")
        assert refusal(lambda: makers.concept_member(unit, getula, genus)) == ("circular", "/member_id")
        assert refusal(lambda: makers.concept_member(unit, californiae, getula)) == ("circular", "/member_id")
        assert refusal(lambda: makers.concept_member(unit, getula, californiae)) == ("already-there", "/member_id")
        lies_in = {"parent_id": str(californiae.id), "rank": "subspecies"}
        assert refusal(lambda: change_taxon(unit, getula.id, lies_in, expected_version=1)) == ("circular", "/parent_id")


def test_a_member_is_corrected_under_its_own_name_only(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        taxa = kingsnakes(unit)
        getula, triangulum = taxa["getula"], taxa["triangulum"]
        member = makers.concept_member(unit, getula, triangulum)

        changed = change_concept_member(unit, member.id, {"from_on": "2026-04-01"}, owner_id=getula.id, expected_version=1)
        assert (changed.from_on, changed.member_id) == (date(2026, 4, 1), triangulum.id)
        other = {"member_id": str(taxa["splendida"].id)}
        assert refusal(
            lambda: change_concept_member(unit, member.id, other, owner_id=getula.id, expected_version=2)
        ) == ("already-there", "/member_id")  # fmt: skip
        with pytest.raises(NotFound):
            end_concept_member(unit, member.id, GONE, owner_id=triangulum.id)
        end_concept_member(unit, member.id, GONE, owner_id=getula.id)
        assert unit.fetch(ConceptMember, member.id).end_reason == "entered by mistake"


def days(unit: Unit, *targets: HusbandryTarget) -> list[tuple[str, str | None]]:
    found = [unit.fetch(HusbandryTarget, one.id) for one in targets]
    return [(one.from_on.isoformat(), one.until_on and one.until_on.isoformat()) for one in found]


def test_a_new_target_ends_the_open_one_the_day_before(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        of = makers.taxon(unit)
        first = makers.target(unit, of, from_on="2025-01-01")
        second = makers.target(unit, of, from_on="2026-01-01", least_floor_m2=0.75, enclosure_kinds=["pen", "terrarium"])

        assert days(unit, first, second) == [("2025-01-01", "2025-12-31"), ("2026-01-01", None)]
        assert (second.stage_key, unit.fetch(HusbandryTarget, second.id).enclosure_kinds) == ("any", ["pen", "terrarium"])


def test_targets_for_other_stages_and_taxa_stay_as_they_are(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        of, other = makers.taxon(unit), makers.taxon(unit, "Rana una")
        made = [makers.target(unit, of), makers.target(unit, of, life_stage="juvenile"), makers.target(unit, other)]

        adult = makers.target(unit, of, life_stage="adult", from_on="2026-01-01")

        assert adult.stage_key == "adult"
        assert days(unit, *made) == [("2025-01-01", None)] * 3


@pytest.mark.parametrize(
    ("from_on", "until_on"),
    [("2025-01-01", None), ("2024-06-01", None), ("2024-06-01", "2025-01-01"), ("2024-01-01", "2026-01-01")],
)
def test_a_target_that_would_hold_beside_another_is_refused(store: Store, from_on: str, until_on: str | None) -> None:
    with store.transaction(makers.origin()) as unit:
        of = makers.taxon(unit)
        makers.target(unit, of, from_on="2025-01-01")

        with pytest.raises(Conflict, match="Another husbandry target holds from 1 January 2025 until further notice") as refused:
            makers.target(unit, of, from_on=from_on, until_on=until_on)
        assert (refused.value.code, refused.value.faults[0].pointer) == ("overlap", "/from_on")


def test_earlier_and_bounded_targets_lie_beside_each_other(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        of = makers.taxon(unit)
        made = [
            makers.target(unit, of, from_on="2025-01-01", until_on="2025-06-30"),
            makers.target(unit, of, from_on="2025-07-01"),
            makers.target(unit, of, from_on="2024-01-01", until_on="2024-12-31"),
        ]

        assert days(unit, *made) == [("2025-01-01", "2025-06-30"), ("2025-07-01", None), ("2024-01-01", "2024-12-31")]
        with pytest.raises(Conflict, match="holds from 1 January 2025 until 30 June 2025"):
            makers.target(unit, of, from_on="2025-06-30")


def test_the_days_of_a_target_are_corrected_without_reaching_into_another(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        of = makers.taxon(unit)
        first = makers.target(unit, of, from_on="2025-01-01")
        second = makers.target(unit, of, from_on="2026-01-01")

        def corrected(patch: dict[str, Any], version: int) -> HusbandryTarget:
            return change_husbandry_target(unit, first.id, patch, owner_id=of.id, expected_version=version)

        assert refusal(lambda: corrected({"until_on": "2026-01-01"}, 2)) == ("overlap", "/from_on")
        assert corrected({"until_on": "2025-11-30"}, 2).until_on == date(2025, 11, 30)
        assert refusal(lambda: corrected({"until_on": None}, 3)) == ("overlap", "/from_on")
        assert corrected({"life_stage": "adult", "until_on": None}, 3).stage_key == "adult"
        end_husbandry_target(unit, second.id, GONE, owner_id=of.id)
        assert corrected({"life_stage": None}, 4).stage_key == "any"


def test_a_target_belongs_to_its_taxon(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        of, other = makers.taxon(unit), makers.taxon(unit, "Rana una")
        made = makers.target(unit, of)

        with pytest.raises(NotFound):
            change_husbandry_target(unit, made.id, {"note": "n"}, owner_id=other.id, expected_version=1)
        with pytest.raises(NotFound):
            end_husbandry_target(unit, made.id, GONE, owner_id=uuid4())


@pytest.mark.parametrize(
    ("stated", "pointer", "code"),
    [
        ({"until_on": "2024-12-31"}, "/until_on", "not-together"),
        ({"uvi_low": 3.0, "uvi_high": 2.9}, "/uvi_high", "not-together"),
        ({"water_low_c": 24.0, "water_high_c": 20.0}, "/water_high_c", "not-together"),
        ({"humidity_high_pct": 100.5}, "/humidity_high_pct", "less-than-equal"),
        ({"least_floor_m2": 0.0}, "/least_floor_m2", "greater-than"),
        ({"floor_each_more_m2": 1.0}, "/least_floor_m2", "required"),
        ({"water_each_more_l": 1.0}, "/least_water_l", "required"),
        ({"enclosure_kinds": []}, "/enclosure_kinds", "too-short"),
        ({"enclosure_kinds": ["cage"]}, "/enclosure_kinds/0", "not-one-of"),
        ({"source": None}, "/source", "not-text"),
    ],
)
def test_a_target_that_cannot_be_is_refused_by_the_field_to_mend(stated: dict[str, Any], pointer: str, code: str) -> None:
    with pytest.raises(RuleBroken) as refused:
        read_stated(HusbandryTargetStated, json_text({"from_on": "2025-01-01", "source": "House guide", **stated}))

    assert [(fault.pointer, fault.code) for fault in refused.value.faults] == [(pointer, code)]


@pytest.mark.parametrize("kind", [SeparationStated, ContainmentStated])
def test_a_last_day_before_the_first_is_refused(kind: Any) -> None:
    whose = (
        {"other_taxon_id": str(uuid4()), "reason": "r"} if kind is SeparationStated else {"hazard": "venomous", "least_closure": "locked"}
    )
    stated = {"from_on": "2025-01-02", "until_on": "2025-01-01", "source": "s", **whose}

    with pytest.raises(RuleBroken) as refused:
        read_stated(kind, json_text(stated))
    assert [fault.pointer for fault in refused.value.faults] == ["/until_on"]
    assert read_stated(kind, json_text({**stated, "until_on": "2025-01-02"})).until_on == date(2025, 1, 2)


def test_a_separation_is_on_record_once_whichever_taxon_is_named_first(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        one, other = makers.taxon(unit, "Rana una"), makers.taxon(unit, "Bufo alter")
        made = makers.separation(unit, one, other)

        assert refusal(lambda: makers.separation(unit, one, other)) == ("already-there", "/other_taxon_id")
        assert refusal(lambda: makers.separation(unit, other, one)) == ("already-there", "/other_taxon_id")
        assert makers.separation(unit, one, one).other_taxon_id == one.id
        end_separation(unit, made.id, GONE, owner_id=other.id)
        assert makers.separation(unit, other, one).taxon_id == other.id


def test_a_separation_is_corrected_with_either_taxon(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        one, other, third = makers.taxon(unit, "Rana una"), makers.taxon(unit, "Bufo alter"), makers.taxon(unit, "Hyla tertia")
        synonym = makers.taxon(unit, "Hyla prior", accepted_id=third.id)
        made = makers.separation(unit, one, other)

        changed = change_separation(unit, made.id, {"until_on": "2026-12-31"}, owner_id=other.id, expected_version=1)
        assert (changed.taxon_id, changed.other_taxon_id, changed.until_on) == (one.id, other.id, date(2026, 12, 31))
        with pytest.raises(NotFound):
            change_separation(unit, made.id, {"note": "n"}, owner_id=third.id, expected_version=2)
        for wrong, code in ((synonym.id, "synonym"), (uuid4(), "reference-unknown")):
            patch = {"other_taxon_id": str(wrong)}
            assert refusal(
                lambda patch=patch: change_separation(unit, made.id, patch, owner_id=one.id, expected_version=2)
            ) == (code, "/other_taxon_id")  # fmt: skip
        patch = {"other_taxon_id": str(third.id)}
        assert change_separation(unit, made.id, patch, owner_id=one.id, expected_version=2).other_taxon_id == third.id
        assert refusal(lambda: makers.separation(unit, one, synonym)) == ("synonym", "/other_taxon_id")
        assert refusal(lambda: makers.separation(unit, synonym, one)) == ("synonym", "")


def test_a_taxon_that_something_refers_to_is_not_ended(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        of, other = makers.taxon(unit), makers.taxon(unit, "Rana una")

        def while_there(made: Any, end: Any) -> None:
            with pytest.raises(Conflict, match="Still in use") as refused:
                end_taxon(unit, of.id, GONE)
            assert refused.value.code == "in-use"
            end(made)

        def end_part(act: Any, owner: Taxon) -> Any:
            return lambda made: act(unit, made.id, GONE, owner_id=owner.id)

        while_there(makers.concept_member(unit, of, other), end_part(end_concept_member, of))
        while_there(makers.concept_member(unit, other, of), end_part(end_concept_member, other))
        while_there(makers.target(unit, of), end_part(end_husbandry_target, of))
        while_there(makers.separation(unit, of, other), end_part(end_separation, of))
        while_there(makers.separation(unit, other, of), end_part(end_separation, other))
        while_there(makers.taxon(unit, "Testudo prior", accepted_id=of.id), lambda made: end_taxon(unit, made.id, GONE))
        assert end_taxon(unit, of.id, GONE).ended_on == TODAY


def test_nothing_is_said_of_a_taxon_that_has_ended(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        of, other = makers.taxon(unit), makers.taxon(unit, "Rana una")
        end_taxon(unit, of.id, GONE)

        for make in (
            lambda: makers.target(unit, of),
            lambda: makers.separation(unit, of, other),
            lambda: makers.concept_member(unit, of, other),
        ):
            with pytest.raises(Conflict, match="ended on 2026-03-01"):
                make()
        assert refusal(lambda: makers.separation(unit, other, of)) == ("reference-ended", "/other_taxon_id")
        assert refusal(lambda: makers.concept_member(unit, other, of)) == ("reference-ended", "/member_id")


def test_whoever_reaches_only_a_site_says_nothing_of_taxa(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        of, at = makers.taxon(unit), makers.site(unit)
        target, separation = makers.target(unit, of), makers.separation(unit, of, of)
    bound = Origin(makers.ORGANISATION, makers.NOON, actor="test", request_id="test", reach=Reach(frozenset({at.id})))

    with store.transaction(bound) as unit:
        for work in (
            lambda: makers.target(unit, of, from_on="2026-01-01"),
            lambda: end_husbandry_target(unit, target.id, GONE, owner_id=of.id),
            lambda: end_separation(unit, separation.id, GONE, owner_id=of.id),
            lambda: change_taxon(unit, of.id, {"note": "n"}, expected_version=1),
        ):
            with pytest.raises(NotAllowed):
                work()


def test_everything_said_of_taxa_is_in_a_journal_that_proves(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        taxa = kingsnakes(unit)
        makers.target(unit, taxa["getula"])
        makers.target(unit, taxa["getula"], from_on="2026-01-01", enclosure_kinds=["terrarium"])
        made = makers.separation(unit, taxa["getula"], taxa["getula"])
        change_separation(unit, made.id, {"note": "cannibals"}, owner_id=taxa["getula"].id, expected_version=1)
        assert unit.fetch(Separation, made.id).note == "cannibals"

    assert proven(store).flaws == []
