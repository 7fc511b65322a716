"""Sites."""

from __future__ import annotations

from api.bodies.sites import NewSite, Site, SitePage
from api.nouns import Noun
from domain.actions.sites import change_site, end_site, register_site
from domain.records import sites as records

NOUN = Noun(
    path="/v1/sites",
    singular="site",
    plural="sites",
    parameter="site_id",
    record=records.Site,
    new=NewSite,
    kept=Site,
    page=SitePage,
    register=register_site,
    change=change_site,
    end=end_site,
    filters=("name",),
)
DOORS = NOUN.doors()
