"""Sites."""

from __future__ import annotations

from api.bodies.records import Kept, New, Page
from domain.records.sites import SiteStated


class NewSite(New, SiteStated):
    """A site to be registered."""


class Site(Kept, SiteStated):
    """A site on file."""


class SitePage(Page[Site]):
    """One page of sites."""
