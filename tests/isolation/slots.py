"""Every place of a request that an id can stand in, found in the description of the API, and a request that has it there."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from tests.isolation.world import OF_A_STAGE, UNKNOWN_NAME, Side
from tests.permissions.doors import REQUESTS
from tests.pictures import PDF

NOUNS: Mapping[str, str] = {
    "site_id": "site",
    "to_site_id": "site",
    "site_ids": "site",
    "enclosure_id": "enclosure",
    "parent_id": "taxon",
    "life_support_system_id": "system",
    "staff_id": "staff",
    "taxon_id": "taxon",
    "accepted_id": "taxon",
    "other_taxon_id": "taxon",
    "member_id": "taxon",
    "concept_member_id": "concept_member",
    "husbandry_target_id": "target",
    "separation_id": "separation",
    "containment_id": "containment",
    "requirement_id": "requirement",
    "competence_id": "competence",
    "animal_id": "animal",
    "into_id": "group",
    "placement_id": "placement",
    "event_id": "event",
    "from_enclosure_id": "enclosure",
    "mark_id": "mark",
    "measurement_id": "measurement",
    "parentage_id": "parentage",
    "holding_id": "holding",
    "call_name_id": "call_name",
    "expected_brood_id": "brood",
    "outcome_event_id": "birth",
    "permit_id": "permit",
    "replaces_id": "permit",
    "holder_id": "staff",
    "permit_taxon_id": "permit_taxon",
    "permit_animal_id": "permit_animal",
    "permit_condition_id": "permit_condition",
    "met_by_id": "staff",
    "permit_event_id": "permit_event",
    "premises_id": "premises",
    "override_id": "override",
    "inspection_id": "inspection",
    "finding_id": "inspection_finding",
    "corrective_action_id": "corrective_action",
    "incident_id": "incident",
    "incident_animal_id": "incident_animal",
    "notification_id": "notification",
    "transfer_id": "transfer",
    "transfer_animal_id": "transfer_animal",
    "transfer_animal_ids": "transfer_animal",
    "transfer_paper_id": "transfer_paper",
    "transfer_report_id": "transfer_report",
    "from_site_id": "site",
    "quarantine_enclosure_id": "enclosure",
    "reminder_id": "reminder",
    "calendar_feed_id": "calendar_feed",
    "document_id": "document",
    "attachment_id": "attachment",
    "equipment_model_id": "model",
    "model_id": "model",
    "equipment_id": "item",
    "check_id": "check",
    "spare_id": "spare",
    "report_id": "report",
    "paper_id": "paper",
    "import_id": "import",
    "retention_rule_id": "rule",
    "hold_id": "hold",
    "approval_id": "approval",
    "session_id": "session",
    "account_id": "account",
    "identity_id": "identity",
    "grant_id": "grant",
    "key_id": "key",
    "subject_id": "staff",
}
"""What a field or parameter of this name is the id of."""
OTHERWISE: Mapping[tuple[str, str], str] = {
    ("enclosures", "parent_id"): "enclosure",
    ("parents", "parent_id"): "mother",
    ("names", "animal_id"): "loner",
    ("split", "animal_id"): "group",
    ("merge", "animal_id"): "joiner",
    ("hour-readings", "reading_id"): "hours",
    ("output-readings", "reading_id"): "output",
    ("holds", "subject_id"): "animal",
    ("documents", "subject_id"): "animal",
}
"""And where that depends on the path."""
OWN_ID = {
    "register_site": "site",
    "register_enclosure": "enclosure",
    "register_life_support_system": "system",
    "register_staff_member": "staff",
    "register_taxon": "taxon",
    "record_concept_member": "concept_member",
    "record_husbandry_target": "target",
    "record_separation": "separation",
    "register_containment": "containment",
    "record_competence": "competence",
    "register_animal": "animal",
    "split_animal": "animal",
    "record_placement": "placement",
    "record_animal_event": "event",
    "record_mark": "mark",
    "record_measurement": "measurement",
    "record_parent": "parentage",
    "record_holding": "holding",
    "record_call_name": "call_name",
    "record_expected_brood": "brood",
    "register_permit": "permit",
    "record_permit_taxon": "permit_taxon",
    "record_permit_animal": "permit_animal",
    "record_permit_condition": "permit_condition",
    "record_permit_event": "permit_event",
    "record_premises": "premises",
    "register_override": "override",
    "register_inspection": "inspection",
    "record_inspection_finding": "inspection_finding",
    "record_corrective_action": "corrective_action",
    "register_incident": "incident",
    "record_incident_animal": "incident_animal",
    "record_notification": "notification",
    "register_transfer": "transfer",
    "record_transfer_animal": "transfer_animal",
    "record_transfer_paper": "transfer_paper",
    "record_transfer_report": "transfer_report",
    "register_calendar_feed": "calendar_feed",
    "register_document": "document",
    "record_attachment": "attachment",
    "register_equipment_model": "model",
    "register_equipment": "item",
    "replace_equipment": "item",
    "record_hours": "hours",
    "record_output": "output",
    "record_check": "check",
    "register_spare": "spare",
    "register_retention_rule": "rule",
    "register_hold": "hold",
    "ask_for_approval": "approval",
    "ask_for_report": "report",
    "register_account": "account",
    "register_grant": "grant",
    "register_key": "key",
}
"""What a program may number itself when it registers it."""
INSTEAD: Mapping[tuple[str, str], Mapping[str, Any]] = {("ask_for_report", "animal_id"): {"kind": "animal-record"}}
"""What else a body says where an id of this name would not be looked at beside what the operation usually says."""
WITHIN: Mapping[tuple[str, str], str] = {
    ("dispatch_transfer", "transfer_animal_id"): "readings",
    ("receive_transfer", "transfer_animal_id"): "arrivals",
    ("receive_transfer", "enclosure_id"): "arrivals",
}
"""In which list of a body an id stands, where it does not stand in the body itself."""
ANSWERED: Mapping[tuple[str, str], tuple[str, Mapping[str, Any]]] = {
    ("read_transfer_file", "taxon_id"): ("taxa", {"scientific_name": UNKNOWN_NAME}),
    ("read_transfer_file", "animal_id"): ("animals", {"number": 1}),
}
"""In which list of the answers of a body an id stands, and beside what."""
ORGANISATIONS = ("start_session", "set_password_by_code", "check_paper")
"""What itself says which organisation is meant, because nobody has signed in yet; ``test_routes.py`` tries these by themselves."""
WITHOUT_IDS = {
    "get_me",
    "get_organisation",
    "list_sessions",
    "get_import_template",
    "import_file",
    "list_keys",
    "get_calendar",
    "get_health",
    "get_readiness",
}
"""Operations that no id is said to; what they answer is searched for canaries all the same."""


@dataclass(frozen=True, slots=True)
class Slot:
    """A place in the requests of one operation. ``noun`` is what it is the id of."""

    operation: str
    place: str
    """``path``, ``query`` or ``body``."""
    name: str
    noun: str

    def __str__(self) -> str:
        return f"{self.operation} {self.place} {self.name}"


@dataclass(frozen=True, slots=True)
class Asked:
    """A request, ready to be sent."""

    method: str
    path: str
    query: Mapping[str, str]
    body: Any

    def sent_by(self, client: Any, **headers: str) -> Any:
        """Return the answer."""
        more = {"If-Match": '"1"'} if self.method == "PATCH" else {}
        rest: dict[str, Any] = {} if self.body is None else {"json": self.body}
        if (self.method, self.path) == ("POST", "/v1/documents"):
            rest = {"data": self.body, "files": {"file": ("paper.pdf", PDF)}}
        return client.request(self.method, self.path, params=dict(self.query), headers={**more, **headers}, **rest)


def operations(description: Mapping[str, Any]) -> Iterator[tuple[str, str, dict[str, Any]]]:
    """Yield every operation under ``/v1`` and beside it: method, path, description."""
    for path, methods in description["paths"].items():
        for method, operation in methods.items():
            yield method.upper(), path, operation


def id_places(description: Mapping[str, Any]) -> set[tuple[str, str, str]]:
    """Return every place for an id that a description knows: operation, place, name."""
    found = set()
    for _, _, operation in operations(description):
        named = operation["operationId"]
        for parameter in operation.get("parameters", ()):
            if _is_id(parameter["name"], parameter["schema"]):
                found.add((named, parameter["in"], parameter["name"]))
        for media in operation.get("requestBody", {}).get("content", {}).values():
            found |= {(named, "body", name) for name in _id_fields(media["schema"], description, seen=frozenset())}
    return found


def _id_fields(schema: Mapping[str, Any], description: Mapping[str, Any], *, seen: frozenset[str]) -> Iterator[str]:
    reference = schema.get("$ref", "")
    if reference and reference not in seen:
        named = description["components"]["schemas"][reference.rpartition("/")[2]]
        yield from _id_fields(named, description, seen=seen | {reference})
    for kind in ("anyOf", "oneOf", "allOf"):
        for one in schema.get(kind, ()):
            yield from _id_fields(one, description, seen=seen)
    if "items" in schema:
        yield from _id_fields(schema["items"], description, seen=seen)
    for name, field in schema.get("properties", {}).items():
        if _is_id(name, field):
            yield name
        yield from _id_fields(field, description, seen=seen)


def _is_id(name: str, schema: Mapping[str, Any]) -> bool:
    kinds = [schema, *schema.get("anyOf", ())]
    formats = {one.get("format") for one in kinds} | {one.get("items", {}).get("format") for one in kinds}
    return "uuid" in formats or name.endswith(("_id", "_ids"))


def slots(description: Mapping[str, Any]) -> list[Slot]:
    """Return every place for an id with what it is the id of.

    Raises:
        KeyError: A place is new and has no entry in this file.
    """
    paths = {operation["operationId"]: path for _, path, operation in operations(description)}
    places = sorted(place for place in id_places(description) if place[0] not in ORGANISATIONS)
    return [Slot(operation, place, name, _noun(operation, paths[operation], place, name)) for operation, place, name in places]


def _noun(operation: str, path: str, place: str, name: str) -> str:
    if (place, name) == ("body", "id"):
        return OWN_ID[operation]
    for part in path.split("/"):
        if (part, name) in OTHERWISE:
            return OTHERWISE[part, name]
    return NOUNS[name]


def asked(slot: Slot, side: Side, value: str) -> Asked:
    """Return a side's request with a value in a slot; everything else is the side's own."""
    request = REQUESTS[slot.operation]
    names = {**side.ids}
    if slot.place == "path":
        names |= dict.fromkeys((slot.noun, *(OF_A_STAGE if slot.noun == "transfer" else ())), value)
    body = _filled(INSTEAD.get((slot.operation, slot.name), request.body), side.ids)
    if slot.place == "body":
        said: dict[str, Any] = {slot.name: [value] if slot.name.endswith("_ids") else value}
        if (slot.operation, slot.name) in ANSWERED:
            answers, beside = ANSWERED[slot.operation, slot.name]
            said = {"answers": {answers: [{**beside, **said}]}}
        listed = WITHIN.get((slot.operation, slot.name))
        body = {**(body or {}), **(said if listed is None else {listed: [{"transfer_animal_id": side.ids["transfer_animal"], **said}]})}
    query = {**(_filled(request.query, side.ids) or {}), **({slot.name: value} if slot.place == "query" else {})}
    return Asked(request.method, request.path.format(**names), query, body)


def _filled(stated: Any, names: Mapping[str, str]) -> Any:
    if isinstance(stated, Mapping):
        return {key: _filled(value, names) for key, value in stated.items()}
    if isinstance(stated, list):
        return [_filled(value, names) for value in stated]
    return stated.format(**names) if isinstance(stated, str) else stated


def neighbour(own_id: str) -> str:
    """Return an id of nothing that stands right beside another in every order."""
    return own_id[:-1] + ("0" if own_id[-1] != "0" else "1")
