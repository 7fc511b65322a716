"""The demo's rule packs: invented throughout, and an example of all that a pack can say."""

from __future__ import annotations

import pytest

import migrations
from api.law import read_pack
from domain.actions.law import law_as_of
from domain.actions.subjects import Chronicle
from domain.records.engine import open_store
from domain.rules.law.book import Book
from domain.rules.law.decision import Bearing
from domain.rules.law.facts import Premises
from domain.rules.law.jurisdictions import Level
from domain.rules.law.packs import OnRecord
from domain.rules.law.requirements import Activity, Consequence, Duty, Fact, Occasion, Period, Relation
from domain.rules.law.selection import selects_taxon
from domain.rules.law.spans import Span, Unit
from domain.rules.measures import MeasureKind
from domain.rules.permits import Start
from seed import demo
from tests import makers

TODAY = makers.NOON.date()


@pytest.fixture(scope="module")
def packs():
    return [read_pack(text, file=file).pack for file, text in demo.law_files().items()]


@pytest.fixture(scope="module")
def rules(packs):
    return [one for pack in packs for one in pack.requirements]


def test_each_pack_can_be_taken_alone():
    for file, text in demo.law_files().items():
        read_pack(text, file=file).check(OnRecord(), today=TODAY)


def test_everything_says_that_it_is_fictional(packs, rules):
    named = [pack.title for pack in packs] + [one.name for pack in packs for one in pack.jurisdictions]
    cited = [text for pack in packs for one in pack.kinds for text in (one.title, one.citation)]
    said = named + cited + [text for one in rules for text in (one.title, one.citation, one.instrument)]

    assert [text for text in said if not text.endswith("(fictional)")] == []
    assert all(pack.fictional and all(one.fictional for one in pack.jurisdictions) for pack in packs)


def predicates(rules):
    return [each for one in rules for each in (*one.when, *(it for exemption in one.exemptions for it in exemption.when))]


def test_together_they_use_every_word_that_a_pack_has(packs, rules):
    duties = [each for one in rules for each in one.obligations]
    kinds = [one for pack in packs for one in pack.kinds]
    asked = predicates(rules)
    spans = [span for each in duties for span in (each.within, each.every, each.lead)] + [
        span for one in kinds for span in (one.lasts, one.renewal_lead)
    ]

    assert {one.consequence for one in rules} == set(Consequence)
    assert {one.level for pack in packs for one in pack.jurisdictions} == set(Level)
    assert {one.fact for one in asked} >= {*Fact, MeasureKind.MASS, MeasureKind.STRAIGHT_CARAPACE_LENGTH, MeasureKind.TOTAL_LENGTH}
    assert {one.relation for one in asked} == set(Relation)
    assert {one.duty for one in duties} == set(Duty)
    # That a number was exceeded ends permits, and nothing is due from then.
    assert {one.occasion for one in duties} == {*Occasion, None} - {Occasion.NUMBER_EXCEEDED}
    assert {one.period for one in duties} == {*Period, None}
    assert {one.starts for one in kinds} == set(Start)
    assert {span.unit for span in spans if isinstance(span, Span)} == set(Unit)


def test_together_they_use_every_kind_of_selector_and_exemption(packs, rules):
    entries = [entry for one in rules for entry in one.selector.any_of]
    exemptions = [each for one in rules for each in one.exemptions]
    kinds = [one for pack in packs for one in pack.kinds]

    assert any(entry.members for entry in entries)
    assert any(entry.higher for entry in entries)
    assert any(entry.applies_from for entry in entries)
    assert {entry.rank.value for entry in entries} >= {"order", "family", "genus", "species"}
    for part in ("but_not", "life_stages", "origins", "with_hybrids"):
        assert any(getattr(one.selector, part) for one in rules), part
    for part in ("document", "activities", "until", "when", "conditions"):
        assert any(getattr(one, part) for one in exemptions), part
    for part in ("lasts", "ends_with", "for_one_consignment", "counted_stages", "renewal_lead"):
        assert any(getattr(one, part) for one in kinds), part
    assert any(one.listed_on and one.listed_on < one.applies_from for one in rules)
    assert any(one.applies_until for one in rules)
    assert any(each.measured_within_days for each in predicates(rules))
    assert any(each.fields and each.lead for one in rules for each in one.obligations)
    assert any(one.working_days.holidays for pack in packs for one in pack.jurisdictions)


@pytest.fixture(scope="module")
def built(packs, tmp_path_factory):
    """Return the law and the animals of a demo that was built under it, with the jurisdictions of each site."""
    url = f"sqlite:///{tmp_path_factory.mktemp('demo') / 'reedbed.sqlite3'}"
    migrations.upgrade(url)
    store = open_store(url)
    makers.organisation(store)
    with store.transaction(makers.origin()) as unit:
        assert "law" in [*demo.build(unit, packs)]
        law = law_as_of(unit)
        subjects = Chronicle(unit, from_on=TODAY, until_on=TODAY).on(TODAY)
    store.close()
    return law, subjects


def test_whatever_lives_in_the_demo_can_be_told_apart_from_what_is_listed(built):
    law, subjects = built
    taxa = {one.taxon.id: one.taxon for one in subjects}

    open_questions = {
        (taxon.name, one.code)
        for taxon in taxa.values()
        for one in law.requirements
        if not selects_taxon(one.selector, taxon, on=TODAY).is_known
    }

    assert len(taxa) == 15
    assert open_questions == set()


@pytest.mark.parametrize(
    ("name", "where", "activity", "documents", "bearing"),
    [
        ("Trachemys scripta", "XR-LOW", Activity.HOLD, ("contained-holding",), Bearing.NEEDS_DOCUMENT),
        ("Lampropeltis getula", "XR-LOW", Activity.HOLD, ("contained-holding",), Bearing.NEEDS_DOCUMENT),
        ("Xenopus laevis", "XR", Activity.BREED, (), Bearing.PROHIBITS),
        ("Xenopus laevis", "XL-N", Activity.HOLD, ("concern-permit",), Bearing.NEEDS_DOCUMENT),
        ("Heloderma suspectum", "XR-LOW", Activity.HOLD, ("large-reptile-permit",), Bearing.NEEDS_DOCUMENT),
        ("Paleosuchus palpebrosus", "XL-S", Activity.HOLD, ("dangerous-animal-licence",), Bearing.NEEDS_DOCUMENT),
        ("Bitis gabonica", "XG-PIN", Activity.HOLD, ("pinfold-permit",), Bearing.NEEDS_DOCUMENT),
        ("Python bivittatus", "XG-PIN", Activity.MOVE_BETWEEN, ("injurious-permit",), Bearing.NEEDS_DOCUMENT),
        ("Pogona vitticeps", "XG-PIN", Activity.MOVE_BETWEEN, ("health-certificate",), Bearing.NEEDS_DOCUMENT),
    ],
)
def test_the_law_of_a_place_says_what_its_regime_is_about(built, name, where, activity, documents, bearing):
    law, subjects = built
    subject = next(one for one in subjects if one.taxon.name == name)
    place = Premises(jurisdictions=law.chain(where), holder_kind="institution", kinds=frozenset(), public_days=100)

    found = Book(law.requirements, known=law.jurisdictions, on=TODAY).decide(subject, activity=activity, premises=place).findings

    assert (bearing, documents) in {(one.bearing, one.documents) for one in found}
