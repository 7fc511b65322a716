"""The description of the API is true, whole, and committed."""

from __future__ import annotations

import json
import re
from copy import deepcopy

import pytest
from openapi_spec_validator import validate

from api.app import DOORS, build_app
from api.openapi import COPY, text_of
from api.settings import Settings
from domain.records.engine import open_store
from tests import makers

NOUNS = {
    "site": "sites",
    "enclosure": "enclosures",
    "life_support_system": "life_support_systems",
    "staff_member": "staff",
    "taxon": "taxa",
    "containment": "containments",
    "animal": "animals",
    "equipment_model": "equipment_models",
    "equipment": "equipment",
    "spare": "spares",
    "permit": "permits",
    "override": "overrides",
    "inspection": "inspections",
    "incident": "incidents",
    "transfer": "transfers",
}
PARTS = (
    "concept_member",
    "husbandry_target",
    "separation",
    "competence",
    "expected_brood",
    "inspection_finding",
    "corrective_action",
    "notification",
    "transfer_paper",
)
# Operation ids are names in other people's programs: they are added, never renamed.
GOLDEN = {
    *(f"{verb}_{noun}" for verb in ("get", "register", "change", "end") for noun in NOUNS),
    *(f"list_{plural}" for plural in NOUNS.values()),
    *("replace_equipment", "get_organisation", "get_health", "get_readiness"),
    *("list_hour_readings", "record_hours", "get_hour_reading", "end_hour_reading"),
    *("list_output_readings", "record_output", "get_output_reading", "end_output_reading"),
    *("list_checks", "record_check", "get_check", "end_check"),
    *(f"list_{noun}s" for noun in PARTS),
    *(f"{verb}_{noun}" for verb in ("record", "get", "change", "end") for noun in PARTS),
    "get_fitness",
    *("list_permit_taxa", "record_permit_taxon", "get_permit_taxon", "change_permit_taxon", "end_permit_taxon"),
    *("list_permit_animals", "record_permit_animal", "get_permit_animal", "end_permit_animal"),
    *("list_permit_conditions", "record_permit_condition", "get_permit_condition", "change_permit_condition", "end_permit_condition"),
    *("list_permit_events", "record_permit_event", "get_permit_event", "change_permit_event", "end_permit_event"),
    *("list_premises", "record_premises", "get_premises", "change_premises", "end_premises"),
    *("list_incident_animals", "record_incident_animal", "get_incident_animal", "end_incident_animal", "get_notify_by"),
    *(f"{verb}_transfer_{one}" for one in ("animal", "report") for verb in ("record", "get", "end")),
    *("list_transfer_animals", "list_transfer_reports", "read_transfer_file"),
    *(f"{verb}_transfer" for verb in ("check", "approve", "dispatch", "receive", "refuse", "close")),
    *("list_compliance", "get_compliance_of_period", "list_permits_in_use", "get_compliance_of_animal", "list_turns"),
    *("list_reminders", "get_reminder", "acknowledge_reminder", "defer_reminder", "hand_reminder"),
    *("list_calendar_feeds", "register_calendar_feed", "get_calendar_feed", "end_calendar_feed", "get_calendar", "check_paper"),
    *("get_census", "get_stock_statement", "list_stock_movements", "list_specimens"),
}


@pytest.fixture(scope="module")
def app():
    store = open_store("sqlite:///:memory:")
    yield build_app(store, settings=Settings(), clock=lambda: makers.NOON)
    store.close()


@pytest.fixture(scope="module")
def described(app):
    return app.openapi()


def operations(described):
    return [(path, method, operation) for path, methods in described["paths"].items() for method, operation in methods.items()]


def test_it_is_valid_openapi_3_1(described):
    assert described["openapi"].startswith("3.1")
    validate(described)


def test_the_committed_copy_is_current(app):
    assert COPY.read_text(encoding="utf-8") == text_of(app), "run python -m api.openapi"


def test_no_operation_id_is_lost_or_renamed(described):
    ids = [operation["operationId"] for _, _, operation in operations(described)]

    assert set(ids) >= GOLDEN
    assert len(ids) == len(set(ids))
    assert all(re.fullmatch("[a-z]+(_[a-z]+)+", one) for one in ids)


def test_every_door_is_described(described):
    by_id = {operation["operationId"]: (path, method, operation) for path, method, operation in operations(described)}
    for door in DOORS:
        path, method, operation = by_id[door.operation_id]
        assert (path, method.upper()) == (door.path, door.method)
        assert ("requestBody" in operation) == (door.body is not None)


def test_every_id_in_a_path_is_described_and_named_for_its_resource(described):
    for path, _, operation in operations(described):
        names = re.findall(r"{(\w+)}", path)
        assert names == [one["name"] for one in operation.get("parameters", ()) if one["in"] == "path"]
        assert "id" not in names


def test_every_answer_without_success_is_described_as_a_problem(described):
    for path, _, operation in operations(described):
        refused = {status: answer for status, answer in operation["responses"].items() if status >= "400"}
        assert refused
        assert all(answer == {"$ref": f"#/components/responses/Problem{status}"} for status, answer in refused.items()), path
    assert not {"HTTPValidationError", "ValidationError"} & set(described["components"]["schemas"])


def test_records_need_a_proof_and_health_and_signing_in_do_not(described):
    signing_in = {"start_session", "set_password_by_code"}

    for path, _, operation in operations(described):
        proved = path.startswith("/v1/") and operation["operationId"] not in signing_in
        assert operation["security"] == ([{"key": []}] if proved else [])


def test_a_secret_that_is_shown_is_never_answered_and_one_that_is_told_looks_like_one(described):
    schemas = described["components"]["schemas"]

    for name, field in (("SignIn", "password"), ("PasswordByCode", "code"), ("OwnPassword", "current_password")):
        assert (schemas[name]["properties"][field]["format"], schemas[name]["properties"][field]["writeOnly"]) == ("password", True)
    assert schemas["StartedSession"]["properties"]["token"]["format"] == "password"
    for name, field in (("OpenedAccount", "code"), ("MadeKey", "key")):
        assert {"type": "string", "format": "password"} in schemas[name]["properties"][field]["anyOf"]


def test_an_answer_shows_every_field_and_a_correction_needs_none(described):
    schemas = described["components"]["schemas"]

    assert sorted(schemas["Enclosure"]["required"]) == sorted(schemas["Enclosure"]["properties"])
    assert "required" not in schemas["EnclosurePatch"]
    assert "id" not in schemas["EnclosurePatch"]["properties"]
    assert {"type": "null"} in schemas["EnclosurePatch"]["properties"]["note"]["anyOf"]
    assert "anyOf" not in schemas["EnclosurePatch"]["properties"]["name"]


def test_nothing_of_other_organisations_or_of_secrets_is_described(described):
    schemas = deepcopy(described["components"]["schemas"])
    # Whoever has not signed in says whose account it is; everywhere else the organisation comes from the proof.
    said_by_nobody = [schemas[name]["properties"].pop("organisation_id", None) for name in ("SignIn", "PasswordByCode")]
    text = json.dumps([{**schema, "required": []} for schema in schemas.values()])

    assert None not in said_by_nobody
    assert not re.search(r'"(organisation_id|name_key|tag_key|shelf_key|secret_sha256|hours_key)"', text)


def test_a_query_parameter_that_is_described_is_taken():
    for door in DOORS:
        told = {one["name"] for one in door.parameters if one["in"] == "query"}
        assert told == set(door.query)
