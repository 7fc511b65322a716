"""Enclosures and life-support systems."""

from __future__ import annotations

from uuid import UUID

from api.bodies.records import Kept, New, Page
from domain.records.enclosures import EnclosureStated, SystemStated


class NewEnclosure(New, EnclosureStated):
    """An enclosure to be registered."""


class Enclosure(Kept, EnclosureStated):
    """An enclosure on file."""

    volume_l: float | None = None
    floor_m2: float | None = None


class EnclosurePage(Page[Enclosure]):
    """One page of enclosures."""


class NewLifeSupportSystem(New, SystemStated):
    """A life-support system to be registered."""


class LifeSupportSystem(Kept, SystemStated):
    """A life-support system on file."""


class LifeSupportSystemPage(Page[LifeSupportSystem]):
    """One page of life-support systems."""


class LifeSupportSystemWithParts(LifeSupportSystem):
    """A life-support system on file, with the enclosures it serves and the filter media lots that hang on it."""

    enclosure_ids: list[UUID]
    media_lot_ids: list[UUID]
