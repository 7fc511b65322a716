"""What is known of a site's premises."""

from __future__ import annotations

from api.bodies.premises import ChangedPremises, NewPremises, Premises, PremisesPage
from api.parts import Part
from domain.actions.premises import change_premises, end_premises, record_premises
from domain.records import premises as records
from domain.records.sites import Site

PART = Part(
    owner=Site,
    owner_path="/v1/sites",
    owner_parameter="site_id",
    within="site_id",
    path="premises",
    parameter="premises_id",
    singular="premises",
    plural="premises",
    record=records.Premises,
    new=NewPremises,
    changed=ChangedPremises,
    kept=Premises,
    page=PremisesPage,
    make=record_premises,
    change=change_premises,
    end=end_premises,
)
DOORS = PART.doors()
