"""Staff."""

from __future__ import annotations

from api.bodies.staff import NewStaffMember, StaffMember, StaffMemberPage
from api.nouns import Noun
from domain.actions.staff import change_staff, end_staff, register_staff
from domain.records import staff as records

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
DOORS = NOUN.doors()
