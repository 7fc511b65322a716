"""Overrides of requirements."""

from __future__ import annotations

from api.bodies.records import Kept, LegalPage, New
from domain.records.overrides import OverrideStated


class NewOverride(New, OverrideStated):
    """An override to be registered."""


class ChangedOverride(OverrideStated):
    """What can be corrected of an override."""


class Override(Kept, OverrideStated):
    """An override on file."""

    edition: str


class OverridePage(LegalPage[Override]):
    """One page of overrides."""
