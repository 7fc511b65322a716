"""Every table of Reedbed, gathered: import this to have the metadata whole."""

from sqlalchemy.orm import configure_mappers

from domain.records import (
    accounts,
    animals,
    approvals,
    broods,
    competences,
    documents,
    enclosures,
    equipment,
    holdings,
    incidents,
    inspections,
    journal,
    jurisdictions,
    kinship,
    marks,
    measurements,
    nights,
    organisations,
    overrides,
    permits,
    premises,
    reminders,
    requirements,
    retention,
    sites,
    staff,
    taxa,
    transfers,
)
from domain.records.base import metadata

__all__ = [
    "accounts",
    "animals",
    "approvals",
    "broods",
    "competences",
    "documents",
    "enclosures",
    "equipment",
    "holdings",
    "incidents",
    "inspections",
    "journal",
    "jurisdictions",
    "kinship",
    "marks",
    "measurements",
    "metadata",
    "nights",
    "organisations",
    "overrides",
    "permits",
    "premises",
    "reminders",
    "requirements",
    "retention",
    "sites",
    "staff",
    "taxa",
    "transfers",
]


def make_ready() -> None:
    """Make every record class ready to have instances. An ORM session would do it at first use; there is none here."""
    configure_mappers()
