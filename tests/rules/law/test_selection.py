"""Which animals a listing covers, and which it does not, for certain."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from domain.rules.law.facts import Side
from domain.rules.law.requirements import Selector
from domain.rules.law.selection import delayed_until, selects, selects_taxon
from domain.rules.lives import LifeStage, Origin
from domain.rules.taxonomy import TaxonRank
from tests.rules.law.stating import DAY, animal, listing, taxon

SLIDER = taxon("Trachemys scripta", family="Emydidae", order="Testudines")
KINGSNAKE = listing("Lampropeltis getula", members=("Lampropeltis californiae", "Lampropeltis splendida", "Lampropeltis holbrooki"))


def verdict(selector, of, *, on=DAY):
    found = selects_taxon(selector, of, on=on)
    return "unknown" if not found.is_known else found.holds


@pytest.mark.parametrize(
    ("entry", "of", "expected"),
    [
        (listing("Trachemys scripta"), SLIDER, True),
        (listing("TRACHEMYS  scripta"), SLIDER, True),
        (listing("Emydidae", rank=TaxonRank.FAMILY), SLIDER, True),
        (listing("Testudines", rank=TaxonRank.ORDER), SLIDER, True),
        (listing("Testudinidae", rank=TaxonRank.FAMILY), SLIDER, False),
        (listing("Trachemys ornata"), SLIDER, False),
        (listing("Emys scripta"), taxon("Trachemys scripta", also=("Emys scripta",)), True),
        (listing("Testudines", rank=TaxonRank.ORDER), taxon("Trachemys scripta", family="Emydidae"), "unknown"),
        (listing("Trachemys scripta elegans", rank=TaxonRank.SUBSPECIES), SLIDER, "unknown"),
        (listing("Xenopus laevis bunyoniensis", rank=TaxonRank.SUBSPECIES), SLIDER, False),
        (listing("Trachemys scripta"), taxon("Trachemys", rank=TaxonRank.GENUS), "unknown"),
        (listing("Trachemys scripta"), taxon("Xenopus", rank=TaxonRank.GENUS), False),
        (listing("Trachemys scripta"), taxon("Pipidae", rank=TaxonRank.FAMILY), "unknown"),
        (listing("Trachemys scripta", higher=((TaxonRank.FAMILY, "Emydidae"),)), taxon("Pipidae", rank=TaxonRank.FAMILY), False),
    ],
)
def test_a_listing_covers_what_it_names_and_leaves_out_only_what_is_known_to_be_another(entry, of, expected):
    assert verdict(Selector(any_of=(entry,)), of) == expected


@pytest.mark.parametrize("name", ["Lampropeltis getula", "Lampropeltis californiae", "Lampropeltis splendida", "Lampropeltis holbrooki"])
def test_the_lampropeltis_split_leaves_the_parts_of_a_listed_name_listed(name):
    assert verdict(Selector(any_of=(KINGSNAKE,)), taxon(name)) is True


def test_a_species_that_was_never_part_of_the_listed_name_is_not_listed():
    assert verdict(Selector(any_of=(KINGSNAKE,)), taxon("Lampropeltis triangulum")) is False


def test_what_is_left_out_by_name_is_not_selected():
    selector = Selector(any_of=(listing("Testudines", rank=TaxonRank.ORDER),), but_not=(listing("Cheloniidae", rank=TaxonRank.FAMILY),))

    assert verdict(selector, SLIDER) is True
    assert verdict(selector, taxon("Chelonia mydas", family="Cheloniidae", order="Testudines")) is False
    assert verdict(selector, taxon("Chelonia sp.", rank=TaxonRank.GENUS, order="Testudines")) == "unknown"


def crossed(*sides):
    known = tuple(Side() if one is None else Side(names=one.names, lineage=one.lineage) for one in sides)
    return replace(taxon("A cross", rank=TaxonRank.HYBRID), sides=known)


BURMESE, ROYAL = taxon("Python bivittatus"), taxon("Python regius")
COBRA = taxon("Naja naja", family="Elapidae")


@pytest.mark.parametrize(
    ("sides", "entry", "expected"),
    [
        ((BURMESE, ROYAL), listing("Python bivittatus"), True),
        ((ROYAL, BURMESE, ROYAL), listing("Python bivittatus"), True),
        ((BURMESE, None), listing("Python bivittatus"), True),
        ((BURMESE, ROYAL), listing("Boa constrictor"), False),
        ((BURMESE, ROYAL), listing("Python bivittatus bivittatus", rank=TaxonRank.SUBSPECIES), "unknown"),
        ((BURMESE, None), listing("Boa constrictor"), "unknown"),
        ((), listing("Python bivittatus"), "unknown"),
        ((COBRA, COBRA), listing("Elapidae", rank=TaxonRank.FAMILY), True),
        ((BURMESE, ROYAL), listing("Elapidae", rank=TaxonRank.FAMILY), "unknown"),
        ((COBRA, ROYAL), listing("Boidae", rank=TaxonRank.FAMILY), "unknown"),
        ((COBRA, COBRA), listing("Boidae", rank=TaxonRank.FAMILY), False),
    ],
)
def test_a_hybrid_is_covered_by_any_side_and_left_out_only_where_every_side_is_told_apart(sides, entry, expected):
    assert verdict(Selector(any_of=(entry,), with_hybrids=True), crossed(*sides)) == expected
    assert verdict(Selector(any_of=(entry,)), crossed(*sides)) is False


def test_xenopus_was_listed_two_years_before_the_restrictions_apply():
    selector = Selector(any_of=(listing("Xenopus laevis", applies_from=date(2024, 8, 2)), listing("Xenopus tropicalis")))
    clawed_frog = taxon("Xenopus laevis", family="Pipidae")

    found = [(verdict(selector, clawed_frog, on=on), delayed_until(selector, clawed_frog, on=on)) for on in DAYS]

    assert found == [(False, date(2024, 8, 2)), (False, date(2024, 8, 2)), (True, None)]
    assert delayed_until(selector, SLIDER, on=DAYS[0]) is None


DAYS = (date(2023, 1, 1), date(2024, 8, 1), date(2024, 8, 2))


def test_stages_and_origins_bound_a_selector_and_what_is_unknown_leaves_it_open():
    selector = Selector(life_stages=frozenset((LifeStage.EGG,)), origins=frozenset((Origin.WILD,)))

    def said(stage, origin):
        found = selects(selector, animal(life_stage=stage, origin=origin), on=DAY)
        return found.holds, found.missing

    assert said(LifeStage.EGG, Origin.WILD) == (True, frozenset())
    assert said(LifeStage.ADULT, Origin.UNKNOWN) == (False, frozenset())
    assert said(LifeStage.UNKNOWN, Origin.UNKNOWN) == (False, {"life_stage", "origin"})
    assert said(LifeStage.EGG, Origin.CAPTIVE_BRED) == (False, frozenset())


def test_a_selector_that_names_nothing_takes_every_animal():
    assert selects(Selector(), animal(), on=DAY).is_true
