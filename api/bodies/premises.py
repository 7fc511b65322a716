"""What is known of premises."""

from __future__ import annotations

from uuid import UUID

from api.bodies.records import Kept, LegalPage, New
from domain.records.premises import PremisesStated


class NewPremises(New, PremisesStated):
    """What is known of premises from a day on. What is known until then without an end ends the day before."""


class ChangedPremises(PremisesStated):
    """What can be corrected of what is known of premises."""


class Premises(Kept, PremisesStated):
    """What is known of premises, on file."""

    site_id: UUID


class PremisesPage(LegalPage[Premises]):
    """One page of what is known of a site's premises."""
