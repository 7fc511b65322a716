"""Containment rules."""

from __future__ import annotations

from api.bodies.records import Kept, New, Page
from domain.records.taxa import ContainmentStated


class NewContainment(New, ContainmentStated):
    """A containment rule to be registered."""


class Containment(Kept, ContainmentStated):
    """A containment rule on file."""


class ContainmentPage(Page[Containment]):
    """One page of containment rules."""
