"""Jurisdictions, as rule packs state them."""

from __future__ import annotations

from api.bodies.jurisdictions import JurisdictionPage
from api.doors import Door
from api.pages import Listing
from domain.records.jurisdictions import Jurisdiction

_LISTING = Listing(Jurisdiction, ("code", "level", "parent_code"))

DOORS = (
    Door(
        method="GET",
        path="/v1/jurisdictions",
        action="list_jurisdictions",
        operation_id="list_jurisdictions",
        summary="List jurisdictions",
        tag="law",
        subject="jurisdiction",
        answers=JurisdictionPage,
        reads=_LISTING.page,
        query=_LISTING.readers,
        parameters=_LISTING.parameters,
        headers=["Link"],
    ),
)
