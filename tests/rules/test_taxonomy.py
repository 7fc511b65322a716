"""What lies above a taxon, which taxon a name stands for, and what a listed name covers."""

from __future__ import annotations

import tracemalloc
from datetime import date, timedelta
from uuid import UUID

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from domain.rules.fitness import Hazard
from domain.rules.taxonomy import Member, Taxonomy, TaxonRank, TaxonRow, is_higher, ranks_in, sides_of

TODAY = date(2026, 3, 1)
COLUBRIDAE, LAMPROPELTIS, GETULA, CALIFORNIAE, SPLENDIDA, HOLBROOKI, TRIANGULUM, FLORIDANA, OLD_NAME, YUMENSIS = (
    UUID(int=number) for number in range(1, 11)
)


def row(taxon_id: UUID, rank: str, above: UUID | None = None, **rest: object) -> TaxonRow:
    return TaxonRow(id=taxon_id, rank=TaxonRank(rank), parent_id=above, **rest)  # type: ignore[arg-type]


# The kingsnakes: three former subspecies of Lampropeltis getula are species now, and a list that names it still means them.
KINGSNAKES = (
    row(COLUBRIDAE, "family", hazard=Hazard.HARMLESS),
    row(LAMPROPELTIS, "genus", COLUBRIDAE),
    row(GETULA, "species", LAMPROPELTIS),
    row(FLORIDANA, "subspecies", GETULA),
    row(CALIFORNIAE, "species", LAMPROPELTIS),
    row(SPLENDIDA, "species", LAMPROPELTIS),
    row(HOLBROOKI, "species", LAMPROPELTIS),
    row(TRIANGULUM, "species", LAMPROPELTIS),
    row(OLD_NAME, "species", accepted_id=GETULA),
    row(YUMENSIS, "subspecies", accepted_id=CALIFORNIAE),
)
SPLIT = tuple(Member(taxon_id=GETULA, member_id=one) for one in (CALIFORNIAE, SPLENDIDA, HOLBROOKI))
TAXONOMY = Taxonomy(KINGSNAKES, SPLIT)


@pytest.mark.parametrize(
    ("named", "covered"),
    [
        (GETULA, {GETULA, FLORIDANA, CALIFORNIAE, SPLENDIDA, HOLBROOKI, OLD_NAME, YUMENSIS}),
        (OLD_NAME, {GETULA, FLORIDANA, CALIFORNIAE, SPLENDIDA, HOLBROOKI, OLD_NAME, YUMENSIS}),
        (CALIFORNIAE, {CALIFORNIAE, YUMENSIS}),
        (YUMENSIS, {CALIFORNIAE, YUMENSIS}),
        (FLORIDANA, {FLORIDANA}),
        (TRIANGULUM, {TRIANGULUM}),
        (LAMPROPELTIS, {one.id for one in KINGSNAKES} - {COLUBRIDAE}),
        (COLUBRIDAE, {one.id for one in KINGSNAKES}),
    ],
)
def test_a_listed_name_covers_itself_its_synonyms_what_lies_in_it_and_what_was_split_from_it(named, covered):
    assert {one.id for one in KINGSNAKES if TAXONOMY.covers(named, one.id, on=TODAY)} == covered


def test_without_the_concept_a_name_does_not_cover_what_was_split_from_it():
    plain = Taxonomy(KINGSNAKES)

    assert not plain.covers(GETULA, CALIFORNIAE, on=TODAY)
    assert plain.covers(GETULA, FLORIDANA, on=TODAY)


@pytest.mark.parametrize(("day", "covered"), [(TODAY - timedelta(days=1), False), (TODAY, True), (TODAY + timedelta(days=1), True)])
def test_a_member_belongs_to_a_concept_from_its_day_on(day, covered):
    dated = Taxonomy(KINGSNAKES, [Member(taxon_id=GETULA, member_id=SPLENDIDA, from_on=TODAY)])

    assert dated.covers(GETULA, SPLENDIDA, on=day) is covered


def test_the_concept_of_a_member_is_covered_as_well():
    # The list names the old name of getula; floridana has become a species and holbrooki was split from that in turn.
    rows = [one for one in KINGSNAKES if one.id != FLORIDANA] + [row(FLORIDANA, "species", LAMPROPELTIS)]
    members = [Member(taxon_id=OLD_NAME, member_id=FLORIDANA), Member(taxon_id=FLORIDANA, member_id=YUMENSIS)]
    taxonomy = Taxonomy(rows, members)

    assert taxonomy.covers(GETULA, FLORIDANA, on=TODAY)
    assert taxonomy.covers(GETULA, CALIFORNIAE, on=TODAY)
    assert not taxonomy.covers(FLORIDANA, GETULA, on=TODAY)
    assert not taxonomy.covers(GETULA, SPLENDIDA, on=TODAY)


def test_the_lineage_of_a_name_begins_with_the_accepted_taxon():
    assert TAXONOMY.lineage(YUMENSIS) == (CALIFORNIAE, LAMPROPELTIS, COLUBRIDAE)
    assert TAXONOMY.lineage(COLUBRIDAE) == (COLUBRIDAE,)
    assert TAXONOMY.accepted(OLD_NAME) == GETULA
    assert TAXONOMY.accepted(GETULA) == GETULA


def test_a_taxon_in_a_synonym_lies_in_the_accepted_taxon():
    sunk, inside = UUID(int=50), UUID(int=51)
    taxonomy = Taxonomy([*KINGSNAKES, row(sunk, "species", COLUBRIDAE, accepted_id=GETULA), row(inside, "subspecies", sunk)])

    assert taxonomy.lineage(inside) == (inside, GETULA, LAMPROPELTIS, COLUBRIDAE)


def test_what_lies_above_the_rows_is_the_highest_there():
    part = Taxonomy([row(GETULA, "species", LAMPROPELTIS, name="Lampropeltis getula")])

    assert part.lineage(GETULA) == (GETULA, LAMPROPELTIS)
    assert part.covers(LAMPROPELTIS, GETULA, on=TODAY)
    assert (part.name(GETULA), part.name(LAMPROPELTIS)) == ("Lampropeltis getula", "")


def test_a_name_that_is_not_among_the_rows_stands_for_itself():
    stranger = UUID(int=99)

    assert TAXONOMY.lineage(stranger) == (stranger,)
    assert TAXONOMY.hazard(stranger) is None
    assert TAXONOMY.name(stranger) == ""
    assert TAXONOMY.covers(stranger, stranger, on=TODAY)


def test_the_hazard_class_is_the_nearest_on_record():
    adder, viperidae, viperinae = UUID(int=60), UUID(int=61), UUID(int=62)
    rows = [row(viperidae, "family", hazard=Hazard.VENOMOUS), row(viperinae, "subfamily", viperidae), row(adder, "species", viperinae)]

    assert Taxonomy(rows).hazard(adder) is Hazard.VENOMOUS
    assert Taxonomy([*rows[:2], row(adder, "species", viperinae, hazard=Hazard.DANGEROUS)]).hazard(adder) is Hazard.DANGEROUS
    assert Taxonomy([row(viperidae, "family"), *rows[1:]]).hazard(adder) is None


def test_the_hazard_class_of_a_concept_is_not_that_of_its_members():
    rows = [row(GETULA, "species", hazard=Hazard.CAN_INJURE), row(SPLENDIDA, "species")]

    assert Taxonomy(rows, SPLIT).hazard(SPLENDIDA) is None


@pytest.mark.parametrize(
    "rows",
    [
        [row(GETULA, "species", GETULA)],
        [row(GETULA, "species", LAMPROPELTIS), row(LAMPROPELTIS, "genus", GETULA)],
        [row(GETULA, "species", accepted_id=OLD_NAME), row(OLD_NAME, "species", accepted_id=GETULA)],
        [row(GETULA, "species", OLD_NAME), row(OLD_NAME, "species", accepted_id=GETULA)],
    ],
)
def test_a_circle_is_refused(rows):
    with pytest.raises(ValueError, match="lies above itself"):
        Taxonomy(rows)


def test_concepts_that_cover_each_other_are_found_and_do_not_go_on_for_ever():
    both = Taxonomy(KINGSNAKES, [*SPLIT, Member(taxon_id=SPLENDIDA, member_id=GETULA, from_on=TODAY)])

    assert both.covers(GETULA, SPLENDIDA, on=TODAY)
    assert both.covers(SPLENDIDA, CALIFORNIAE, on=TODAY)
    assert both.is_circular(GETULA, on=TODAY)
    assert both.is_circular(SPLENDIDA, on=TODAY)
    assert not both.is_circular(GETULA, on=TODAY - timedelta(days=1))
    assert not TAXONOMY.is_circular(GETULA, on=TODAY)


RANKS = ("class", "order", "suborder", "family", "subfamily", "genus", "species")


@pytest.mark.parametrize("rank", RANKS)
def test_a_taxon_lies_in_one_of_a_higher_rank(rank):
    higher = {other for other in TaxonRank if is_higher(other, than=TaxonRank(rank))}

    assert higher == {TaxonRank(other) for other in RANKS[: RANKS.index(rank)]}


@pytest.mark.parametrize("rank", [TaxonRank.SUBSPECIES, TaxonRank.HYBRID])
def test_nothing_lies_in_a_subspecies_or_a_hybrid(rank):
    assert {other for other in TaxonRank if is_higher(other, than=rank)} == {TaxonRank(one) for one in RANKS}
    assert not any(is_higher(rank, than=other) for other in TaxonRank)


@st.composite
def taxonomies(draw):
    """Return taxa each of which lies in, or is a synonym of, one before it; and members of concepts, in whatever direction."""
    count = draw(st.integers(2, 12))
    ids = [UUID(int=number) for number in range(count)]
    rows = [row(ids[0], "class")]
    for number in range(1, count):
        before = draw(st.sampled_from(ids[:number]))
        rows.append(row(ids[number], "species", **draw(st.sampled_from([{"above": before}, {"accepted_id": before}, {}]))))
    pairs = draw(st.lists(st.tuples(st.sampled_from(ids), st.sampled_from(ids)), max_size=5))
    return rows, [Member(taxon_id=owner, member_id=one) for owner, one in pairs]


@settings(deadline=None)
@given(taxonomies())
def test_covering_is_reflexive_transitive_and_alike_for_all_names_of_a_taxon(given_taxonomy):
    rows, members = given_taxonomy
    taxonomy, ids = Taxonomy(rows, members), [one.id for one in rows]
    covered = {named: {one for one in ids if taxonomy.covers(named, one, on=TODAY)} for named in ids}

    for one in rows:
        assert one.id in covered[one.id]
        assert one.above_id is None or one.id in covered[one.above_id]
        assert covered[one.id] == covered[taxonomy.accepted(one.id)]
        assert all(covered[other] <= covered[one.id] for other in covered[one.id])
        assert set(taxonomy.lineage(one.id)) <= taxonomy.covering(one.id, on=TODAY)
    for member in members:
        assert member.member_id in covered[member.taxon_id]


def test_fifty_thousand_taxa_take_no_memory_but_their_own():
    ids = [UUID(int=number) for number in range(50_000)]
    rows = [row(ids[0], "class")] + [row(one, "species", ids[(number - 1) // 20]) for number, one in enumerate(ids[1:], start=1)]
    members = [Member(taxon_id=ids[number], member_id=ids[-number]) for number in range(1, 5_000)]
    tracemalloc.start()
    taxonomy = Taxonomy(rows, members)
    built = tracemalloc.get_traced_memory()[0]
    for one in ids[::10]:
        taxonomy.covering(one, on=TODAY)
        taxonomy.hazard(one)
    asked, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()

    assert built < 20_000_000
    # A set kept for each of the 5,000 that were asked about would take more.
    assert asked - built < 1_000_000
    assert peak < 30_000_000


@pytest.mark.parametrize(
    ("name", "sides"),
    [
        ("Python bivittatus × Python regius", ("Python bivittatus", "Python regius")),
        ("(Python bivittatus × Python regius) × Python regius", ("Python bivittatus", "Python regius", "Python regius")),
        ("[(Boa a × Boa b) × Boa c]×Boa d", ("Boa a", "Boa b", "Boa c", "Boa d")),
        ("Python bivittatus  bivittatus × P. regius", ("Python bivittatus bivittatus", "P. regius")),
        ("Python bivittatus × ", ("Python bivittatus", "")),
        ("Python bivittatus", ()),
        ("Python bivittatus x Python regius", ()),
    ],
)
def test_a_cross_is_read_to_its_last_side_whatever_was_crossed_first(name, sides):
    assert sides_of(name) == sides


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("Trachemys scripta", ["Trachemys", "Trachemys scripta"]),
        ("Trachemys scripta elegans", ["Trachemys", "Trachemys scripta", "Trachemys scripta elegans"]),
        ("Polygonia c-album", ["Polygonia", "Polygonia c-album"]),
        *((unclear, []) for unclear in (
            "Trachemys", "T. scripta", "scripta", "Trachemys sp.", "Trachemys cf scripta", "Trachemys scripta F", "Trachemys x scripta",
            "Trachemys (Trachemys) scripta", "Trachemys scripta elegans minor", "",
        )),
    ],
)  # fmt: skip
def test_a_name_in_full_says_its_genus_and_its_species_and_any_other_nothing(name, words):
    assert list(ranks_in(name).values()) == words
    assert list(ranks_in(name)) == [TaxonRank.GENUS, TaxonRank.SPECIES, TaxonRank.SUBSPECIES][: len(words)]
