"""One request for every door, by the action of the door; {names} stand for the ids of the records that it is about."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Request:
    """A request that whoever may do the action can make."""

    method: str
    path: str
    body: Any = None

    def sent_by(self, client: Any, names: dict[str, str], **headers: str) -> Any:
        """Return the answer; what is changed is changed at its first version."""
        path = self.path.format(**names)
        if self.path == "/v1/imports" and self.method == "POST":
            file = {"file": ("sites.csv", b"name,zone\nThird,UTC\n")}
            return client.request("POST", f"{path}?kind=sites&dry_run=true", files=file, headers=headers)
        if self.method == "GET":
            return client.request("GET", path, headers=headers)
        more = {"If-Match": '"1"'} if self.method == "PATCH" else {}
        return client.request(self.method, path, json=_filled(self.body, names), headers={**more, **headers})


def _filled(stated: Any, names: dict[str, str]) -> Any:
    if isinstance(stated, dict):
        return {key: _filled(value, names) for key, value in stated.items()}
    if isinstance(stated, list):
        return [_filled(value, names) for value in stated]
    return stated.format(**names) if isinstance(stated, str) else stated


END = {"reason": "given up"}
ITEM = "/v1/equipment/{item}"
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
    "list_taxa": Request("GET", "/v1/taxa"),
    "get_taxon": Request("GET", "/v1/taxa/{taxon}"),
    "register_taxon": Request("POST", "/v1/taxa", {"scientific_name": "Rana", "rank": "genus"}),
    "change_taxon": Request("PATCH", "/v1/taxa/{taxon}", {"common_name": "toad"}),
    "list_animals": Request("GET", "/v1/animals"),
    "get_animal": Request("GET", "/v1/animals/{animal}"),
    "register_animal": Request("POST", "/v1/animals", {"taxon_id": "{taxon}", "tag": "A-2 {site}", "enclosure_id": "{enclosure}"}),
    "change_animal": Request("PATCH", "/v1/animals/{animal}", {"note": "n"}),
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
    "end_hour_reading": Request("POST", f"{ITEM}/hour-readings/{{hours}}/end", END),
    "end_output_reading": Request("POST", f"{ITEM}/output-readings/{{output}}/end", END),
    "end_check": Request("POST", f"{ITEM}/checks/{{check}}/end", END),
    "replace_equipment": Request("POST", f"{ITEM}/replacement", {"installed_on": "2026-02-20", "reason": "worn"}),
    "end_equipment": Request("POST", f"{ITEM}/end", END),
    "end_spare": Request("POST", "/v1/spares/{spare}/end", END),
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
    "end_staff_member": Request("POST", "/v1/staff/{staff}/end", END),
    "erase_staff": Request("POST", "/v1/staff/{staff}/erase", {"reason": "asked to be forgotten"}),
    "end_taxon": Request("POST", "/v1/taxa/{taxon}/end", END),
    "end_equipment_model": Request("POST", "/v1/equipment-models/{model}/end", END),
    "end_site": Request("POST", "/v1/sites/{site}/end", END),
}
"""In this order: what is looked at, then added and changed, and last what ends."""
