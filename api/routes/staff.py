"""Staff."""

from __future__ import annotations

from dataclasses import replace

from api.answers import of_record
from api.bodies.staff import NewStaffMember, StaffMember, StaffMemberPage
from api.context import Call, expected_version, patch_in, stated_in, write
from api.errors import Answer
from api.nouns import Noun
from api.permissions import field_reach
from domain.actions.recording import Ending
from domain.actions.staff import GivesRole, change_staff, end_staff, register_staff
from domain.records import staff as records
from domain.rules.permissions import EVERYWHERE, Reach, Role

NOUN = Noun(
    path="/v1/staff",
    singular="staff_member",
    plural="staff",
    parameter="staff_id",
    record=records.Staff,
    new=NewStaffMember,
    kept=StaffMember,
    page=StaffMemberPage,
    register=register_staff,
    change=change_staff,
    end=end_staff,
    filters=("site_id", "role", "name"),
)


def change(call: Call) -> Answer:
    """Correct a member of staff."""
    version, patch, gives = expected_version(call), patch_in(call), gives_of(call)
    return write(call, lambda unit: of_record(change_staff(unit, call.ids[0], patch, expected_version=version, gives=gives)))


def end(call: Call) -> Answer:
    """End a member of staff's record."""
    ending, gives = stated_in(call, Ending), gives_of(call)
    return write(call, lambda unit: of_record(end_staff(unit, call.ids[0], ending, gives=gives)))


def gives_of(call: Call) -> GivesRole:
    """Return where a call's caller may give a role. Of those that no rule of the matrix is about nothing more is asked."""
    matrix, caller, action = call.house.permissions.matrix, call.caller, "change_staff_member"
    ruled = {value for rule in matrix.fields[action] for value in rule.values if rule.binds("role", value)}

    def gives(role: Role) -> Reach | None:
        return field_reach(matrix, caller, action, "role", role) if role in ruled else EVERYWHERE

    return gives


DOORS = [
    NOUN.list_door(),
    NOUN.get_door(),
    NOUN.register_door(),
    replace(NOUN.change_door(), writes=change),
    replace(NOUN.end_door(), writes=end),
]
