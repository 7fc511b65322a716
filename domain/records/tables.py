"""Every table of Reedbed, gathered: import this to have the metadata whole."""

from sqlalchemy.orm import configure_mappers

from domain.records import animals, enclosures, equipment, journal, nights, organisations, sites, staff
from domain.records.base import metadata

__all__ = ["animals", "enclosures", "equipment", "journal", "make_ready", "metadata", "nights", "organisations", "sites", "staff"]


def make_ready() -> None:
    """Make every record class ready to have instances. An ORM session would do it at first use; there is none here."""
    configure_mappers()
