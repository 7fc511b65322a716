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
    "models": "equipment_model",
    "equipment": "equipment",
    "spares": "spare",
    "accounts": "account",
    "identities": "identity",
    "grants": "grant",
    "keys": "key",
    "holds": "hold",
    "retention": "retention_rule",
}
PLURAL = {"retention": "retention_rules", "life-support": "life_support_systems", "models": "equipment_models"}
OTHERWISE = {
    ("sees", "organisation"): "get_organisation",
    ("sees", "forecasts"): "get_forecast list_replacements",
    ("sees", "readings"): "list_hour_readings get_hour_reading list_output_readings get_output_reading list_checks get_check",
    ("adds", "readings"): "record_hours record_output record_check",
    ("ends", "readings"): "end_hour_reading end_output_reading end_check",
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
