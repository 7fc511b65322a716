"""One request for every door, by the action of the door; {names} stand for the ids of the records that it is about."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from tests.pictures import PDF


@dataclass(frozen=True)
class Request:
    """A request that whoever may do the action can make."""

    method: str
    path: str
    body: Any = None
    query: Any = None

    def sent_by(self, client: Any, names: dict[str, str], **headers: str) -> Any:
        """Return the answer; what is changed is changed at its first version."""
        path = self.path.format(**names)
        if self.path == "/v1/imports" and self.method == "POST":
            file = {"file": ("sites.csv", b"name,zone\nThird,UTC\n")}
            return client.request("POST", f"{path}?kind=sites&dry_run=true", files=file, headers=headers)
        if self.path == "/v1/documents" and self.method == "POST":
            return client.request("POST", path, files={"file": ("paper.pdf", PDF)}, data=_filled(self.body, names), headers=headers)
        if self.method == "GET":
            return client.request("GET", path, params=_filled(self.query, names), headers=headers)
        more = {"If-Match": '"1"'} if self.method == "PATCH" else {}
        return client.request(self.method, path, json=_filled(self.body, names), headers={**more, **headers})


def _filled(stated: Any, names: dict[str, str]) -> Any:
    if isinstance(stated, dict):
        return {key: _filled(value, names) for key, value in stated.items()}
    if isinstance(stated, list):
        return [_filled(value, names) for value in stated]
    return stated.format(**names) if isinstance(stated, str) else stated


END = {"reason": "given up"}
DOCUMENT = "/v1/documents/{document}"
NOTCH = {"kind": "scute_notch", "code": "R1", "scheme": "marginals", "from_on": "2026-02-10"}
ITEM = "/v1/equipment/{item}"
PERMIT = "/v1/permits/{permit}"
VISIT = "/v1/inspections/{inspection}"
MISHAP = "/v1/incidents/{incident}"
TRANSFER = "/v1/transfers/{transfer}"
CERTIFICATE = {"kind": "keeping", "jurisdiction": "XR", "authority": "Reed County", "number": "P-2 {site}", "issued_on": "2026-02-10"}
EXCEPTION = {"requirement_code": "XR-1", "staff_id": "{staff}", "reason": "in custody", "evidence": "a letter"}
TAXON = "/v1/taxa/{taxon}"
PERIOD = {"from_on": "2026-01-01", "until_on": "2026-02-28"}
NEEDED = {"/v1/census/statement": PERIOD, "/v1/census/movements": PERIOD}
"""What has to be said with a path besides ids, whatever else is asked."""
REQUESTS = {
    "get_me": Request("GET", "/v1/me"),
    "get_organisation": Request("GET", "/v1/organisation"),
    "list_sites": Request("GET", "/v1/sites"),
    "get_site": Request("GET", "/v1/sites/{site}"),
    "register_site": Request("POST", "/v1/sites", {"name": "Third", "zone": "UTC"}),
    "change_site": Request("PATCH", "/v1/sites/{site}", {"note": "n"}),
    "list_enclosures": Request("GET", "/v1/enclosures"),
    "get_enclosure": Request("GET", "/v1/enclosures/{enclosure}"),
    "register_enclosure": Request("POST", "/v1/enclosures", {"site_id": "{site}", "name": "Hall B 02"}),
    "change_enclosure": Request("PATCH", "/v1/enclosures/{enclosure}", {"note": "n"}),
    "list_life_support_systems": Request("GET", "/v1/life-support-systems"),
    "get_life_support_system": Request("GET", "/v1/life-support-systems/{system}"),
    "register_life_support_system": Request("POST", "/v1/life-support-systems", {"site_id": "{site}", "name": "Second loop"}),
    "change_life_support_system": Request("PATCH", "/v1/life-support-systems/{system}", {"note": "n"}),
    "list_staff": Request("GET", "/v1/staff"),
    "get_staff_member": Request("GET", "/v1/staff/{staff}"),
    "register_staff_member": Request("POST", "/v1/staff", {"name": "B. Keeper", "role": "keeper", "site_id": "{site}"}),
    "change_staff_member": Request("PATCH", "/v1/staff/{staff}", {"note": "n"}),
    "list_competences": Request("GET", "/v1/staff/{staff}/competences"),
    "get_competence": Request("GET", "/v1/staff/{staff}/competences/{competence}"),
    "record_competence": Request("POST", "/v1/staff/{staff}/competences", {"title": "First aid", "from_on": "2026-02-10"}),
    "change_competence": Request("PATCH", "/v1/staff/{staff}/competences/{competence}", {"note": "n"}),
    "list_taxa": Request("GET", "/v1/taxa"),
    "get_taxon": Request("GET", "/v1/taxa/{taxon}"),
    "register_taxon": Request("POST", "/v1/taxa", {"scientific_name": "Rana", "rank": "genus"}),
    "change_taxon": Request("PATCH", "/v1/taxa/{taxon}", {"common_name": "toad"}),
    "list_concept_members": Request("GET", f"{TAXON}/members"),
    "get_concept_member": Request("GET", f"{TAXON}/members/{{concept_member}}"),
    "record_concept_member": Request("POST", f"{TAXON}/members", {"member_id": "{third_taxon}", "source": "a list"}),
    "change_concept_member": Request("PATCH", f"{TAXON}/members/{{concept_member}}", {"note": "n"}),
    "list_husbandry_targets": Request("GET", f"{TAXON}/targets"),
    "get_husbandry_target": Request("GET", f"{TAXON}/targets/{{target}}"),
    "record_husbandry_target": Request("POST", f"{TAXON}/targets", {"life_stage": "larva", "from_on": "2026-02-10", "source": "a guide"}),
    "change_husbandry_target": Request("PATCH", f"{TAXON}/targets/{{target}}", {"note": "n"}),
    "list_separations": Request("GET", f"{TAXON}/separations"),
    "get_separation": Request("GET", f"{TAXON}/separations/{{separation}}"),
    "record_separation": Request(
        "POST",
        f"{TAXON}/separations",
        {"other_taxon_id": "{third_taxon}", "from_on": "2026-02-10", "reason": "fights", "source": "own rule"},
    ),
    "change_separation": Request("PATCH", f"{TAXON}/separations/{{separation}}", {"note": "n"}),
    "list_containments": Request("GET", "/v1/containments"),
    "get_containment": Request("GET", "/v1/containments/{containment}"),
    "register_containment": Request(
        "POST", "/v1/containments", {"hazard": "can_injure", "from_on": "2026-02-10", "least_closure": "latched", "source": "own rule"}
    ),
    "change_containment": Request("PATCH", "/v1/containments/{containment}", {"note": "n"}),
    "list_jurisdictions": Request("GET", "/v1/jurisdictions"),
    "list_requirements": Request("GET", "/v1/requirements"),
    "get_requirement": Request("GET", "/v1/requirements/{requirement}"),
    "list_document_kinds": Request("GET", "/v1/document-kinds"),
    "get_fitness": Request("GET", "/v1/animals/{animal}/fitness", query={"enclosure_id": "{enclosure}"}),
    "list_animals": Request("GET", "/v1/animals"),
    "get_animal": Request("GET", "/v1/animals/{animal}"),
    "register_animal": Request("POST", "/v1/animals", {"taxon_id": "{taxon}", "tag": "A-2 {site}", "enclosure_id": "{enclosure}"}),
    "change_animal": Request("PATCH", "/v1/animals/{animal}", {"note": "n"}),
    "split_animal": Request("POST", "/v1/animals/{group}/split", {"happened_on": "2026-02-10", "tag": "A-3 {site}"}),
    "merge_animal": Request("POST", "/v1/animals/{joiner}/merge", {"happened_on": "2026-02-10", "into_id": "{group}"}),
    "list_placements": Request("GET", "/v1/animals/{animal}/placements"),
    "get_placement": Request("GET", "/v1/animals/{animal}/placements/{placement}"),
    "change_placement": Request("PATCH", "/v1/animals/{animal}/placements/{placement}", {"note": "n"}),
    "record_placement": Request("POST", "/v1/animals/{animal}/placements", {"enclosure_id": "{other_enclosure}", "from_on": "2026-02-10"}),
    "list_animal_events": Request("GET", "/v1/animals/{animal}/events"),
    "get_animal_event": Request("GET", "/v1/animals/{animal}/events/{event}"),
    "record_animal_event": Request(
        "POST", "/v1/animals/{animal}/events", {"kind": "staged", "life_stage": "adult", "happened_on": "2026-02-10"}
    ),
    "list_animal_states": Request("GET", "/v1/animals/{animal}/states"),
    "get_animal_history": Request("GET", "/v1/animals/{animal}/history"),
    "list_marks": Request("GET", "/v1/animals/{animal}/marks"),
    "list_all_marks": Request("GET", "/v1/marks"),
    "get_mark": Request("GET", "/v1/animals/{animal}/marks/{mark}"),
    "change_mark": Request("PATCH", "/v1/animals/{animal}/marks/{mark}", {"note": "n"}),
    "record_mark": Request("POST", "/v1/animals/{animal}/marks", NOTCH),
    "list_measurements": Request("GET", "/v1/animals/{animal}/measurements"),
    "get_measurement": Request("GET", "/v1/animals/{animal}/measurements/{measurement}"),
    "change_measurement": Request("PATCH", "/v1/animals/{animal}/measurements/{measurement}", {"note": "n"}),
    "record_measurement": Request(
        "POST", "/v1/animals/{animal}/measurements", {"kind": "mass", "mass_g": 120, "measured_on": "2026-02-10"}
    ),
    "list_parents": Request("GET", "/v1/animals/{animal}/parents"),
    "list_offspring": Request("GET", "/v1/animals/{animal}/offspring"),
    "get_parent": Request("GET", "/v1/animals/{animal}/parents/{parentage}"),
    "change_parent": Request("PATCH", "/v1/animals/{animal}/parents/{parentage}", {"note": "n"}),
    "record_parent": Request("POST", "/v1/animals/{animal}/parents", {"role": "dam", "parent_id": "{mother}", "certainty": "possible"}),
    "list_holdings": Request("GET", "/v1/animals/{animal}/holdings"),
    "get_holding": Request("GET", "/v1/animals/{animal}/holdings/{holding}"),
    "change_holding": Request("PATCH", "/v1/animals/{animal}/holdings/{holding}", {"note": "n"}),
    "record_holding": Request("POST", "/v1/animals/{animal}/holdings", {"kind": "owned", "from_on": "2026-02-10"}),
    "list_call_names": Request("GET", "/v1/animals/{loner}/names"),
    "get_call_name": Request("GET", "/v1/animals/{loner}/names/{call_name}"),
    "change_call_name": Request("PATCH", "/v1/animals/{loner}/names/{call_name}", {"note": "n"}),
    "record_call_name": Request("POST", "/v1/animals/{loner}/names", {"name": "Sedge", "from_on": "2026-02-10"}),
    "list_expected_broods": Request("GET", "/v1/animals/{animal}/expected-broods"),
    "get_expected_brood": Request("GET", "/v1/animals/{animal}/expected-broods/{brood}"),
    "change_expected_brood": Request("PATCH", "/v1/animals/{animal}/expected-broods/{brood}", {"note": "n"}),
    "record_expected_brood": Request("POST", "/v1/animals/{animal}/expected-broods", {"seen_on": "2026-02-10"}),
    "list_permits": Request("GET", "/v1/permits"),
    "get_permit": Request("GET", PERMIT),
    "register_permit": Request("POST", "/v1/permits", {**CERTIFICATE, "site_id": "{site}"}),
    "change_permit": Request("PATCH", PERMIT, {"note": "n"}),
    "list_permit_taxa": Request("GET", f"{PERMIT}/taxa"),
    "get_permit_taxon": Request("GET", f"{PERMIT}/taxa/{{permit_taxon}}"),
    "record_permit_taxon": Request("POST", f"{PERMIT}/taxa", {"taxon_id": "{taxon}"}),
    "change_permit_taxon": Request("PATCH", f"{PERMIT}/taxa/{{permit_taxon}}", {"note": "n"}),
    "list_permit_animals": Request("GET", f"{PERMIT}/animals"),
    "get_permit_animal": Request("GET", f"{PERMIT}/animals/{{permit_animal}}"),
    "record_permit_animal": Request("POST", f"{PERMIT}/animals", {"animal_id": "{loner}"}),
    "list_permit_conditions": Request("GET", f"{PERMIT}/conditions"),
    "get_permit_condition": Request("GET", f"{PERMIT}/conditions/{{permit_condition}}"),
    "record_permit_condition": Request("POST", f"{PERMIT}/conditions", {"text": "Lock the door."}),
    "change_permit_condition": Request("PATCH", f"{PERMIT}/conditions/{{permit_condition}}", {"met_on": "2026-02-10"}),
    "list_permit_events": Request("GET", f"{PERMIT}/events"),
    "get_permit_event": Request("GET", f"{PERMIT}/events/{{permit_event}}"),
    "record_permit_event": Request("POST", f"{PERMIT}/events", {"occasion": "escape", "happened_on": "2026-02-10"}),
    "change_permit_event": Request("PATCH", f"{PERMIT}/events/{{permit_event}}", {"note": "n"}),
    "list_premises": Request("GET", "/v1/sites/{site}/premises"),
    "get_premises": Request("GET", "/v1/sites/{site}/premises/{premises}"),
    "change_premises": Request("PATCH", "/v1/sites/{site}/premises/{premises}", {"note": "n"}),
    "record_premises": Request("POST", "/v1/sites/{site}/premises", {"from_on": "2026-02-10"}),
    "list_overrides": Request("GET", "/v1/overrides"),
    "get_override": Request("GET", "/v1/overrides/{override}"),
    "register_override": Request(
        "POST", "/v1/overrides", {**EXCEPTION, "animal_id": "{animal}", "from_on": "2026-02-10", "expires_on": "2026-05-10"}
    ),
    "change_override": Request("PATCH", "/v1/overrides/{override}", {"note": "n"}),
    "list_inspections": Request("GET", "/v1/inspections"),
    "get_inspection": Request("GET", VISIT),
    "register_inspection": Request(
        "POST", "/v1/inspections", {"site_id": "{site}", "visited_on": "2026-02-10", "authority": "Reed County"}
    ),
    "change_inspection": Request("PATCH", VISIT, {"summary": "n"}),
    "list_inspection_findings": Request("GET", f"{VISIT}/findings"),
    "get_inspection_finding": Request("GET", f"{VISIT}/findings/{{inspection_finding}}"),
    "record_inspection_finding": Request("POST", f"{VISIT}/findings", {"text": "The lid does not close."}),
    "change_inspection_finding": Request("PATCH", f"{VISIT}/findings/{{inspection_finding}}", {"due_on": "2026-03-10"}),
    "list_corrective_actions": Request("GET", f"{VISIT}/corrective-actions"),
    "get_corrective_action": Request("GET", f"{VISIT}/corrective-actions/{{corrective_action}}"),
    "record_corrective_action": Request(
        "POST", f"{VISIT}/corrective-actions", {"finding_id": "{inspection_finding}", "text": "Fit a new lid."}
    ),
    "change_corrective_action": Request("PATCH", f"{VISIT}/corrective-actions/{{corrective_action}}", {"proof": "n"}),
    "list_incidents": Request("GET", "/v1/incidents"),
    "get_incident": Request("GET", MISHAP),
    "register_incident": Request(
        "POST",
        "/v1/incidents",
        {"site_id": "{site}", "kind": "outage", "found_at": "2026-02-10T08:30:00Z", "account": "The power was off."},
    ),
    "change_incident": Request("PATCH", MISHAP, {"persons_hurt": 1}),
    "list_incident_animals": Request("GET", f"{MISHAP}/animals"),
    "get_incident_animal": Request("GET", f"{MISHAP}/animals/{{incident_animal}}"),
    "record_incident_animal": Request("POST", f"{MISHAP}/animals", {"animal_id": "{loner}"}),
    "list_notifications": Request("GET", f"{MISHAP}/notifications"),
    "get_notification": Request("GET", f"{MISHAP}/notifications/{{notification}}"),
    "record_notification": Request(
        "POST", f"{MISHAP}/notifications", {"told_to": "Reed County", "told_at": "2026-02-10T10:00:00Z", "way": "telephone"}
    ),
    "change_notification": Request("PATCH", f"{MISHAP}/notifications/{{notification}}", {"note": "n"}),
    "list_transfers": Request("GET", "/v1/transfers"),
    "get_transfer": Request("GET", TRANSFER),
    "register_transfer": Request(
        "POST",
        "/v1/transfers",
        {
            "basis": "gift",
            "reference": "T-{site}",
            "from_site_id": "{site}",
            "party": "Fen Rescue",
            "dispatch_on": "2026-04-01",
            "arrive_on": "2026-04-02",
        },
    ),
    "read_transfer_file": Request("POST", "/v1/transfer-files", {"document_id": "{transfer_file}", "to_site_id": "{site}"}),
    "change_transfer": Request("PATCH", TRANSFER, {"note": "n"}),
    "list_transfer_animals": Request("GET", f"{TRANSFER}/animals"),
    "get_transfer_animal": Request("GET", f"{TRANSFER}/animals/{{transfer_animal}}"),
    "record_transfer_animal": Request("POST", f"{TRANSFER}/animals", {"animal_id": "{loner}"}),
    "list_transfer_papers": Request("GET", f"{TRANSFER}/papers"),
    "get_transfer_paper": Request("GET", f"{TRANSFER}/papers/{{transfer_paper}}"),
    "record_transfer_paper": Request(
        "POST", f"{TRANSFER}/papers", {"title": "Health certificate", "number": "H-2", "issued_on": "2026-02-20"}
    ),
    "change_transfer_paper": Request("PATCH", f"{TRANSFER}/papers/{{transfer_paper}}", {"note": "n"}),
    "check_transfer": Request("POST", f"{TRANSFER}/check", {}),
    "approve_transfer": Request("POST", "/v1/transfers/{complete_transfer}/approve", {}),
    "dispatch_transfer": Request("POST", "/v1/transfers/{approved_transfer}/dispatch", {"temperature_c": 22.5}),
    "receive_transfer": Request("POST", "/v1/transfers/{transfer_under_way}/receive", {"arrivals": []}),
    "refuse_transfer": Request("POST", "/v1/transfers/{transfer_to_refuse}/refuse", {"reason": "It coughs."}),
    "list_transfer_reports": Request("GET", "/v1/transfers/{arrived_transfer}/reports"),
    "get_transfer_report": Request("GET", "/v1/transfers/{arrived_transfer}/reports/{transfer_report}"),
    "record_transfer_report": Request(
        "POST", "/v1/transfers/{arrived_transfer}/reports", {"after_days": 30, "reported_on": "2026-02-25", "text": "They eat."}
    ),
    "close_transfer": Request("POST", "/v1/transfers/{closing_transfer}/close", {}),
    "get_notify_by": Request("GET", f"{MISHAP}/notify-by"),
    "list_reminders": Request("GET", "/v1/reminders"),
    "get_reminder": Request("GET", "/v1/reminders/{reminder}"),
    "defer_reminder": Request("POST", "/v1/reminders/{reminder}/defer", {"until": "2026-03-05", "reason": "the part is on its way"}),
    "hand_reminder": Request("POST", "/v1/reminders/{reminder}/hand", {"role": "technician"}),
    "acknowledge_reminder": Request("POST", "/v1/reminders/{reminder}/acknowledge", {}),
    "list_calendar_feeds": Request("GET", "/v1/calendar-feeds"),
    "get_calendar_feed": Request("GET", "/v1/calendar-feeds/{calendar_feed}"),
    "register_calendar_feed": Request("POST", "/v1/calendar-feeds", {"name": "Mine", "site_id": "{site}"}),
    "list_compliance": Request("GET", "/v1/compliance?site_id={site}"),
    "get_compliance_of_period": Request("GET", "/v1/compliance/period?from_on=2026-01-01&until_on=2026-01-31&site_id={site}"),
    "list_permits_in_use": Request("GET", "/v1/compliance/permits?site_id={site}"),
    "get_compliance_of_animal": Request("GET", "/v1/animals/{animal}/compliance"),
    "list_turns": Request("GET", "/v1/requirements/{requirement}/turns"),
    "get_census": Request("GET", "/v1/census"),
    "get_stock_statement": Request("GET", "/v1/census/statement", query=PERIOD),
    "list_stock_movements": Request("GET", "/v1/census/movements", query=PERIOD),
    "list_specimens": Request("GET", "/v1/census/specimens"),
    "list_equipment_models": Request("GET", "/v1/equipment-models"),
    "get_equipment_model": Request("GET", "/v1/equipment-models/{model}"),
    "register_equipment_model": Request("POST", "/v1/equipment-models", {"name": "Probe", "kind": "ph-probe"}),
    "change_equipment_model": Request("PATCH", "/v1/equipment-models/{model}", {"note": "n"}),
    "list_equipment": Request("GET", "/v1/equipment"),
    "get_equipment": Request("GET", ITEM),
    "get_forecast": Request("GET", f"{ITEM}/forecast"),
    "register_equipment": Request("POST", "/v1/equipment", {"tag": "RE-2 {site}", "model_id": "{model}", "site_id": "{site}"}),
    "change_equipment": Request("PATCH", ITEM, {"note": "n"}),
    "list_hour_readings": Request("GET", f"{ITEM}/hour-readings"),
    "get_hour_reading": Request("GET", f"{ITEM}/hour-readings/{{hours}}"),
    "record_hours": Request("POST", f"{ITEM}/hour-readings", {"read_on": "2026-02-10", "counter_h": 200}),
    "list_output_readings": Request("GET", f"{ITEM}/output-readings"),
    "get_output_reading": Request("GET", f"{ITEM}/output-readings/{{output}}"),
    "record_output": Request("POST", f"{ITEM}/output-readings", {"measured_on": "2026-02-10", "value": 3.5}),
    "list_checks": Request("GET", f"{ITEM}/checks"),
    "get_check": Request("GET", f"{ITEM}/checks/{{check}}"),
    "record_check": Request("POST", f"{ITEM}/checks", {"kind": "electrical-inspection", "done_on": "2026-02-10", "result": "passed"}),
    "list_spares": Request("GET", "/v1/spares"),
    "get_spare": Request("GET", "/v1/spares/{spare}"),
    "register_spare": Request("POST", "/v1/spares", {"site_id": "{site}", "model_id": "{model}", "shelf": "C1"}),
    "change_spare": Request("PATCH", "/v1/spares/{spare}", {"note": "n"}),
    "list_replacements": Request("GET", "/v1/replacements"),
    "list_reports": Request("GET", "/v1/reports"),
    "get_report": Request("GET", "/v1/reports/{report}"),
    "get_report_file": Request("GET", "/v1/reports/{report}/file"),
    "ask_for_report": Request("POST", "/v1/reports", {"site_id": "{site}"}),
    "list_imports": Request("GET", "/v1/imports"),
    "get_import": Request("GET", "/v1/imports/{import}"),
    "get_import_template": Request("GET", "/v1/imports/templates/sites"),
    "import_file": Request("POST", "/v1/imports"),
    "list_documents": Request("GET", "/v1/documents"),
    "get_document": Request("GET", DOCUMENT),
    "get_document_file": Request("GET", f"{DOCUMENT}/file"),
    "list_attachments": Request("GET", f"{DOCUMENT}/attachments"),
    "get_attachment": Request("GET", f"{DOCUMENT}/attachments/{{attachment}}"),
    "register_document": Request("POST", "/v1/documents", {"title": "A paper", "subject": "animal", "subject_id": "{animal}"}),
    "change_document": Request("PATCH", DOCUMENT, {"note": "n"}),
    "record_attachment": Request("POST", f"{DOCUMENT}/attachments", {"subject": "animal", "subject_id": "{animal}"}),
    "list_approvals": Request("GET", "/v1/approvals"),
    "ask_for_approval": Request("POST", "/v1/approvals", {"action": "erase_staff", "subject_id": "{staff}", "why": "left"}),
    "give_approval": Request("POST", "/v1/approvals/{approval}/give", {}),
    "list_accounts": Request("GET", "/v1/accounts"),
    "get_account": Request("GET", "/v1/accounts/{account}"),
    "list_identities": Request("GET", "/v1/accounts/{account}/identities"),
    "list_grants": Request("GET", "/v1/staff/{staff}/grants"),
    "list_keys": Request("GET", "/v1/keys"),
    "get_key": Request("GET", "/v1/keys/{key}"),
    "register_account": Request("POST", "/v1/accounts", {"staff_id": "{staff}", "sign_in_name": "second {staff}"}),
    "reset_account": Request("POST", "/v1/accounts/{account}/reset", {}),
    "register_identity": Request("POST", "/v1/accounts/{account}/identities", {"issuer": "https://id.example", "subject": "s-{staff}"}),
    "register_grant": Request("POST", "/v1/staff/{staff}/grants", {"role": "veterinarian", "site_id": "{site}"}),
    "register_key": Request("POST", "/v1/keys", {"name": "display", "scopes": ["records.read"], "site_ids": ["{site}"]}),
    "list_holds": Request("GET", "/v1/holds"),
    "get_hold": Request("GET", "/v1/holds/{hold}"),
    "register_hold": Request("POST", "/v1/holds", {"kind": "animal", "why": "an inquiry"}),
    "change_hold": Request("PATCH", "/v1/holds/{hold}", {"note": "n"}),
    "list_retention_rules": Request("GET", "/v1/retention-rules"),
    "get_retention_rule": Request("GET", "/v1/retention-rules/{rule}"),
    "register_retention_rule": Request("POST", "/v1/retention-rules", {"kind": "spare", "keep_months": 12, "source": "own rule"}),
    "change_retention_rule": Request("PATCH", "/v1/retention-rules/{rule}", {"note": "n"}),
    "list_sessions": Request("GET", "/v1/sessions"),
    "end_session": Request("POST", "/v1/sessions/{session}/end", {}),
    "set_password": Request("POST", "/v1/accounts/{account}/password", {"current_password": "x", "password": "y"}),
    "end_attachment": Request("POST", f"{DOCUMENT}/attachments/{{attachment}}/end", END),
    "end_document": Request("POST", f"{DOCUMENT}/end", END),
    "end_hour_reading": Request("POST", f"{ITEM}/hour-readings/{{hours}}/end", END),
    "end_output_reading": Request("POST", f"{ITEM}/output-readings/{{output}}/end", END),
    "end_check": Request("POST", f"{ITEM}/checks/{{check}}/end", END),
    "replace_equipment": Request("POST", f"{ITEM}/replacement", {"installed_on": "2026-02-20", "reason": "worn"}),
    "end_equipment": Request("POST", f"{ITEM}/end", END),
    "end_spare": Request("POST", "/v1/spares/{spare}/end", END),
    "end_placement": Request("POST", "/v1/animals/{animal}/placements/{placement}/end", END),
    "end_animal_event": Request("POST", "/v1/animals/{animal}/events/{event}/end", END),
    "end_mark": Request("POST", "/v1/animals/{animal}/marks/{mark}/end", END),
    "end_measurement": Request("POST", "/v1/animals/{animal}/measurements/{measurement}/end", END),
    "end_parent": Request("POST", "/v1/animals/{animal}/parents/{parentage}/end", END),
    "end_holding": Request("POST", "/v1/animals/{animal}/holdings/{holding}/end", END),
    "end_call_name": Request("POST", "/v1/animals/{loner}/names/{call_name}/end", END),
    "end_calendar_feed": Request("POST", "/v1/calendar-feeds/{calendar_feed}/end", END),
    "end_expected_brood": Request("POST", "/v1/animals/{animal}/expected-broods/{brood}/end", END),
    "end_override": Request("POST", "/v1/overrides/{override}/end", END),
    "end_corrective_action": Request("POST", f"{VISIT}/corrective-actions/{{corrective_action}}/end", END),
    "end_inspection_finding": Request("POST", f"{VISIT}/findings/{{inspection_finding}}/end", END),
    "end_inspection": Request("POST", f"{VISIT}/end", END),
    "end_incident_animal": Request("POST", f"{MISHAP}/animals/{{incident_animal}}/end", END),
    "end_notification": Request("POST", f"{MISHAP}/notifications/{{notification}}/end", END),
    "end_incident": Request("POST", f"{MISHAP}/end", END),
    "end_transfer_animal": Request("POST", f"{TRANSFER}/animals/{{transfer_animal}}/end", END),
    "end_transfer_paper": Request("POST", f"{TRANSFER}/papers/{{transfer_paper}}/end", END),
    "end_transfer_report": Request("POST", "/v1/transfers/{arrived_transfer}/reports/{transfer_report}/end", END),
    "end_transfer": Request("POST", f"{TRANSFER}/end", END),
    "end_permit_taxon": Request("POST", f"{PERMIT}/taxa/{{permit_taxon}}/end", END),
    "end_permit_animal": Request("POST", f"{PERMIT}/animals/{{permit_animal}}/end", END),
    "end_permit_condition": Request("POST", f"{PERMIT}/conditions/{{permit_condition}}/end", END),
    "end_permit_event": Request("POST", f"{PERMIT}/events/{{permit_event}}/end", END),
    "end_permit": Request("POST", f"{PERMIT}/end", END),
    "end_premises": Request("POST", "/v1/sites/{site}/premises/{premises}/end", END),
    "end_animal": Request("POST", "/v1/animals/{animal}/end", END),
    "end_enclosure": Request("POST", "/v1/enclosures/{enclosure}/end", END),
    "end_life_support_system": Request("POST", "/v1/life-support-systems/{system}/end", END),
    "end_identity": Request("POST", "/v1/accounts/{account}/identities/{identity}/end", END),
    "end_grant": Request("POST", "/v1/staff/{staff}/grants/{grant}/end", END),
    "end_account": Request("POST", "/v1/accounts/{account}/end", END),
    "rotate_key": Request("POST", "/v1/keys/{key}/rotate", {"overlap_days": 1}),
    "end_key": Request("POST", "/v1/keys/{key}/end", END),
    "end_hold": Request("POST", "/v1/holds/{hold}/end", END),
    "end_retention_rule": Request("POST", "/v1/retention-rules/{rule}/end", END),
    "end_competence": Request("POST", "/v1/staff/{staff}/competences/{competence}/end", END),
    "end_staff_member": Request("POST", "/v1/staff/{staff}/end", END),
    "erase_staff": Request("POST", "/v1/staff/{staff}/erase", {"reason": "asked to be forgotten"}),
    "end_concept_member": Request("POST", f"{TAXON}/members/{{concept_member}}/end", END),
    "end_husbandry_target": Request("POST", f"{TAXON}/targets/{{target}}/end", END),
    "end_separation": Request("POST", f"{TAXON}/separations/{{separation}}/end", END),
    "end_containment": Request("POST", "/v1/containments/{containment}/end", END),
    "end_taxon": Request("POST", "/v1/taxa/{taxon}/end", END),
    "end_equipment_model": Request("POST", "/v1/equipment-models/{model}/end", END),
    "end_site": Request("POST", "/v1/sites/{site}/end", END),
}
"""In this order: what is looked at, then added and changed, and last what ends."""
