"""Whether ten thousand animals are covered on a day, by fifty requirements and two thousand permits, against reading those rows."""

from __future__ import annotations

import gc
from contextlib import closing
from datetime import date

import pytest
import sqlalchemy as sa

from domain.actions.compliance import coverage_on
from domain.actions.law import KINDS, REQUIREMENTS
from domain.actions.permits import ANIMALS_OF_PERMITS, EVENTS_OF_PERMITS, NAMES_OF_TAXA, PERMITS
from domain.actions.sites import change_site
from domain.records.base import row_of, table_of
from domain.records.engine import open_store
from domain.records.permits import Permit, PermitTaxon
from domain.records.sites import Site
from domain.records.statements import Statement
from domain.records.subjects import ANIMALS_KNOWN, CHANGES, MARKS, PLACES, SIZES, STATES, SYNONYMS
from domain.records.taxa import Taxon
from domain.rules.compliance import Standing
from domain.rules.law.requirements import Activity, Consequence, Entry, Requirement, Selector
from domain.rules.permits import DocumentKind
from domain.rules.taxonomy import TaxonRank
from tests import makers
from tests.benchmarks.figures import Figure, measured, median
from tests.benchmarks.lives import load_lives

pytestmark = [pytest.mark.benchmark, pytest.mark.timeout(3600)]

DAY = date(2021, 6, 30)
ANIMALS, REQUIREMENTS_IN_ALL, PERMITS_IN_ALL, KINDS_IN_ALL = 10_000, 50, 2_000, 5
ROUNDS = 5
TARGET = 5.0
IN_PERIOD = (STATES, PLACES, MARKS)
UNTIL_THEN = (ANIMALS_KNOWN, CHANGES, SIZES)
OF_ALL_DAYS = (SYNONYMS, REQUIREMENTS, KINDS, PERMITS, NAMES_OF_TAXA, ANIMALS_OF_PERMITS, EVENTS_OF_PERMITS)
_taxon = table_of(Taxon)
ALL_TAXA = Statement(sa.select(_taxon).where(_taxon.c.organisation_id == sa.bindparam("organisation_id")))


@pytest.fixture(scope="session")
def regulated(lasting_house):
    """Return a database with animals whose taxa are listed in turn, and permits for one taxon at one site each."""
    found = load_lives(lasting_house.new(), animals=ANIMALS, server_url=lasting_house.server_url)
    origin = makers.origin(organisation_id=found.organisation_id)
    with closing(open_store(found.url, pool_size=1)) as store, store.transaction(origin) as unit:
        taxa = sorted(unit.all(Taxon, ALL_TAXA), key=lambda one: one.scientific_name)
        _state_the_law(unit, [one.scientific_name for one in taxa])
        for site_id in found.site_ids:
            site = unit.fetch(Site, site_id)
            change_site(unit, site_id, {"jurisdiction": "XR"}, expected_version=site.version)
        _grant_permits(unit, taxa, found.site_ids)
    return found


def _state_the_law(unit, names):
    kinds = [
        DocumentKind(code=f"kind-{one}", jurisdiction="XR", title="Permit", citation="s. 2 (fictional)") for one in range(KINDS_IN_ALL)
    ]
    rules = [
        Requirement(
            code=f"XR-{number}",
            version="1",
            pack="many",
            jurisdiction="XR",
            instrument="Invented Act",
            title="An invented rule",
            citation="s. 1 (fictional)",
            consequence=Consequence.DOCUMENT,
            documents=(f"kind-{number % KINDS_IN_ALL}",),
            activities=frozenset((Activity.HOLD,)),
            applies_from=date(2010, 1, 1),
            reviewed_on=date(2026, 1, 1),
            selector=Selector(any_of=tuple(Entry(name=name, rank=TaxonRank.SPECIES) for name in names[number::REQUIREMENTS_IN_ALL])),
        )
        for number in range(REQUIREMENTS_IN_ALL)
    ]
    makers.pack(unit, "many", kinds=tuple(kinds), requirements=tuple(rules))


def _grant_permits(unit, taxa, site_ids):
    made = makers.permit(unit, kind="kind-0", any_taxon=False, issued_on="2012-01-01")
    part = makers.permit_taxon(unit, made, taxa[0], number=4)
    permits, parts = [], []
    for number in range(PERMITS_IN_ALL):
        permit_id, place = unit.new_id(), number % len(taxa)
        of = {"kind": f"kind-{place % REQUIREMENTS_IN_ALL % KINDS_IN_ALL}", "site_id": site_ids[number % len(site_ids)]}
        permits.append({**row_of(made), **of, "id": permit_id, "number_key": str(permit_id)})
        parts.append({**row_of(part), "id": unit.new_id(), "permit_id": permit_id, "taxon_id": taxa[place].id})
    unit.add_many(Permit, permits, action="import_permit")
    unit.add_many(PermitTaxon, parts, action="import_permit_taxon")


def test_a_day_is_decided_in_a_few_times_the_reading_of_its_rows(regulated, figures):
    origin = makers.origin(organisation_id=regulated.organisation_id)
    taken = {"read": [], "ours": []}
    with closing(open_store(regulated.url, pool_size=1)) as store, store.snapshot(origin) as unit:
        unit.take_time()
        for _ in range(ROUNDS):
            for name, act in (("read", lambda: _read(unit)), ("ours", lambda: coverage_on(unit, on=DAY))):
                gc.collect()
                with measured() as spent:
                    found = act()
                taken[name].append(spent)

    standings = {one.standing for one in found.coverages}
    assert len(found.coverages) > ANIMALS / 3
    assert {Standing.COVERED, Standing.UNCOVERED} <= standings
    read_s, our_s = (median([one.wall_s for one in taken[name]]) for name in ("read", "ours"))
    peak_mb = max(one.peak_mb for one in taken["ours"])
    note = f"limit: reading those rows; {len(found.coverages)} animals there on the day, peak memory over start {peak_mb:.0f} MB"
    dialect = regulated.url.partition("+")[0].partition(":")[0]
    name = f"coverage on a day, {ANIMALS} animals x {REQUIREMENTS_IN_ALL} requirements x {PERMITS_IN_ALL} permits"
    figures.add(Figure(name, dialect, f"{our_s:.2f} s", f"{read_s:.2f} s", ratio=our_s / read_s, target=TARGET, at_most=True, note=note))


def _read(unit):
    for statement in IN_PERIOD:
        unit.rows(statement, from_on=DAY, until_on=DAY)
    for statement in UNTIL_THEN:
        unit.rows(statement, until_on=DAY)
    for statement in OF_ALL_DAYS:
        unit.rows(statement)
