"""How long records are kept, what is held whatever the rules say, and the erasure of a person's particulars."""

from __future__ import annotations

from api.answers import of_record
from api.bodies.retention import (
    Erasure,
    Hold,
    HoldPage,
    NewHold,
    NewRetentionRule,
    RetentionRule,
    RetentionRulePage,
)
from api.bodies.staff import StaffMember
from api.context import Call, stated_in, write
from api.doors import Door
from api.errors import Answer
from api.nouns import IDEMPOTENCY_KEY, Noun, id_parameter
from domain.actions.erasure import erase_staff
from domain.actions.retention import (
    change_legal_hold,
    change_retention_rule,
    end_legal_hold,
    end_retention_rule,
    register_legal_hold,
    register_retention_rule,
)
from domain.records import retention as records

RULES = Noun(
    path="/v1/retention-rules",
    singular="retention_rule",
    plural="retention_rules",
    parameter="retention_rule_id",
    record=records.RetentionRule,
    new=NewRetentionRule,
    kept=RetentionRule,
    page=RetentionRulePage,
    register=register_retention_rule,
    change=change_retention_rule,
    end=end_retention_rule,
    filters=("kind",),
)
HOLDS = Noun(
    path="/v1/holds",
    singular="hold",
    plural="holds",
    parameter="hold_id",
    record=records.LegalHold,
    new=NewHold,
    kept=Hold,
    page=HoldPage,
    register=register_legal_hold,
    change=change_legal_hold,
    end=end_legal_hold,
    filters=("kind", "subject_id"),
)


def erase(call: Call) -> Answer:
    """Erase the particulars of a person who left; what is left of the record is the answer."""
    stated = stated_in(call, Erasure)
    return write(call, lambda unit: of_record(erase_staff(unit, call.ids[0], reason=stated.reason)))


DOORS = [
    *RULES.doors(),
    *HOLDS.doors(),
    Door(
        method="POST",
        path="/v1/staff/{staff_id}/erase",
        operation_id="erase_staff",
        action="erase_staff",
        summary="Erase the particulars of a person who left",
        tag="staff",
        subject="staff",
        answers=StaffMember,
        writes=erase,
        body=Erasure,
        parameters=[id_parameter("staff_id"), IDEMPOTENCY_KEY],
        headers=["ETag"],
    ),
]
