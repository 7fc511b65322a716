"""Every table of Reedbed, gathered: import this to have the metadata whole."""

from domain.records import animals, enclosures, equipment, journal, nights, organisations, sites, staff
from domain.records.base import metadata

__all__ = ["animals", "enclosures", "equipment", "journal", "metadata", "nights", "organisations", "sites", "staff"]
