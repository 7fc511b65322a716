"""The caller's organisation."""

from __future__ import annotations

from pydantic import AwareDatetime, ConfigDict

from domain.records.organisations import OrganisationStated


class OwnOrganisation(OrganisationStated):
    """The organisation whose key the caller holds."""

    model_config = ConfigDict(json_schema_serialization_defaults_required=True)  # type: ignore[assignment]

    id: int
    created_at: AwareDatetime
