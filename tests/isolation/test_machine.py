"""Whatever another organisation does meanwhile, an organisation sees what it would see if it were alone (non-interference).

Two organisations do things at random in one database, with the same ids, names and tags. What each does is also done where it is alone,
and after every step both are shown the same. ``REEDBED_ROUNDS=200`` gives the full figures.
"""

from __future__ import annotations

import os
from contextlib import nullcontext
from dataclasses import replace
from datetime import date
from itertools import count
from uuid import UUID

import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test

import migrations
from domain.actions.animals import end_animal, register_animal
from domain.actions.due_list import due_list, judge_site
from domain.actions.enclosures import change_enclosure, end_enclosure, register_enclosure
from domain.actions.equipment import change_equipment, end_equipment, register_equipment, register_equipment_model
from domain.actions.readings import record_hours
from domain.actions.recording import Ending
from domain.actions.sites import change_site, end_site, register_site
from domain.actions.spares import register_spare
from domain.actions.taxa import register_taxon
from domain.actions.verify import prove
from domain.errors import Refusal
from domain.records.animals import Animal, AnimalStated
from domain.records.base import table_of
from domain.records.enclosures import Enclosure, EnclosureStated
from domain.records.engine import open_store
from domain.records.equipment import (
    Equipment,
    EquipmentKind,
    EquipmentModel,
    EquipmentModelStated,
    EquipmentStated,
    HourReading,
    HourReadingStated,
    Spare,
    SpareStated,
)
from domain.records.journal import HEAD
from domain.records.sites import Site, SiteStated
from domain.records.statements import Statement
from domain.records.taxa import Taxon, TaxonRank, TaxonStated
from domain.records.unit import Overtaken, _get
from tests import makers
from tests.isolation.layers import ALL, NONE, open_layered
from tests.postgres_server import url_for

USUAL_ROUNDS = 25
ROUNDS = int(os.environ.get("REEDBED_ROUNDS", USUAL_ROUNDS))
STEPS = 30
FIRST = makers.ORGANISATION + 100
IDS = [UUID(f"019ca945-0a00-7303-9a41-d18b21ab2c{number:02x}") for number in range(4)]
SEEN = (Site, Taxon, EquipmentModel, Enclosure, Animal, Equipment, Spare, HourReading)
VIEWS = {
    record: Statement(
        sa.select(table_of(record))
        .where(table_of(record).c.organisation_id == sa.bindparam("organisation_id"))
        .order_by(table_of(record).c.id)
    )
    for record in SEEN
}
numbers = count()
who, own_id, other_id = st.integers(0, 1), st.sampled_from(IDS), st.sampled_from(IDS)
word = st.sampled_from(["Reedmere", "Saltings", "Quillback"])


class Together(RuleBasedStateMachine):
    """Two organisations in one database, and each of them alone in another."""

    together, alone = None, None
    accepted = 0

    def __init__(self):
        super().__init__()
        first = FIRST + 2 * next(numbers)
        self.organisations = (first, first + 1)
        for number in self.organisations:
            for store in (self.together, self.alone):
                makers.organisation(store, organisation_id=number, name=f"Trust {number}")
        for turn, own in ((0, IDS[0]), (1, IDS[0]), (1, IDS[1])):
            self.begin(turn, own)

    def begin(self, turn, own):
        """Put one of each kind on record, under ids that the other organisation has as well."""
        name = f"first {own}"
        self.site(turn, own, name)
        self.enclosure(turn, own, own, name)
        self.taxon(turn, own, name)
        self.animal(turn, own, own, name)
        self.model(turn, own, name, 6)
        self.item(turn, own, own, own, name)
        self.spare(turn, own, own, own, name)

    def act(self, turn, act):
        """Do something as one of the two, together and alone, and compare how it ended."""
        organisation_id = self.organisations[turn]
        outcome = _outcome(self.together, organisation_id, act)
        assert outcome == _outcome(self.alone, organisation_id, act)
        type(self).accepted += not isinstance(outcome, tuple)

    @rule(turn=who, own=own_id, name=word)
    def site(self, turn, own, name):
        self.act(turn, lambda unit: register_site(unit, SiteStated(name=name, zone="UTC"), record_id=own))

    @rule(turn=who, own=own_id, note=word)
    def other_note(self, turn, own, note):
        self.act(turn, lambda unit: change_site(unit, own, {"note": note}, expected_version=1))

    @rule(turn=who, own=own_id)
    def no_site(self, turn, own):
        self.act(turn, lambda unit: end_site(unit, own, Ending(reason="given up")))

    @rule(turn=who, own=own_id, at=other_id, name=word)
    def enclosure(self, turn, own, at, name):
        self.act(turn, lambda unit: register_enclosure(unit, EnclosureStated(site_id=at, name=name), record_id=own))

    @rule(turn=who, own=own_id, within=other_id)
    def other_parent(self, turn, own, within):
        self.act(turn, lambda unit: change_enclosure(unit, own, {"parent_id": str(within)}, expected_version=1))

    @rule(turn=who, own=own_id)
    def no_enclosure(self, turn, own):
        self.act(turn, lambda unit: end_enclosure(unit, own, Ending(reason="given up")))

    @rule(turn=who, own=own_id, name=word)
    def taxon(self, turn, own, name):
        self.act(turn, lambda unit: register_taxon(unit, TaxonStated(scientific_name=name, rank=TaxonRank.GENUS), record_id=own))

    @rule(turn=who, own=own_id, of=other_id, tag=word)
    def animal(self, turn, own, of, tag):
        self.act(turn, lambda unit: register_animal(unit, AnimalStated(taxon_id=of, tag=tag), record_id=own))

    @rule(turn=who, own=own_id)
    def no_animal(self, turn, own):
        self.act(turn, lambda unit: end_animal(unit, own, Ending(reason="given up")))

    @rule(turn=who, own=own_id, name=word, months=st.integers(1, 30))
    def model(self, turn, own, name, months):
        stated = EquipmentModelStated(name=name, kind=EquipmentKind.UVB_TUBE, life_months=months)
        self.act(turn, lambda unit: register_equipment_model(unit, stated, record_id=own))

    @rule(turn=who, own=own_id, of=other_id, at=other_id, tag=word)
    def item(self, turn, own, of, at, tag):
        stated = EquipmentStated(tag=tag, model_id=of, site_id=at, installed_on=date(2025, 3, 1))
        self.act(turn, lambda unit: register_equipment(unit, stated, record_id=own))

    @rule(turn=who, own=own_id, at=other_id)
    def other_place(self, turn, own, at):
        self.act(turn, lambda unit: change_equipment(unit, own, {"site_id": str(at)}, expected_version=1))

    @rule(turn=who, own=own_id)
    def no_item(self, turn, own):
        self.act(turn, lambda unit: end_equipment(unit, own, Ending(reason="given up")))

    @rule(turn=who, own=own_id, of=other_id, hours=st.integers(0, 9))
    def hours(self, turn, own, of, hours):
        stated = HourReadingStated(read_on=date(2026, 2, 1), counter_h=float(hours))
        self.act(turn, lambda unit: record_hours(unit, of, stated, record_id=own))

    @rule(turn=who, own=own_id, of=other_id, at=other_id, shelf=word)
    def spare(self, turn, own, of, at, shelf):
        stated = SpareStated(site_id=at, model_id=of, shelf=shelf, on_hand=1)
        self.act(turn, lambda unit: register_spare(unit, stated, record_id=own))

    @rule(turn=who, at=own_id)
    def due(self, turn, at):
        def act(unit):
            site, today = unit.fetch(Site, at), makers.NOON.date()
            return repr(due_list(unit, site, judge_site(unit, site, today=today)))

        self.act(turn, act)

    @invariant()
    def each_sees_what_it_would_see_alone(self):
        for number in self.organisations:
            assert _view(self.together, number) == _view(self.alone, number)

    def teardown(self):
        for number in self.organisations:
            with self.together.snapshot(makers.origin(organisation_id=number)) as unit:
                assert prove(unit).flaws == []


def _outcome(store, organisation_id, act):
    """Return what an action gave or how it was refused."""
    try:
        with store.transaction(makers.origin(organisation_id=organisation_id)) as unit:
            given = act(unit)
    except (Refusal, Overtaken) as refused:
        return type(refused), getattr(refused, "detail", ""), getattr(refused, "faults", ())
    return given if isinstance(given, str) else given.model_dump(exclude={"created_at"})


def _view(store, organisation_id):
    """Return what an organisation is shown of its records, and how long its journal is."""
    with store.snapshot(makers.origin(organisation_id=organisation_id)) as unit:
        return [unit.rows(statement) for statement in VIEWS.values()], unit.row(HEAD)[0]


@pytest.fixture
def alone(store, request, tmp_path):
    """Yield a store of the same kind in which every organisation does the same, and nobody interferes."""
    if store.dialect == "sqlite":
        url = f"sqlite:///{tmp_path / 'alone.sqlite3'}"
        migrations.upgrade(url)
    else:
        clone = request.getfixturevalue("postgres_database")
        template = request.getfixturevalue("migrated_template")
        url = url_for(request.getfixturevalue("postgres_url"), database=clone(template), role="reedbed_service")
    opened = open_store(url, pool_size=2)
    yield opened
    opened.close()


def rounds(number):
    """Return how often and how long the machine runs; more than by default is at random."""
    checks = [HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much]
    return settings(
        max_examples=number,
        stateful_step_count=STEPS,
        deadline=None,
        database=None,
        derandomize=number <= USUAL_ROUNDS,
        suppress_health_check=checks,
    )


def machine_over(together, alone):
    """Return the machine over two stores."""
    return type("Machine", (Together,), {"together": together, "alone": alone, "accepted": 0})


@pytest.mark.timeout(1800)
def test_no_organisation_sees_what_another_does(store, alone):
    machine = machine_over(store, alone)

    run_state_machine_as_test(machine, settings=rounds(ROUNDS))

    assert machine.accepted > (21 + 5) * ROUNDS, "hardly anything was accepted, so hardly anything could interfere"


@pytest.mark.parametrize("layers", [ALL, replace(NONE, open_for={_get(Site)}.__contains__)], ids=["all layers", "one statement forgets"])
def test_interference_is_found_where_one_statement_forgets_whose_records_are_meant(tmp_path, layers):
    stores = []
    for name, some in (("together", layers), ("alone", ALL)):
        migrations.upgrade(f"sqlite:///{tmp_path / name}")
        stores.append(open_layered(f"sqlite:///{tmp_path / name}", some))
    machine = machine_over(*stores)()

    with nullcontext() if layers is ALL else pytest.raises(AssertionError):
        machine.no_site(0, IDS[1])
        machine.each_sees_what_it_would_see_alone()
    for store in stores:
        store.close()
