"""Jurisdictions."""

from __future__ import annotations

from uuid import UUID

from api.bodies.records import Kept, LegalPage
from domain.records.jurisdictions import JurisdictionStated


class Jurisdiction(Kept, JurisdictionStated):
    """A jurisdiction on file; ``pack_id`` is the rule pack that first stated it as it stands."""

    pack_id: UUID


class JurisdictionPage(LegalPage[Jurisdiction]):
    """One page of jurisdictions."""
