"""Everything that one organisation can get to read: answers, papers, lists to fill in, the log, the figures, and what commands say."""

from __future__ import annotations

import io
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from prometheus_client import generate_latest
from pypdf import PdfReader

from api.metrics import registry_of
from api.nightly import run_nights, run_organisation_night
from domain.actions.verify import prove
from domain.records.base import metadata
from domain.records.statements import ForeignRow
from tests import makers
from tests.isolation.probing import CALLERS, callers, raw
from tests.isolation.slots import operations
from tests.isolation.world import Service, World, rows_of
from tests.permissions.doors import NEEDED

FORMS = ("pdf", "csv", "json", "orders")
TEMPLATES = ("csv", "xlsx")
FILTERS: Mapping[str, tuple[str, ...]] = {
    "ended": ("true", "any"),
    "as_of": ("2026-03-01",),
    "limit": ("1", "200"),
    "sort": ("walking_order", "due_on"),
    "format": ("csv",),
    "standing": ("overdue", "ok", "unknown"),
    "kind": ("uvb-tube", "other", "sites", "animal", "check"),
    "state": ("done", "failed", "waiting", "open"),
    "stage": ("soon", "overdue"),
    "role": ("keeper",),
    "rank": ("species",),
    "level": ("state", "subdivision"),
    "consequence": ("prohibited", "mark"),
    "parent_code": ("XR", "QQ"),
    "grouping": ("individual",),
    "due_by": ("2027-01-01",),
    "action": ("erase_staff",),
    "subject": ("animal", "enclosure"),
    "media_type": ("application/pdf",),
    "jurisdiction": ("XR-LOW",),
    "occasion": ("escape",),
}
"""What the filters that take neither a name nor an id are given."""


def everything_said(service: Service, world: World, by: Sequence[str] = CALLERS) -> dict[str, bytes]:
    """Return everything that our callers get, by what they asked for."""
    said: dict[str, bytes] = {}
    known = callers(service, world.ours)
    for name in by:
        said |= {f"{name}: {path}": text for path, text in _answers(known[name], world, with_filters=name == by[0])}
    said |= _papers(service, world)
    said |= _commands(service, world)
    return said


def _answers(client: Any, world: World, *, with_filters: bool) -> Iterator[tuple[str, bytes]]:
    for method, path, operation in operations(client.app.openapi()):
        if method != "GET" or (path.startswith("/v1/") and "{kind}" in path):
            continue
        here, needed = path.format(**_ids_for(path, world)), NEEDED.get(path, {})
        yield here, raw(client.get(here, params=needed))
        for parameter in operation.get("parameters", ()) if with_filters else ():
            if parameter["in"] == "query":
                for value in _values(parameter["name"], world):
                    yield f"{here}?{parameter['name']}={value}", raw(client.get(here, params={**needed, parameter["name"]: value}))
    for path in ("/openapi.json", "/docs", "/v1/nothing", "/v1/sites/none", "/v1/sites?nothing=1", "/v1/sites?cursor=x"):
        yield path, raw(client.get(path))
    yield "a body that cannot be taken", raw(client.post("/v1/sites", {"name": "", "zone": "Nowhere", "more": 1}))
    yield "a name that is taken", raw(client.post("/v1/sites", {"name": world.ours.words["site.name"], "zone": "UTC"}))
    for kind in ("sites", "equipment"):
        for form in TEMPLATES:
            yield f"template {kind} {form}", raw(client.get(f"/v1/imports/templates/{kind}?form={form}"))


def _ids_for(path: str, world: World) -> dict[str, str]:
    ids = world.ours.ids
    readings = {"reading_id": ids["hours" if "hour-" in path else "output"], "check_id": ids["check"]}
    of = {"site": "site", "enclosure": "enclosure", "life_support_system": "system", "staff": "staff", "taxon": "taxon", "animal": "animal"}
    of |= {"equipment_model": "model", "equipment": "item", "spare": "spare", "report": "report", "import": "import", "hold": "hold"}
    of |= {one: one for one in ("document", "attachment", "competence", "concept_member", "separation", "containment", "requirement")}
    of |= {one: one for one in ("placement", "event", "mark", "measurement", "parentage", "holding", "call_name")} | {
        "husbandry_target": "target"
    }
    of |= {one: one for one in ("permit", "permit_taxon", "permit_animal", "permit_condition", "permit_event", "premises", "override")}
    of |= {"expected_brood": "brood", "finding": "inspection_finding", "calendar_feed": "calendar_feed", "reminder": "reminder"}
    of |= {one: one for one in ("inspection", "corrective_action", "incident", "incident_animal", "notification")}
    of |= {one: one for one in ("transfer", "transfer_animal", "transfer_paper", "transfer_report")}
    of |= {"animal": "loner"} if "/names" in path else {}
    of |= {"retention_rule": "rule", "account": "account", "key": "key", "approval": "approval"}
    of |= {"paper": "paper"}
    return {**readings, "token": world.ours.calendar, **{f"{name}_id": ids[noun] for name, noun in of.items()}}


def _values(name: str, world: World) -> tuple[str, ...]:
    """Return what a filter is given: what is ours, and where it takes a name or an id, what is theirs as well."""
    if name in FILTERS:
        return FILTERS[name]
    if name == "form":
        return FORMS
    if name.endswith("_id"):
        noun = {"parent_id": "enclosure", "life_support_system_id": "system", "model_id": "model"}.get(name, name[:-3])
        return (world.ours.ids[noun if noun in world.ours.ids else "staff"],)
    return tuple(word for place, word in world.ours.words.items() if place.endswith(f".{name}"))[:2]


def _papers(service: Service, world: World) -> dict[str, bytes]:
    client, path = service.caller(world.ours.key), f"/v1/reports/{world.ours.ids['report']}/file"
    pdf = PdfReader(io.BytesIO(client.get(path).content))
    return {
        "the paper's text": "\n".join(page.extract_text() for page in pdf.pages).encode(),
        "what the file says of itself": repr(pdf.metadata).encode(),
    }


def _commands(service: Service, world: World) -> dict[str, bytes]:
    """Return what the night, the proof and the journal say, the figures, and the log so far."""
    store, organisation_id = service.store, world.ours.organisation_id
    said = {}
    nights = run_nights(store, organisation_id, now=makers.NOON, actor="command:nightly", request_id="night-again")
    said["nightly"] = repr([*nights]).encode()
    whole = run_organisation_night(store, organisation_id, now=makers.NOON, actor="command:nightly", request_id="night-again")
    said["reminders of no site"] = repr(whole).encode()
    with store.snapshot(makers.origin(organisation_id=organisation_id)) as unit:
        try:
            said["verify"] = repr(prove(unit)).encode()
        except ForeignRow as refused:
            # The guard alone does not let anything be summed up that is not all ours.
            said["verify"] = type(refused).__name__.encode()
    for name, rows in rows_of(store, organisation_id).items():
        said[f"our rows of {name}"] = repr(rows).encode()
    assert set(metadata.tables) <= {name.removeprefix("our rows of ") for name in said}
    registry = registry_of(service.app.state.house.metrics, store, is_ready=lambda: True)
    said["metrics"] = generate_latest(registry)
    said["log"] = service.lines.getvalue().encode()
    return said
