"""An organisation with two sites, another organisation, one record of every kind at each, and callers with powers of any kind."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import date, timedelta
from hashlib import sha256
from typing import Any
from uuid import UUID

from api.signin import key_text, new_key_parts, session_text
from domain.actions.accounts import Code, register_account, register_grant, register_identity
from domain.actions.animals import register_animal
from domain.actions.approvals import ActOfTwo, ask_for_approval
from domain.actions.holdings import record_call_name, record_holding
from domain.actions.imports import ImportFileFacts
from domain.actions.imports.runs import ask_for_import
from domain.actions.kinship import record_parent
from domain.actions.lives import PLACEMENTS_OF
from domain.actions.marks import record_mark
from domain.actions.measurements import record_measurement
from domain.actions.organisations import create_key
from domain.actions.readings import record_check, record_hours, record_output
from domain.actions.recording import recorded
from domain.actions.retention import register_legal_hold, register_retention_rule
from domain.actions.sessions import START
from domain.actions.staff import register_staff
from domain.actions.taxa import register_taxon
from domain.records.accounts import Account, AccountIdentityStated, AccountStated, RoleGrant, RoleGrantStated, SignInSession
from domain.records.animals import Animal, AnimalStated, Placement
from domain.records.approvals import ApprovalStated
from domain.records.base import Record, row_of
from domain.records.enclosures import Enclosure
from domain.records.engine import Store
from domain.records.equipment import CheckResult, EquipmentCheckStated, HourReadingStated, OutputReadingStated
from domain.records.holdings import CallNameStated, HoldingKind, HoldingStated
from domain.records.journal import HEAD
from domain.records.kinship import ParentRole, ParentStated
from domain.records.marks import MarkEntered, MarkKind
from domain.records.measurements import MeasurementEntered
from domain.records.nights import ImportKind, Report, ReportKind, WorkState
from domain.records.organisations import ApiKeyStated
from domain.records.retention import LegalHoldStated, RetentionRuleStated
from domain.records.sites import Site
from domain.records.staff import Staff, StaffStated
from domain.records.taxa import Taxon, TaxonRank, TaxonStated
from domain.records.transfers import Transfer, TransferAnimal
from domain.records.unit import Unit
from domain.rules.law.jurisdictions import Jurisdiction, Level
from domain.rules.law.requirements import Entry, Selector
from domain.rules.lives import Grouping
from domain.rules.measures import MeasureKind
from domain.rules.permissions import EVERYWHERE, Grant, Role, Scope
from domain.rules.service_life import CheckKind
from domain.rules.transfers import TransferStage
from tests import makers
from tests.pictures import PDF
from tests.transfer_files import file_of

ON = date(2026, 2, 1)
_BOAS = Selector(any_of=(Entry(name="Boa ficta", rank=TaxonRank.SPECIES),))
UNKNOWN = "019ca945-0a00-7303-9a41-d18b21ab2c01"
BOUND_TO_A_SITE = (
    "site",
    "system",
    "enclosure",
    "staff",
    "competence",
    "other_enclosure",
    "animal",
    "group",
    "joiner",
    "loner",
    "placement",
    "event",
    "mark",
    "measurement",
    "parentage",
    "holding",
    "call_name",
    "brood",
    "permit",
    "permit_taxon",
    "permit_animal",
    "permit_condition",
    "permit_event",
    "premises",
    "override",
    "inspection",
    "inspection_finding",
    "corrective_action",
    "incident",
    "incident_animal",
    "notification",
    "transfer",
    "transfer_animal",
    "transfer_paper",
    "transfer_report",
    "complete_transfer",
    "approved_transfer",
    "transfer_under_way",
    "transfer_to_refuse",
    "arrived_transfer",
    "closing_transfer",
    "reminder",
    "document",
    "attachment",
    "transfer_file",
    "item",
    "hours",
    "output",
    "check",
    "spare",
    "report",
    "account",
    "grant",
    "key",
)


@dataclass
class World:
    """The ids of what is on record, by name: ``here`` and ``there`` are two sites of one organisation, ``theirs`` is another's."""

    store: Store
    caller: Callable[[str | None], Any]
    here: dict[str, str] = field(default_factory=dict)
    there: dict[str, str] = field(default_factory=dict)
    theirs: dict[str, str] = field(default_factory=dict)

    def key(self, scopes: Iterable[Scope] = tuple(Scope), *, sites: Iterable[str] | None = None, organisation_id: int | None = None) -> Any:
        """Return a caller with a key of these scopes, for these sites or, where they are left out, for all."""
        public_id, secret = new_key_parts()
        bound = None if sites is None else [UUID(site_id) for site_id in sites]
        stated = ApiKeyStated(name="program", scopes=sorted(scopes), site_ids=bound)
        with self.store.transaction(makers.origin(organisation_id=organisation_id or makers.ORGANISATION)) as unit:
            create_key(unit, stated, public_id=public_id, secret=secret)
        return self.caller(key_text(public_id, secret))

    def person(self, *grants: Grant, name: str = "A. Keeper") -> Any:
        """Return a caller who signed in as a member of staff with these grants; the first is that of their own record."""
        with self.store.transaction(makers.origin()) as unit:
            member = a_member(unit, grants, name=name)
            token = a_session(unit, member)
        found = self.caller(token)
        found.staff_id = str(member.id)
        return found

    def position(self) -> int:
        """Return how many journal entries the organisation has."""
        with self.store.snapshot(makers.origin()) as unit:
            return int(unit.row(HEAD)[0])


def a_member(unit: Unit, grants: tuple[Grant, ...], *, name: str) -> Staff:
    first, *more = grants
    member = register_staff(unit, StaffStated(name=name, role=first.role, site_id=first.site_id))
    for grant in more:
        recorded(unit, RoleGrant, RoleGrantStated(staff_id=member.id, role=grant.role, site_id=grant.site_id), record_id=None)
    return member


def a_session(unit: Unit, member: Staff) -> str:
    account = recorded(
        unit, Account, AccountStated(staff_id=member.id, sign_in_name=str(member.id)), record_id=None, sign_in_name_key=str(member.id)
    )
    token = session_text(unit.organisation_id, f"secret-of-{member.id}")
    session = SignInSession(
        organisation_id=unit.organisation_id,
        id=unit.new_id(),
        account_id=account.id,
        token_sha256=sha256(token.encode()).hexdigest(),
        created_at=unit.origin.at,
        last_seen_at=unit.origin.at,
        expires_at=unit.origin.at + timedelta(days=1),
        ended_at=None,
    )
    unit.run(START, **row_of(session))
    return token


def populated(store: Store, caller: Callable[[str | None], Any]) -> World:
    """Return a world with everything on record."""
    world = World(store, caller)
    makers.organisation(store, organisation_id=makers.OTHER_ORGANISATION, name="Saltings Aquarium")
    with store.transaction(makers.origin()) as unit:
        shared = _shared(unit)
        world.here = {**shared, **_at_a_site(unit, shared, name="Reedmere House")}
        world.there = {**shared, **_at_a_site(unit, shared, name="Saltings Hall")}
    with store.transaction(makers.origin(organisation_id=makers.OTHER_ORGANISATION)) as unit:
        shared = _shared(unit)
        world.theirs = {**shared, **_at_a_site(unit, shared, name="Far Pools")}
    for names, organisation_id in ((world.here, None), (world.there, None), (world.theirs, makers.OTHER_ORGANISATION)):
        names.update(_document(world.key(organisation_id=organisation_id), names))
    return world


def _document(client: Any, names: dict[str, str]) -> dict[str, str]:
    """Put two documents on record with their files, attached to an enclosure; one is the transfer file of somebody else."""
    facts = {"title": "A paper", "subject": "enclosure", "subject_id": names["enclosure"]}
    filed = file_of(animals=(), papers=(), paper_id=f"77-{names['site']}", reference=f"FEN-{names['site']}")
    made = [client.request("POST", "/v1/documents", files={"file": ("paper.pdf", one)}, data=facts) for one in (PDF, filed)]
    assert [one.status_code for one in made] == [201, 201], made[0].text
    [attachment] = client.get(f"/v1/documents/{made[0].json()['id']}/attachments").json()["items"]
    return {"document": made[0].json()["id"], "attachment": attachment["id"], "transfer_file": made[1].json()["id"]}


def _shared(unit: Unit) -> dict[str, str]:
    model = makers.model(unit, output_unit="UVI", life_months=12)
    makers.pack(unit, "forest", jurisdictions=(Jurisdiction(code="XF", name="Forest", level=Level.STATE, zone="UTC", fictional=True),))
    taxon = register_taxon(unit, TaxonStated(scientific_name="Bombina fictiva", rank=TaxonRank.SPECIES))
    mothers = register_taxon(unit, TaxonStated(scientific_name="Bombina mater", rank=TaxonRank.SPECIES))
    mother = register_animal(unit, AnimalStated(taxon_id=mothers.id, tag="A-0", acquired_on=ON))
    options = {"dry_run": True, "skip_invalid": False, "create_enclosures": False, "mapping": None, "asked_by": "test"}
    asked = ask_for_import(unit, b"name\n", kind=ImportKind.SITES, file=ImportFileFacts("sites.csv", "0" * 64), options=options)
    unit.change(asked, {"state": WorkState.FAILED, "error": "This file has no rows."}, action="fail_import")
    rule = register_retention_rule(unit, RetentionRuleStated(kind="animal", keep_months=120, source="own rule"))
    hold = register_legal_hold(unit, LegalHoldStated(kind="staff", why="an inquiry"))
    made = {"model": model, "taxon": taxon, "mother": mother, "import": asked, "rule": rule, "hold": hold} | _of_taxon(unit, taxon)
    return {noun: str(one.id) for noun, one in made.items()}


def _of_taxon(unit: Unit, taxon: Taxon) -> dict[str, Record]:
    other, third = (makers.taxon(unit, name) for name in ("Bufo alter", "Bufo tertius"))
    return {
        "third_taxon": third,
        "concept_member": makers.concept_member(unit, taxon, other),
        "target": makers.target(unit, taxon),
        "separation": makers.separation(unit, taxon, other),
        "containment": makers.containment(unit),
        "requirement": makers.requirement(unit, "XR-7"),
        "boas_only": makers.requirement(unit, "XF-1", jurisdiction="XF", selector=_BOAS),
    }


def _at_a_site(unit: Unit, shared: dict[str, str], *, name: str) -> dict[str, str]:
    site = makers.site(unit, name=name, jurisdiction="XF")
    system = makers.system(unit, site)
    enclosure = makers.enclosure(unit, site, life_support_system_id=str(system.id))
    item = makers.equipment(unit, _Model(UUID(shared["model"])), site, tag=f"RE-1 {name}", enclosure_id=str(enclosure.id))
    made = {
        "site": site,
        "system": system,
        "enclosure": enclosure,
        "item": item,
        "spare": makers.spare(unit, _Model(UUID(shared["model"])), site),
        "staff": register_staff(unit, StaffStated(name=f"Keeper of {name}", role=Role.KEEPER, site_id=site.id)),
        "animal": _animal(unit, shared, enclosure, name=name),
        "hours": record_hours(unit, item.id, HourReadingStated(read_on=ON, counter_h=100.0)),
        "output": record_output(unit, item.id, OutputReadingStated(measured_on=ON, value=4.0)),
        "check": record_check(unit, item.id, EquipmentCheckStated(kind=CheckKind.ELECTRICAL, done_on=ON, result=CheckResult.PASSED)),
        "report": _report(unit, site),
    }
    made |= _others(unit, shared, site, enclosure)
    made |= _of_animal(unit, made["animal"]) | _signing_in(unit, site, made["staff"])
    made["competence"] = makers.competence(unit, made["staff"])
    made |= _of_the_law(unit, shared, site, made["animal"], made["staff"])
    made |= _of_visits(unit, site, made["animal"])
    made |= _of_transfers(unit, shared, site, enclosure)
    ids = {noun: str(record.id) for noun, record in made.items()}
    asked = ask_for_approval(
        unit,
        ApprovalStated(action="erase_staff", subject_id=UUID(ids["staff"]), why="asked to be forgotten"),
        act_named=lambda _: ActOfTwo(Staff, EVERYWHERE),
    )
    return {**ids, "approval": str(asked.id), "session": UNKNOWN}


def _animal(unit: Unit, shared: dict[str, str], enclosure: Enclosure, *, name: str) -> Animal:
    stated = AnimalStated(taxon_id=UUID(shared["taxon"]), tag=f"A-1 {name}", enclosure_id=enclosure.id, acquired_on=ON)
    return register_animal(unit, stated)


def _others(unit: Unit, shared: dict[str, str], site: Site, enclosure: Enclosure) -> dict[str, Record]:
    """Return a group, one animal that may join it, another that may be moved, and where to."""
    here = {"taxon_id": UUID(shared["taxon"]), "enclosure_id": enclosure.id, "acquired_on": ON}
    group = AnimalStated(tag=f"G-1 {site.name}", grouping=Grouping.GROUP, count=9, **here)
    loner = register_animal(unit, AnimalStated(tag=f"A-9 {site.name}", **here))
    return {
        "other_enclosure": makers.enclosure(unit, site, name="Hall A 02"),
        "group": register_animal(unit, group),
        "loner": loner,
        "joiner": register_animal(unit, AnimalStated(tag=f"A-8 {site.name}", **here)),
        "call_name": record_call_name(unit, loner.id, CallNameStated(name="Reed", from_on=ON)),
    }


def _of_animal(unit: Unit, animal: Animal) -> dict[str, Record]:
    return {
        "placement": unit.all(Placement, PLACEMENTS_OF, animal_id=animal.id)[0],
        "event": makers.event(unit, animal, "sexed", ON.isoformat(), sex="unknown").event,
        "mark": record_mark(unit, animal.id, MarkEntered(kind=MarkKind.PHOTOGRAPH, view="plastron", from_on=ON)),
        "measurement": record_measurement(unit, animal.id, MeasurementEntered(kind=MeasureKind.MASS, mass_g=100.0, measured_on=ON)),
        "parentage": record_parent(unit, animal.id, ParentStated(role=ParentRole.SIRE, elsewhere="a wild one")),
        "holding": record_holding(unit, animal.id, HoldingStated(kind=HoldingKind.LOAN_IN, party="Far Pools", from_on=ON)),
    }


def _of_the_law(unit: Unit, shared: dict[str, str], site: Site, animal: Animal, member: Staff) -> dict[str, Record]:
    """Return a permit of a site with all that belongs to it, what is known of the premises, an override, and an expected brood."""
    permit = makers.permit(unit, site_id=str(site.id), number=f"P-1 {site.name}", any_taxon=False)
    return {
        "permit": permit,
        "permit_taxon": makers.permit_taxon(unit, permit, unit.fetch(Taxon, UUID(shared["third_taxon"])), number=3),
        "permit_animal": makers.permit_animal(unit, permit, animal),
        "permit_condition": makers.permit_condition(unit, permit),
        "permit_event": makers.permit_event(unit, permit),
        "premises": makers.premises(unit, site),
        "override": makers.override(unit, animal, member),
        "brood": makers.expected_brood(unit, animal),
        "reminder": makers.reminder(unit, site),
        "calendar_feed": makers.calendar_feed(unit, member, f"calendar of {site.name}"),
    }


def _of_visits(unit: Unit, site: Site, animal: Animal) -> dict[str, Record]:
    """Return a visit to a site with what it found and what is done about it, and something that went wrong there."""
    visit, mishap = makers.inspection(unit, site), makers.incident(unit, site)
    found = makers.inspection_finding(unit, visit)
    return {
        "inspection": visit,
        "inspection_finding": found,
        "corrective_action": makers.corrective_action(unit, found),
        "incident": mishap,
        "incident_animal": makers.incident_animal(unit, mishap, animal),
        "notification": makers.notification(unit, mishap),
    }


GOERS = ("goer", "second_goer", "third_goer")
"""The animals that are on transfers."""


def _of_transfers(unit: Unit, shared: dict[str, str], site: Site, enclosure: Enclosure) -> dict[str, Record]:
    """Return transfers of every stage from a site to another party, with what belongs to them."""

    def going(reference: str, **stated: Any) -> Transfer:
        return makers.transfer(unit, site, None, reference=f"{reference} {site.name}", party_jurisdiction="XF", **stated)

    def with_animal(reference: str) -> tuple[Transfer, TransferAnimal, Animal]:
        facts = {"taxon_id": UUID(shared["taxon"]), "enclosure_id": enclosure.id, "acquired_on": ON}
        animal = register_animal(unit, AnimalStated(tag=f"{reference} {site.name}", **facts))
        transfer = going(reference)
        return transfer, makers.transfer_animal(unit, transfer, animal), animal

    def at(stage: TransferStage, reference: str, **stated: Any) -> Record:
        arrived = {"arrived_at": unit.origin.at - timedelta(days=4)} if stage is TransferStage.RECEIVED else {}
        return unit.change(going(reference, **stated), {"stage": stage, **arrived}, action="check_transfer")

    draft, line, first = with_animal("T-1")
    complete, _, second = with_animal("T-2")
    approved, _, third = with_animal("T-3")
    arrived = at(TransferStage.RECEIVED, "T-4", report_after_days=[7, 30])
    return {
        **dict(zip(GOERS, (first, second, third), strict=True)),
        "transfer": draft,
        "transfer_animal": line,
        "transfer_paper": makers.transfer_paper(unit, draft),
        "complete_transfer": unit.change(complete, {"stage": TransferStage.COMPLETE}, action="check_transfer"),
        "approved_transfer": unit.change(approved, {"stage": TransferStage.APPROVED}, action="approve_transfer"),
        "transfer_under_way": at(TransferStage.DISPATCHED, "T-5"),
        "transfer_to_refuse": at(TransferStage.DISPATCHED, "T-6"),
        "arrived_transfer": arrived,
        "transfer_report": makers.transfer_report(unit, arrived),
        "closing_transfer": at(TransferStage.RECEIVED, "T-7"),
    }


def _signing_in(unit: Unit, site: Site, member: Staff) -> dict[str, Record]:
    stated = AccountStated(staff_id=member.id, sign_in_name=f"keeper of {site.name}")
    account = register_account(unit, stated, code=Code(f"{site.id}", unit.origin.at + timedelta(days=1)))
    identity = AccountIdentityStated(account_id=account.id, issuer="https://id.example", subject=str(site.id))
    grant = RoleGrantStated(staff_id=member.id, role=Role.VIEWER, site_id=site.id)
    key = ApiKeyStated(name=f"display at {site.name}", scopes=[Scope.RECORDS_READ], site_ids=[site.id])
    return {
        "account": account,
        "identity": register_identity(unit, identity),
        "grant": register_grant(unit, grant),
        "key": create_key(unit, key, public_id=str(site.id)[-12:].replace("-", ""), secret="secret").key,
    }


@dataclass(frozen=True)
class _Model:
    id: UUID


def _report(unit: Unit, site: Site) -> Report:
    return unit.add(
        Report(
            organisation_id=unit.organisation_id,
            id=unit.new_id(),
            created_at=unit.origin.at,
            kind=ReportKind.REPLACEMENT_DUE,
            site_id=site.id,
            local_date=ON,
            state=WorkState.FAILED,
            error="It could not be made.",
        ),
        action="ask_for_report",
    )
