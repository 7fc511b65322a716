"""Shapes of approvals."""

from __future__ import annotations

from typing import Annotated

from pydantic import AwareDatetime, Field

from api.bodies.records import Kept, New, Page
from domain.records.approvals import ApprovalStated
from domain.records.base import Stated


class NewApproval(New, ApprovalStated):
    """What a second person is asked for: the action, the record that it is to be done to, and why."""


class Giving(Stated):
    """Nothing is said besides: an empty object."""


class Approval(Kept, ApprovalStated):
    """An approval: good once, for whoever asked for it, until it expires."""

    asked_by: Annotated[str, Field(description="Who asked and then does it: staff: or key:, and an id.")]
    given_by: Annotated[str | None, Field(description="Who approved it; null until then.")]
    given_at: AwareDatetime | None
    expires_at: AwareDatetime
    used_at: Annotated[AwareDatetime | None, Field(description="When it was done; null until then.")]


class ApprovalPage(Page[Approval]):
    """One page of approvals."""
