"""Staff."""

from __future__ import annotations

from api.bodies.records import Kept, New, Page
from domain.records.staff import StaffStated


class NewStaffMember(New, StaffStated):
    """A member of staff to be registered."""


class StaffMember(Kept, StaffStated):
    """A member of staff on file."""


class StaffMemberPage(Page[StaffMember]):
    """One page of staff."""
