"""Whose animals are, and what they are called."""

from __future__ import annotations

from uuid import UUID

from api.bodies.records import Kept, New, Page
from domain.records.holdings import CallNameStated, HoldingStated


class NewHolding(New, HoldingStated):
    """A holding to be recorded. The one that is open until then ends the day before."""


class ChangedHolding(HoldingStated):
    """What can be corrected of a holding."""


class Holding(Kept, HoldingStated):
    """A holding on file."""

    animal_id: UUID


class HoldingPage(Page[Holding]):
    """One page of holdings."""


class NewCallName(New, CallNameStated):
    """A name to be recorded. The one that is open until then ends the day before."""


class ChangedCallName(CallNameStated):
    """What can be corrected of a name."""


class CallName(Kept, CallNameStated):
    """A name on file."""

    animal_id: UUID


class CallNamePage(Page[CallName]):
    """One page of names."""
