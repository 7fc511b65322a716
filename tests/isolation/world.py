"""Two organisations with two sites each and every kind of record. Each text of the second is a word that stands nowhere else."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import Any
from uuid import UUID

import sqlalchemy as sa
from anyio.from_thread import start_blocking_portal

from api.app import build_app
from api.logs import request_log
from api.nightly import run_nights, run_organisation_night
from api.passwords import Passwords
from api.settings import Settings
from domain.actions.checkpoints import make_checkpoint
from domain.actions.law import REQUIREMENTS, load_pack
from domain.actions.night import record_failed_night
from domain.actions.sessions import note_uses
from domain.records.base import Record, metadata
from domain.records.engine import Store
from domain.records.requirements import Requirement as StoredRequirement
from domain.records.sites import Site
from domain.records.statements import Statement
from domain.records.tenancy import owner_column
from domain.records.transfers import Transfer, TransferAnimal
from domain.rules.law.jurisdictions import Jurisdiction, Level
from domain.rules.law.packs import RulePack
from domain.rules.law.requirements import Consequence, Duty, Entry, Exemption, Obligation, Period, Requirement, Selector
from domain.rules.law.spans import Span, Unit
from domain.rules.permissions import Role, Scope
from domain.rules.permits import DocumentKind
from domain.rules.taxonomy import TaxonRank
from domain.rules.transfers import TransferStage
from tests import makers, people
from tests.api.conftest import Client
from tests.memory_files import MemoryFiles
from tests.permissions.doors import NEEDED
from tests.pictures import PDF
from tests.transfer_files import file_of, plain_animal

SETTINGS = Settings(
    requests_per_minute=0,
    organisation_requests_per_minute=0,
    imports_per_hour=0,
    sign_ins_per_minute=0,
    address_sign_ins_per_minute=0,
    paper_checks_per_minute=0,
)
FILES = MemoryFiles()
"""Of all copies of a database: what lies there is found by its digest."""
A, B = makers.ORGANISATION, makers.OTHER_ORGANISATION
CANARY = "quokka"
"""The beginning of every text of the second organisation; its number follows."""
JURISDICTION = "QQ-QKA"
"""As much of a canary as fits into a jurisdiction's code."""
ON = date(2025, 1, 1)
SHORTEST_MARK = 9
UNKNOWN_NAME = "Boa ignota"
"""A scientific name that no taxon bears."""
UNKNOWN = "019ca945-0a00-7303-9a41-d18b21ab2c01"
"""An id of nothing."""


@dataclass
class Side:
    """One organisation: the ids of what is on record, and what its callers hold."""

    organisation_id: int
    ids: dict[str, str] = field(default_factory=dict)
    words: dict[str, str] = field(default_factory=dict)
    """What each text says, by where it was said."""
    key: str = ""
    bound_key: str = ""
    token: str = ""
    calendar: str = ""
    """The token of a calendar."""
    digest: str = ""
    """The entity tag of a paper."""
    idempotency_key: str = ""
    cursors: dict[str, str] = field(default_factory=dict)

    def word(self, place: str) -> str:
        """Return a text for a place, the same whenever it is asked for."""
        if place not in self.words:
            number = len(self.words)
            self.words[place] = f"{CANARY}{number:03d}x" if self.organisation_id == B else f"reed-{number:03d}"
        return self.words[place]


@dataclass
class World:
    """Both sides. ``theirs`` must never be seen by ``ours``."""

    ours: Side
    theirs: Side
    marks: set[str] = field(default_factory=set)
    """Every id, name, digest and other text that is on record of theirs and not of ours."""
    folded: set[str] = field(default_factory=set)


class Service:
    """A running service over a store, and callers of it."""

    def __init__(self, store: Store, app: Any, portal: Any, lines: Any) -> None:
        self.store, self.app, self._portal, self.lines = store, app, portal, lines

    def caller(self, proof: str | None) -> Client:
        """Return a caller with a key or a session's token."""
        return Client(self.app, self._portal, key=proof)


@contextmanager
def serving(store: Store, *, lines: Any = None) -> Iterator[Service]:
    """Yield the service over a store; ``lines`` gets its log."""
    app = build_app(store, settings=SETTINGS, clock=lambda: makers.NOON, log=lines and request_log(lines))
    app.state.house.passwords = Passwords(people.CHEAP)
    app.state.house.files = FILES
    with start_blocking_portal() as portal, portal.wrap_async_context_manager(app.router.lifespan_context(app)):
        yield Service(store, app, portal, lines)


def filled(store: Store) -> World:
    """Put both organisations on record and return them."""
    world = World(Side(A), Side(B))
    with serving(store) as service:
        for side in (world.ours, world.theirs):
            _fill(service, side)
    ours, theirs = (_texts_in(rows_of(store, number)) for number in (A, B))
    world.marks = theirs - ours
    return world


def _texts_in(rows: Mapping[str, Sequence[Sequence[Any]]]) -> set[str]:
    """Return every text and every id in some rows that is long enough to be nobody else's by chance."""
    cells = (str(cell) for table in rows.values() for row in table for cell in row if isinstance(cell, (str, UUID)))
    return {cell for cell in cells if len(cell) >= SHORTEST_MARK}


def _fill(service: Service, side: Side) -> None:
    store, ids = service.store, side.ids
    makers.organisation(store, organisation_id=side.organisation_id, name=side.word("organisation.name"))
    side.key = people.key(store, organisation_id=side.organisation_id, name=side.word("key.name"), scopes=sorted(Scope))
    client = service.caller(side.key)
    made = _Maker(client, side, store)
    _fill_pack(store, side)
    _fill_plain_law(service, side)
    for place in ("", "other_"):
        _fill_site(made, place)
    ids["mother"] = ids["other_animal"]
    side.idempotency_key = side.word("idempotency.key")
    made("site_again", "/v1/sites", {"name": side.word("again.name"), "zone": "UTC"}, Idempotency_Key=side.idempotency_key)
    made("rule", "/v1/retention-rules", {"kind": "animal", "keep_months": 9, **_texts(side, "rule", "source", "note")})
    made("hold", "/v1/holds", {"kind": "spare", **_texts(side, "hold", "why", "note")})
    bound = people.key(
        store, organisation_id=side.organisation_id, name=side.word("bound.name"), scopes=sorted(Scope), site_ids=[ids["site"]]
    )
    side.bound_key = bound
    _fill_people(service, made)
    _fill_what_ended(made)
    _fill_nights(service, side)
    _fill_reminders(service, side)
    _fill_imports(made)
    _fill_papers(made)
    _fill_transfer_file(made)
    _fill_the_rest(service, side)
    ids["key"] = client.get("/v1/keys").json()["items"][0]["id"]
    made("spare_key", "/v1/keys", {"name": side.word("spare_key.name"), "scopes": ["records.read"]})
    side.cursors = _cursors(client, ids)


class _Maker:
    """Registers records of one side through the service."""

    def __init__(self, client: Client, side: Side, store: Store) -> None:
        self.client, self.side, self.store = client, side, store

    def __call__(self, name: str, path: str, stated: dict[str, Any], **headers: str) -> None:
        answer = self.client.post(path, stated, **headers)
        assert answer.status_code in {200, 201, 202}, (path, answer.text)
        self.side.ids[name] = answer.json()["id"]


def _texts(side: Side, noun: str, *names: str) -> dict[str, str]:
    return {name: side.word(f"{noun}.{name}") for name in names}


def _fill_pack(store: Store, side: Side) -> None:
    """Put a rule pack on record, as its command does. As many jurisdictions as ours bring theirs, with the one that ``_fill_law`` adds."""
    code = JURISDICTION if side.organisation_id == B else "XR-LOW"
    state = Jurisdiction(code=code[:2], name=side.word("state.name"), level=Level.STATE, zone="UTC", fictional=True)
    place = replace(state, code=code, name=side.word("jurisdiction.name"), level=Level.SUBDIVISION, parent_code=code[:2])
    council = replace(place, code=f"{code}:REED", name=side.word("council.name"), level=Level.LOCAL_AUTHORITY, parent_code=code)
    further = () if side.organisation_id == B else (replace(state, code="XS", name=side.word("far_state.name"), zone="Europe/Lisbon"),)
    said = _texts(side, "requirement", "code", "version", "instrument", "title", "citation")
    exemption = Exemption(code=side.word("exemption.code"), until=ON, conditions=(side.word("exemption.conditions"),))
    listed = Selector(any_of=(Entry(name=side.word("taxon.scientific_name"), rank=TaxonRank.GENUS),))
    obligation = Obligation(code=side.word("obligation.code"), duty=Duty.CHECK, every=Span(7, Unit.DAYS))
    returned = Obligation(
        code=side.word("return.code"), duty=Duty.REPORT, period=Period.CALENDAR_YEAR, due_month=1, due_day=31, fields=("taxon",)
    )
    requirement = Requirement(
        **said,
        pack=side.word("rule_pack.name"),
        jurisdiction=code,
        consequence=Consequence.PROHIBITED,
        applies_from=ON,
        reviewed_on=ON,
        selector=listed,
        exemptions=(exemption,),
        obligations=(obligation, returned),
    )
    pack = RulePack(
        **_texts(side, "rule_pack", "name", "version", "title", "digest", "source"),
        fictional=True,
        jurisdictions=(state, place, council, *further),
        kinds=(DocumentKind(jurisdiction=code, **_texts(side, "document_kind", "code", "title", "citation")),),
        requirements=(requirement,),
    )
    with store.transaction(makers.origin(organisation_id=side.organisation_id)) as unit:
        load_pack(unit, pack)
        side.ids["requirement"] = str(unit.all(StoredRequirement, REQUIREMENTS)[0].id)


def _fill_site(made: _Maker, at: str) -> None:
    side, ids = made.side, made.side.ids
    code = JURISDICTION if side.organisation_id == B else "XR-LOW"
    made(f"{at}site", "/v1/sites", {"zone": "UTC", "jurisdiction": code, **_texts(side, f"{at}site", "name", "address", "note")})
    where = {"site_id": ids[f"{at}site"]}
    made(f"{at}system", "/v1/life-support-systems", {**where, **_texts(side, f"{at}system", "name", "note")})
    made(
        f"{at}enclosure",
        "/v1/enclosures",
        {**where, "life_support_system_id": ids[f"{at}system"], **_texts(side, f"{at}enclosure", "name", "note")},
    )
    made(f"{at}staff", "/v1/staff", {**where, "role": "keeper", **_texts(side, f"{at}staff", "name", "contact", "note")})
    made(
        f"{at}taxon",
        "/v1/taxa",
        {
            "rank": "species",
            **_texts(side, f"{at}taxon", "scientific_name", "common_name", "name_authorship", "according_to", "note"),
        },
    )
    _fill_taxon(made, at)
    competence = {"hazard": "venomous", "from_on": "2025-06-01", **_texts(side, f"{at}competence", "title", "assessed_by", "note")}
    made(f"{at}competence", f"/v1/staff/{ids[f'{at}staff']}/competences", competence)
    made(
        f"{at}animal",
        "/v1/animals",
        {
            "taxon_id": ids[f"{at}taxon"],
            "enclosure_id": ids[f"{at}enclosure"],
            "acquired_on": "2026-02-01",
            **_texts(side, f"{at}animal", "tag", "name", "note", "locality", "name_as_printed", "acquired_from", "reference"),
        },
    )
    _fill_animal(made, at)
    _fill_document(made, at)
    _fill_permit(made, at)
    _fill_visits(made, at)
    _fill_transfer(made, at)
    made(
        f"{at}model",
        "/v1/equipment-models",
        {
            "kind": "uvb-tube",
            "life_months": 6,
            "output_minimum": 2.0,
            "cautions": ["wet-hands"],
            **_texts(side, f"{at}model", "name", "output_unit", "supplier", "note"),
        },
    )
    made(
        f"{at}item",
        "/v1/equipment",
        {
            **where,
            "model_id": ids[f"{at}model"],
            "enclosure_id": ids[f"{at}enclosure"],
            "installed_on": "2025-03-01",
            "override_life_months": 7,
            **_texts(side, f"{at}item", "tag", "position", "serial", "override_reason", "note"),
        },
    )
    item = f"/v1/equipment/{ids[f'{at}item']}"
    made(f"{at}hours", f"{item}/hour-readings", {"read_on": "2026-02-01", "counter_h": 100.0, **_texts(side, f"{at}hours", "note")})
    made(
        f"{at}output",
        f"{item}/output-readings",
        {"measured_on": "2026-02-01", "value": 4.0, **_texts(side, f"{at}output", "method", "note")},
    )
    made(
        f"{at}check",
        f"{item}/checks",
        {"kind": "electrical-inspection", "done_on": "2026-02-01", "result": "passed", **_texts(side, f"{at}check", "note")},
    )
    made(
        f"{at}spare",
        "/v1/spares",
        {**where, "model_id": ids[f"{at}model"], "on_hand": 1, **_texts(side, f"{at}spare", "shelf", "note")},
    )


def _fill_document(made: _Maker, at: str) -> None:
    side, ids = made.side, made.side.ids
    content = PDF.replace(b"\n", f"\n% {side.word(f'{at}document.content')}\n".encode(), 1)
    file = {"file": (f"{side.word(f'{at}document.file_name')}.pdf", content)}
    facts = {"subject": "enclosure", "subject_id": ids[f"{at}enclosure"]}
    facts |= _texts(side, f"{at}document", "title", "reference", "note", "role")
    answer = made.client.request("POST", "/v1/documents", files=file, data=facts)
    assert answer.status_code == 201, answer.text
    ids[f"{at}document"] = answer.json()["id"]
    further = {"subject": "site", "subject_id": ids[f"{at}site"], **_texts(side, f"{at}attachment", "role", "note")}
    made(f"{at}attachment", f"/v1/documents/{ids[f'{at}document']}/attachments", further)


def _fill_transfer_file(made: _Maker) -> None:
    """Keep the transfer file of somebody else, with an animal of a name that is not on record."""
    side, ids = made.side, made.side.ids
    going = plain_animal(1, tag=side.word("transfer_file.tag"), scientific_name=UNKNOWN_NAME)
    content = file_of(animals=(going,), papers=(), paper_id=side.word("transfer_file.paper_id"))
    facts = {"subject": "enclosure", "subject_id": ids["enclosure"], **_texts(side, "transfer_file", "title")}
    answer = made.client.request("POST", "/v1/documents", files={"file": ("transfer.pdf", content)}, data=facts)
    assert answer.status_code == 201, answer.text
    ids["transfer_file"] = answer.json()["id"]


HAZARD_AT = {"": "venomous", "other_": "dangerous", "gone_": "can_injure"}
"""One containment rule holds for a class, and each place makes one."""


def _fill_taxon(made: _Maker, at: str) -> None:
    side, taxon, on = made.side, f"/v1/taxa/{made.side.ids[f'{at}taxon']}", {"from_on": "2025-01-01"}
    for noun in ("second_taxon", "third_taxon"):
        made(f"{at}{noun}", "/v1/taxa", {"rank": "species", **_texts(side, f"{at}{noun}", "scientific_name")})
    other = side.ids[f"{at}second_taxon"]
    member = {"member_id": other, **_texts(side, f"{at}concept_member", "source", "note")}
    made(f"{at}concept_member", f"{taxon}/members", member)
    target = {**on, "enclosure_kinds": ["other"], **_texts(side, f"{at}target", "water", "source", "note")}
    made(f"{at}target", f"{taxon}/targets", target)
    separation = {**on, "other_taxon_id": other, **_texts(side, f"{at}separation", "reason", "source", "note")}
    made(f"{at}separation", f"{taxon}/separations", separation)
    containment = {**on, "hazard": HAZARD_AT[at], "least_closure": "locked", **_texts(side, f"{at}containment", "source", "note")}
    made(f"{at}containment", "/v1/containments", containment)


def _fill_animal(made: _Maker, at: str) -> None:
    side, animal, on = made.side, f"/v1/animals/{made.side.ids[f'{at}animal']}", "2026-02-01"
    known = {"kind": "sexed", "sex": "female", "happened_on": on, **_texts(side, f"{at}event", "cause", "note")}
    made(f"{at}event", f"{animal}/events", known)
    _fill_others(made, at)
    said = _texts(side, f"{at}mark", "code", "scheme", "body_site", "reader", "applied_by", "view", "note")
    mark = {"kind": "tag", "from_on": on, **said}
    made(f"{at}old_mark", f"{animal}/marks", {**mark, "until_on": on, **_texts(side, f"{at}old_mark", "code", "until_reason")})
    made(f"{at}mark", f"{animal}/marks", mark)
    measurement = {"kind": "mass", "mass_g": 100, "measured_on": on, "staff_id": side.ids[f"{at}staff"]}
    made(f"{at}measurement", f"{animal}/measurements", {**measurement, **_texts(side, f"{at}measurement", "method", "note")})
    made(f"{at}parentage", f"{animal}/parents", {"role": "sire", **_texts(side, f"{at}parentage", "elsewhere", "known_by", "note")})
    holding = {"kind": "loan_in", "from_on": on, **_texts(side, f"{at}holding", "party", "terms", "note")}
    made(f"{at}holding", f"{animal}/holdings", holding)
    called = {"from_on": "2026-02-02", **_texts(side, f"{at}call_name", "name", "note")}
    made(f"{at}call_name", f"/v1/animals/{side.ids[f'{at}loner']}/names", called)


def _fill_others(made: _Maker, at: str) -> None:
    """Make a group that one animal has joined, one that may join it, one to be moved, and a second placement in another enclosure."""
    side, ids = made.side, made.side.ids
    here = {"taxon_id": ids[f"{at}taxon"], "enclosure_id": ids[f"{at}enclosure"], "acquired_on": "2026-01-10"}
    made(f"{at}other_enclosure", "/v1/enclosures", {"site_id": ids[f"{at}site"], **_texts(side, f"{at}other_enclosure", "name")})
    made(f"{at}group", "/v1/animals", {**here, "grouping": "group", "count": 9, **_texts(side, f"{at}group", "tag")})
    for noun in ("joiner", "loner", "joined"):
        made(f"{at}{noun}", "/v1/animals", {**here, **_texts(side, f"{at}{noun}", "tag")})
    merge = {"into_id": ids[f"{at}group"], "happened_on": "2026-01-20", **_texts(side, f"{at}merge", "override_reason", "note")}
    made(f"{at}group", f"/v1/animals/{ids[f'{at}joined']}/merge", merge)
    moved = {"enclosure_id": ids[f"{at}other_enclosure"], "from_on": "2026-02-03"}
    said = _texts(side, f"{at}placement", "override_reason", "note")
    made(f"{at}placement", f"/v1/animals/{ids[f'{at}animal']}/placements", {**moved, **said})


def _fill_permit(made: _Maker, at: str) -> None:
    """Make a permit with all that belongs to it, facts of the premises, an override, and a brood with the event of what came of it."""
    side, ids = made.side, made.side.ids
    site, animal, member = (ids[f"{at}{noun}"] for noun in ("site", "animal", "staff"))
    code = JURISDICTION if side.organisation_id == B else "XR-LOW"
    said = {"kind": side.word("document_kind.code"), "jurisdiction": code, "site_id": site, "holder_id": member, "issued_on": "2026-02-01"}
    made(f"{at}permit", "/v1/permits", {**said, **_texts(side, f"{at}permit", "authority", "number", "holder", "note")})
    permit = f"/v1/permits/{ids[f'{at}permit']}"
    made(f"{at}permit_taxon", f"{permit}/taxa", {"taxon_id": ids[f"{at}third_taxon"], **_texts(side, f"{at}permit_taxon", "note")})
    made(f"{at}permit_animal", f"{permit}/animals", {"animal_id": animal, **_texts(side, f"{at}permit_animal", "note")})
    met = {"met_on": "2026-02-02", "met_by_id": member}
    made(f"{at}permit_condition", f"{permit}/conditions", {**met, **_texts(side, f"{at}permit_condition", "text", "proof")})
    escaped = {"occasion": "escape", "happened_on": "2026-02-03"}
    made(f"{at}permit_event", f"{permit}/events", {**escaped, **_texts(side, f"{at}permit_event", "note")})
    known = {"from_on": "2026-02-01", "kinds": [side.word(f"{at}premises.kinds")], **_texts(side, f"{at}premises", "holder_kind", "note")}
    made(f"{at}premises", f"/v1/sites/{site}/premises", known)
    answered = {"staff_id": member, "animal_id": animal, "from_on": "2026-02-01", "expires_on": "2026-05-01"}
    answered |= {"requirement_code": side.word("requirement.code"), **_texts(side, f"{at}override", "reason", "evidence", "note")}
    made(f"{at}override", "/v1/overrides", answered)
    hatched = {"taxon_id": ids[f"{at}taxon"], "came_by": "hatched", "acquired_on": "2026-02-12"}
    made(f"{at}hatchling", "/v1/animals", {**hatched, **_texts(side, f"{at}hatchling", "tag")})
    [birth] = made.client.get(f"/v1/animals/{ids[f'{at}hatchling']}/events").json()["items"]
    ids[f"{at}birth"] = birth["id"]
    expected = {"seen_on": "2026-02-02", "outcome_event_id": birth["id"], **_texts(side, f"{at}brood", "note")}
    made(f"{at}brood", f"/v1/animals/{animal}/expected-broods", expected)


def _fill_visits(made: _Maker, at: str) -> None:
    """Make a visit with a finding and what is done about it, and an incident with an animal and whom it was told."""
    side, ids = made.side, made.side.ids
    site, animal, rule = ids[f"{at}site"], ids[f"{at}animal"], side.word("requirement.code")
    visit = {
        "site_id": site,
        "visited_on": "2026-02-03",
        **_texts(side, f"{at}inspection", "authority", "inspectors", "reference", "summary"),
    }
    made(f"{at}inspection", "/v1/inspections", visit)
    visited = f"/v1/inspections/{ids[f'{at}inspection']}"
    about = {"animal_id": animal, "enclosure_id": ids[f"{at}enclosure"], "permit_id": ids[f"{at}permit"], "requirement_code": rule}
    closed = {"closed_on": "2026-02-05", **_texts(side, f"{at}inspection_finding", "text", "closing")}
    made(f"{at}inspection_finding", f"{visited}/findings", {**about, **_texts(side, f"{at}inspection_finding", "text")})
    done = {"finding_id": ids[f"{at}inspection_finding"], "staff_id": ids[f"{at}staff"], "done_on": "2026-02-04"}
    done |= {"document_id": ids[f"{at}document"], **_texts(side, f"{at}corrective_action", "text", "proof")}
    made(f"{at}corrective_action", f"{visited}/corrective-actions", done)
    answer = made.client.patch(f"{visited}/findings/{ids[f'{at}inspection_finding']}", closed, if_match='"1"')
    assert answer.status_code == 200, answer.text
    mishap = {"site_id": site, "kind": "escape", "found_at": "2026-02-03T08:30:00Z", "enclosure_id": ids[f"{at}enclosure"]}
    ended = {"closed_on": "2026-02-05", **_texts(side, f"{at}incident", "account", "outcome")}
    made(f"{at}incident", "/v1/incidents", {**mishap, **ended})
    path = f"/v1/incidents/{ids[f'{at}incident']}"
    made(f"{at}incident_animal", f"{path}/animals", {"animal_id": animal, **_texts(side, f"{at}incident_animal", "note")})
    told = {"told_at": "2026-02-03T09:30:00Z", "requirement_code": rule}
    made(f"{at}notification", f"{path}/notifications", {**told, **_texts(side, f"{at}notification", "told_to", "way", "reference", "note")})


def _fill_transfer(made: _Maker, at: str) -> None:
    """Make the plan of a transfer with an animal, a paper and what was reported of it, as if it had arrived once."""
    side, ids = made.side, made.side.ids
    plan = {
        "basis": "gift",
        "from_site_id": ids[f"{at}site"],
        "dispatch_on": "2026-04-01",
        "arrive_on": "2026-04-02",
        "report_after_days": [7],
        "party_jurisdiction": "XR",
        **_texts(side, f"{at}transfer", "reference", "party", "party_address", "party_contact", "party_licence", "carrier"),
        **_texts(side, f"{at}transfer", "carrier_contact", "carrier_authorisation", "container", "care", "note"),
        **_texts(side, f"{at}transfer", "quarantine_reason"),
    }
    made(f"{at}transfer", "/v1/transfers", plan)
    path = f"/v1/transfers/{ids[f'{at}transfer']}"
    going = {"animal_id": ids[f"{at}animal"], **_texts(side, f"{at}transfer_animal", "note")}
    made(f"{at}transfer_animal", f"{path}/animals", going)
    paper = {"issued_on": "2026-02-20", "document_id": ids[f"{at}document"], "transfer_animal_ids": [ids[f"{at}transfer_animal"]]}
    said = _texts(side, f"{at}transfer_paper", "title", "number", "authority", "note")
    made(f"{at}transfer_paper", f"{path}/papers", {**paper, "requirement_code": side.word("requirement.code"), **said})
    far = {"refused_because": side.word(f"{at}transfer.refused"), "approved_by": side.word(f"{at}transfer.approved")}
    far |= _texts(side, f"{at}transfer", "offspring_split")
    _change(made, Transfer, f"{at}transfer", stage=TransferStage.RECEIVED, arrived_at=makers.NOON - timedelta(days=4), **far)
    read = ("tag", "transponder", "other_mark", "name_as_printed", "mark_loaded", "mark_arrived", "condition", "discrepancy")
    _change(made, TransferAnimal, f"{at}transfer_animal", **_texts(side, f"{at}transfer_animal", *read))
    report = {"after_days": 7, "reported_on": "2026-02-25", **_texts(side, f"{at}transfer_report", "text")}
    made(f"{at}transfer_report", f"{path}/reports", report)
    _change(made, Transfer, f"{at}transfer", stage=TransferStage.DRAFT, arrived_at=None)
    if not at:
        ids |= dict.fromkeys(OF_A_STAGE, ids["transfer"])


OF_A_STAGE = (
    "complete_transfer",
    "approved_transfer",
    "transfer_under_way",
    "transfer_to_refuse",
    "arrived_transfer",
    "closing_transfer",
)
"""What the requests of the doors call transfers of some stage; here one stands for all."""


def _change(made: _Maker, record: type[Record], name: str, **columns: Any) -> None:
    """Change columns of a record that no request states."""
    with made.store.transaction(makers.origin(organisation_id=made.side.organisation_id)) as unit:
        unit.change(unit.fetch(record, UUID(made.side.ids[name])), columns, action="change_transfer")


def _fill_plain_law(service: Service, side: Side) -> None:
    """Have rule packs know what the requests of the doors name; it is the same on either side."""
    with service.store.transaction(makers.origin(organisation_id=side.organisation_id)) as unit:
        makers.document_kind(unit, "keeping")
        makers.requirement(unit, "XR-1")


ENDED = {
    "hours": "equipment/{gone_item}/hour-readings/{gone_hours}",
    "output": "equipment/{gone_item}/output-readings/{gone_output}",
    "check": "equipment/{gone_item}/checks/{gone_check}",
    "spare": "spares/{gone_spare}",
    "item": "equipment/{gone_item}",
    "event": "animals/{gone_animal}/events/{gone_event}",
    "placement": "animals/{gone_animal}/placements/{gone_placement}",
    "group": "animals/{gone_group}",
    "joiner": "animals/{gone_joiner}",
    "mark": "animals/{gone_animal}/marks/{gone_mark}",
    "measurement": "animals/{gone_animal}/measurements/{gone_measurement}",
    "parentage": "animals/{gone_animal}/parents/{gone_parentage}",
    "holding": "animals/{gone_animal}/holdings/{gone_holding}",
    "call_name": "animals/{gone_loner}/names/{gone_call_name}",
    "brood": "animals/{gone_animal}/expected-broods/{gone_brood}",
    "hatchling": "animals/{gone_hatchling}",
    "override": "overrides/{gone_override}",
    "corrective_action": "inspections/{gone_inspection}/corrective-actions/{gone_corrective_action}",
    "inspection_finding": "inspections/{gone_inspection}/findings/{gone_inspection_finding}",
    "inspection": "inspections/{gone_inspection}",
    "incident_animal": "incidents/{gone_incident}/animals/{gone_incident_animal}",
    "notification": "incidents/{gone_incident}/notifications/{gone_notification}",
    "incident": "incidents/{gone_incident}",
    "transfer_report": "transfers/{gone_transfer}/reports/{gone_transfer_report}",
    "transfer_paper": "transfers/{gone_transfer}/papers/{gone_transfer_paper}",
    "transfer_animal": "transfers/{gone_transfer}/animals/{gone_transfer_animal}",
    "transfer": "transfers/{gone_transfer}",
    "permit_taxon": "permits/{gone_permit}/taxa/{gone_permit_taxon}",
    "permit_animal": "permits/{gone_permit}/animals/{gone_permit_animal}",
    "permit_condition": "permits/{gone_permit}/conditions/{gone_permit_condition}",
    "permit_event": "permits/{gone_permit}/events/{gone_permit_event}",
    "permit": "permits/{gone_permit}",
    "premises": "sites/{gone_site}/premises/{gone_premises}",
    "loner": "animals/{gone_loner}",
    "attachment": "documents/{gone_document}/attachments/{gone_attachment}",
    "document": "documents/{gone_document}",
    "animal": "animals/{gone_animal}",
    "enclosure": "enclosures/{gone_enclosure}",
    "other_enclosure": "enclosures/{gone_other_enclosure}",
    "system": "life-support-systems/{gone_system}",
    "model": "equipment-models/{gone_model}",
    "concept_member": "taxa/{gone_taxon}/members/{gone_concept_member}",
    "target": "taxa/{gone_taxon}/targets/{gone_target}",
    "separation": "taxa/{gone_taxon}/separations/{gone_separation}",
    "containment": "containments/{gone_containment}",
    "taxon": "taxa/{gone_taxon}",
    "competence": "staff/{gone_staff}/competences/{gone_competence}",
    "staff": "staff/{gone_staff}",
    "site": "sites/{gone_site}",
    "rule": "retention-rules/{gone_rule}",
    "key": "keys/{gone_key}",
    "identity": "accounts/{gone_account}/identities/{gone_identity}",
    "grant": "staff/{person}/grants/{gone_grant}",
    "account": "accounts/{gone_account}",
}
"""What has ended, in an order in which it can: one of each kind."""


def _fill_what_ended(made: _Maker) -> None:
    side, ids = made.side, made.side.ids
    _fill_site(made, "gone_")
    made("gone_rule", "/v1/retention-rules", {"kind": "spare", "keep_months": 9, **_texts(side, "gone_rule", "source")})
    made("gone_key", "/v1/keys", {"scopes": ["records.read"], **_texts(side, "gone_key", "name")})
    made("gone_account", "/v1/accounts", {"staff_id": ids["other_staff"], **_texts(side, "gone_account", "sign_in_name")})
    _fill_identity(made, "gone_")
    made("gone_grant", f"/v1/staff/{ids['person']}/grants", {"role": "viewer", "site_id": ids["other_site"]})
    for noun, path in ENDED.items():
        made(f"gone_{noun}", f"/v1/{path.format(**ids)}/end", {"reason": side.word(f"{noun}.end_reason")})


def _fill_identity(made: _Maker, at: str) -> None:
    side = made.side
    stated = {"issuer": f"https://{side.word(f'{at}identity.issuer')}.example", "subject": side.word(f"{at}identity.subject")}
    made(f"{at}identity", f"/v1/accounts/{side.ids[f'{at}account']}/identities", stated)


def _fill_people(service: Service, made: _Maker) -> None:
    side, ids = made.side, made.side.ids
    granted = tuple((role, None) for role in Role if role is not Role.ADMINISTRATOR)
    name = side.word("account.sign_in_name")
    who = people.person(service.store, name, role=Role.ADMINISTRATOR, grants=granted, organisation_id=side.organisation_id)
    second = people.person(service.store, side.word("second.sign_in_name"), role=Role.REGISTRAR, organisation_id=side.organisation_id)
    ids |= {"person": str(who.staff_id), "account": str(who.account_id), "second_person": str(second.staff_id)}
    started = people.sign_in(service.caller(None), who).json()
    side.token, ids["session"] = started["token"], started["id"]
    _fill_identity(made, "")
    made("grant", f"/v1/staff/{ids['staff']}/grants", {"role": "viewer", "site_id": ids["site"]})
    asked = {"action": "erase_staff", "subject_id": ids["other_staff"], "why": side.word("approval.why")}
    answer = service.caller(side.token).post("/v1/approvals", asked)
    assert answer.status_code == 201, answer.text
    ids["approval"] = answer.json()["id"]


def _fill_nights(service: Service, side: Side) -> None:
    for _ in run_nights(service.store, side.organisation_id, now=makers.NOON, actor="command:nightly", request_id="night"):
        pass
    run_organisation_night(service.store, side.organisation_id, now=makers.NOON, actor="command:nightly", request_id="night")
    earlier = makers.origin(organisation_id=side.organisation_id, at=makers.NOON - timedelta(days=1))
    with service.store.transaction(earlier) as unit:
        site = unit.fetch(Site, UUID(side.ids["site"]))
        side.ids["night"] = str(record_failed_night(unit, site, error=side.word("nightly_run.error")).id)


def _fill_reminders(service: Service, side: Side) -> None:
    """Put a check that the law asks for off with a reason, and make two calendars of the person, of which one ends."""
    person = service.caller(side.token)
    asked = {"site_id": side.ids["site"], "subject": "site"}
    side.ids["reminder"] = person.get("/v1/reminders", params=asked).json()["items"][0]["id"]
    put_off = {"until": "2026-03-02", "reason": side.word("reminder.reason")}
    assert person.post(f"/v1/reminders/{side.ids['reminder']}/defer", put_off).status_code == 200
    for noun in ("calendar_feed", "gone_calendar_feed"):
        answer = person.post("/v1/calendar-feeds", {"name": side.word(f"{noun}.name"), "kinds": ["check"], "site_id": side.ids["site"]})
        assert answer.status_code == 201, answer.text
        side.ids[noun] = answer.json()["id"]
        side.calendar = side.calendar or answer.json()["path"].removeprefix("/calendar/").removesuffix(".ics")
    why = {"reason": side.word("calendar_feed.end_reason")}
    assert person.post(f"/v1/calendar-feeds/{side.ids['gone_calendar_feed']}/end", why).status_code == 200


def _fill_imports(made: _Maker) -> None:
    side = made.side
    file = f"name,zone,{side.word('import.column')}\n{side.word('import.row')},{side.word('import.zone')},x\n".encode()
    files = {"file": (f"{side.word('import.file_name')}.csv", file)}
    mapping = {"mapping": f"# {side.word('import.mapping')}"}
    answer = made.client.request("POST", "/v1/imports?kind=sites&dry_run=true", files=files, data=mapping)
    side.ids["import"] = answer.json()["id"]
    assert _finished(made.client, f"/v1/imports/{side.ids['import']}")["state"] == "done"


def _fill_papers(made: _Maker) -> None:
    of_a_rule = {"kind": "periodic-return", "requirement_code": made.side.word("requirement.code"), "year": 2025}
    made("return", "/v1/reports", {"site_id": made.side.ids["site"], **of_a_rule})
    assert _finished(made.client, f"/v1/reports/{made.side.ids['return']}")["state"] == "done"
    made("register", "/v1/reports", {"site_id": made.side.ids["site"], "kind": "permit-register"})
    made.side.ids["paper"] = _finished(made.client, f"/v1/reports/{made.side.ids['register']}")["paper_id"]
    made("report", "/v1/reports", {"site_id": made.side.ids["site"]})
    assert _finished(made.client, f"/v1/reports/{made.side.ids['report']}")["state"] == "done"
    made.side.digest = made.client.get(f"/v1/reports/{made.side.ids['report']}/file").headers["ETag"]


def _finished(client: Client, path: str) -> dict[str, Any]:
    until = time.monotonic() + 60
    while (found := client.get(path).json())["state"] in {"waiting", "running"} and time.monotonic() < until:
        time.sleep(0.02)
    return dict(found)


def _fill_the_rest(service: Service, side: Side) -> None:
    """Put on record what no door makes: a checkpoint, the use of a key and what was read."""
    with service.store.transaction(replace(makers.origin(organisation_id=side.organisation_id), actor=side.word("origin.actor"))) as unit:
        make_checkpoint(unit, lambda _: side.word("checkpoint.signature"), key_id=side.word("checkpoint.key_id"))
        note_uses(unit, keys={}, sessions={})
    service.caller(side.key).get(f"/v1/staff/{side.ids['staff']}")
    service.caller(side.key).get(f"/v1/reports/{side.ids['report']}/file")
    service.caller(side.key).get(f"/v1/documents/{side.ids['document']}/file")


def _cursors(client: Client, ids: dict[str, str]) -> dict[str, str]:
    """Return the cursor to the second page of every list that has one."""
    lists = [path for path in client.app.openapi()["paths"] if "get" in client.app.openapi()["paths"][path]]
    found = {}
    for path in lists:
        asked = path.replace("{animal_id}", ids["animal"]).replace("{equipment_id}", ids["item"]).replace("{document_id}", ids["document"])
        asked = asked.replace("{permit_id}", ids["permit"]).replace("{site_id}", ids["site"])
        asked = asked.replace("{inspection_id}", ids["inspection"]).replace("{incident_id}", ids["incident"])
        asked = asked.replace("{account_id}", ids["account"]).replace("{staff_id}", ids["staff"]).replace("{taxon_id}", ids["taxon"])
        if "{" not in asked:
            answer = client.get(asked, params={**NEEDED.get(path, {}), "limit": 1}).content if asked.startswith("/v1/") else b"{}"
            following = json.loads(answer).get("next") if answer[:1] == b"{" else None
            if following is not None:
                found[path] = following
    return found


def rows_of(store: Store, organisation_id: int) -> dict[str, list[tuple[Any, ...]]]:
    """Return every row of an organisation, by table, in one order."""
    found: dict[str, list[tuple[Any, ...]]] = {}
    with store.snapshot(makers.origin(organisation_id=organisation_id)) as unit:
        for table in metadata.sorted_tables:
            own = table.c[owner_column(table)] == sa.bindparam("organisation_id")
            found[table.name] = sorted(unit.rows(Statement(sa.select(table).where(own))), key=repr)
    return found
