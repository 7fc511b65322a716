"""Two sites of ours under one law, an animal at the first, and enclosures to keep apart who arrives."""

from __future__ import annotations

import pytest

from domain.rules.law.requirements import Entry, Selector
from domain.rules.taxonomy import TaxonRank
from tests import makers
from tests.actions.transfers.of_transfers import KNOWN


@pytest.fixture
def unit(store, organisation):
    with store.transaction(makers.origin()) as opened:
        yield opened


@pytest.fixture
def site(unit):
    makers.requirement(unit, "XR-9", selector=Selector(any_of=(Entry(name="Boa ficta", rank=TaxonRank.SPECIES),)))
    return makers.site(unit, jurisdiction="XR")


@pytest.fixture
def other(unit):
    return makers.site(unit, name="Tern Point", jurisdiction="XR")


@pytest.fixture
def taxon(unit):
    return makers.taxon(unit, hazard="harmless")


@pytest.fixture
def animal(unit, site, taxon):
    place = makers.enclosure(unit, site)
    return makers.animal(unit, taxon, enclosure_id=str(place.id), acquired_on="2025-01-10")


@pytest.fixture
def group(unit, site, taxon):
    home = makers.enclosure(unit, site, name="Pond")
    return makers.group(unit, taxon, 20, enclosure_id=str(home.id), acquired_on="2025-01-10", override_reason=KNOWN)


@pytest.fixture
def quarantine(unit, other):
    return makers.enclosure(unit, other, name="Q1", quarantine=True)


@pytest.fixture
def quarantine_here(unit, site):
    return makers.enclosure(unit, site, name="Q2", quarantine=True)
