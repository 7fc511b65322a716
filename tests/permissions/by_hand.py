"""The second table of who may do what, read from ``by_hand.toml``: things and what is done to them, as actions of the matrix."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path

TABLE = tomllib.loads(Path(__file__).with_name("by_hand.toml").read_text(encoding="utf-8"))
ROLES = ("viewer", "keeper", "technician", "veterinarian", "curator", "registrar", "auditor", "administrator")
SINGULAR = {
    "sites": "site",
    "enclosures": "enclosure",
    "life-support": "life_support_system",
    "staff": "staff_member",
    "taxa": "taxon",
    "animals": "animal",
    "marks": "mark",
    "measurements": "measurement",
    "parents": "parent",
    "holdings": "holding",
    "names": "call_name",
    "models": "equipment_model",
    "equipment": "equipment",
    "spares": "spare",
    "accounts": "account",
    "identities": "identity",
    "grants": "grant",
    "keys": "key",
    "holds": "hold",
    "retention": "retention_rule",
    "containments": "containment",
    "competences": "competence",
    "broods": "expected_brood",
    "overrides": "override",
    "reminders": "reminder",
}
PLURAL = {
    "retention": "retention_rules",
    "life-support": "life_support_systems",
    "models": "equipment_models",
    "names": "call_names",
    "broods": "expected_broods",
}
NEEDS = ("concept_member", "husbandry_target", "separation")
"""What is said of a taxon."""
PERMIT_PARTS = {"permit_taxon": "permit_taxa", "permit_condition": "permit_conditions", "permit_event": "permit_events"}
"""What belongs to a permit and is corrected; the animals that it names are only put on it and taken off."""
INSPECTION = ("inspection", "inspection_finding", "corrective_action")
INCIDENT = ("incident", "incident_animal", "notification")
TRANSFER = ("transfer", "transfer_animal", "transfer_paper", "transfer_report")
"""What is put on record of a visit, of what went wrong, and of animals that go."""
OTHERWISE = {
    ("sees", "organisation"): "get_organisation",
    ("sees", "forecasts"): "get_forecast list_replacements",
    ("sees", "readings"): "list_hour_readings get_hour_reading list_output_readings get_output_reading list_checks get_check",
    ("adds", "readings"): "record_hours record_output record_check",
    ("ends", "readings"): "end_hour_reading end_output_reading end_check",
    ("sees", "lives"): "list_placements get_placement list_animal_events get_animal_event list_animal_states get_animal_history",
    ("adds", "lives"): "record_placement record_animal_event split_animal merge_animal",
    ("changes", "lives"): "change_placement",
    ("ends", "lives"): "end_placement end_animal_event",
    ("sees", "marks"): "list_marks get_mark list_all_marks",
    ("adds", "marks"): "record_mark",
    ("adds", "measurements"): "record_measurement",
    ("sees", "parents"): "list_parents get_parent list_offspring",
    ("adds", "parents"): "record_parent",
    ("adds", "holdings"): "record_holding",
    ("adds", "names"): "record_call_name",
    ("sees", "documents"): "list_documents get_document get_document_file list_attachments get_attachment",
    ("adds", "documents"): "register_document record_attachment",
    ("changes", "documents"): "change_document",
    ("ends", "documents"): "end_document end_attachment",
    ("sees", "reports"): "list_reports get_report get_report_file",
    ("adds", "reports"): "ask_for_report",
    ("sees", "imports"): "list_imports get_import",
    ("adds", "imports"): "import_file",
    ("sees", "templates"): "get_import_template",
    ("sees", "identities"): "list_identities",
    ("sees", "grants"): "list_grants",
    ("changes", "accounts"): "reset_account",
    ("changes", "keys"): "rotate_key",
    ("sees", "approvals"): "list_approvals",
    ("adds", "approvals"): "ask_for_approval",
    ("changes", "approvals"): "give_approval",
    ("replaces", "equipment"): "replace_equipment",
    ("erases", "staff"): "erase_staff",
    ("sees", "needs"): " ".join(f"list_{one}s get_{one}" for one in NEEDS),
    ("adds", "needs"): " ".join(f"record_{one}" for one in NEEDS),
    ("changes", "needs"): " ".join(f"change_{one}" for one in NEEDS),
    ("ends", "needs"): " ".join(f"end_{one}" for one in NEEDS),
    ("adds", "competences"): "record_competence",
    ("sees", "fitness"): "get_fitness",
    ("sees", "law"): "list_jurisdictions list_requirements get_requirement list_document_kinds",
    ("adds", "broods"): "record_expected_brood",
    ("sees", "permits"): " ".join(
        ("list_permits get_permit list_permit_animals get_permit_animal", *(f"list_{many} get_{one}" for one, many in PERMIT_PARTS.items()))
    ),
    ("adds", "permits"): " ".join(("register_permit record_permit_animal", *(f"record_{one}" for one in PERMIT_PARTS))),
    ("changes", "permits"): " ".join(("change_permit", *(f"change_{one}" for one in PERMIT_PARTS))),
    ("ends", "permits"): " ".join(("end_permit end_permit_animal", *(f"end_{one}" for one in PERMIT_PARTS))),
    ("sees", "premises"): "list_premises get_premises",
    ("adds", "premises"): "record_premises",
    ("changes", "premises"): "change_premises",
    ("ends", "premises"): "end_premises",
    ("sees", "inspections"): " ".join(f"list_{one}s get_{one}" for one in INSPECTION),
    ("adds", "inspections"): "register_inspection record_inspection_finding record_corrective_action",
    ("changes", "inspections"): " ".join(f"change_{one}" for one in INSPECTION),
    ("ends", "inspections"): " ".join(f"end_{one}" for one in INSPECTION),
    ("sees", "incidents"): " ".join(("get_notify_by", *(f"list_{one}s get_{one}" for one in INCIDENT))),
    ("adds", "incidents"): "register_incident record_incident_animal record_notification",
    ("changes", "incidents"): "change_incident change_notification",
    ("ends", "incidents"): " ".join(f"end_{one}" for one in INCIDENT),
    ("sees", "transfers"): " ".join(f"list_{one}s get_{one}" for one in TRANSFER),
    ("adds", "transfers"): "register_transfer read_transfer_file record_transfer_animal record_transfer_paper record_transfer_report",
    ("changes", "transfers"): "change_transfer change_transfer_paper check_transfer dispatch_transfer close_transfer",
    ("ends", "transfers"): " ".join(f"end_{one}" for one in TRANSFER),
    ("receives", "transfers"): "receive_transfer refuse_transfer",
    ("approves", "transfers"): "approve_transfer",
    ("changes", "reminders"): "acknowledge_reminder defer_reminder hand_reminder",
    ("sees", "compliance"): "list_compliance get_compliance_of_period list_permits_in_use get_compliance_of_animal list_turns",
    ("sees", "stock"): "get_census get_stock_statement list_stock_movements list_specimens",
}
VERBS = {"adds": "register", "changes": "change", "ends": "end"}


def actions_of(verbs: Mapping[str, str]) -> Iterator[str]:
    """Yield the actions that are meant by what is done to things."""
    for verb, things in verbs.items():
        for thing in things.split():
            yield from _actions(verb, thing)


def cells() -> dict[tuple[str, str], str]:
    """Return how far each role reaches with each action that it has."""
    return {
        (role, action): reach
        for role in ROLES
        for reach, verbs in TABLE[role].items()
        for action in actions_of(verbs)
    }  # fmt: skip


def scopes() -> dict[str, str]:
    """Return the scope of each action that a key may do by one."""
    return {action: scope for scope, verbs in TABLE["keys"].items() for action in actions_of(verbs)}


def _actions(verb: str, thing: str) -> list[str]:
    if (verb, thing) in OTHERWISE:
        return OTHERWISE[verb, thing].split()
    if verb == "sees":
        return [f"list_{PLURAL.get(thing, thing)}", f"get_{SINGULAR[thing]}"]
    return [f"{VERBS[verb]}_{SINGULAR[thing]}"]
