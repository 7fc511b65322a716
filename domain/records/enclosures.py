"""Enclosures, and the life-support systems that serve them."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Any, ClassVar

from sqlmodel import Field

from domain.records.base import Record, Stated, owned_by_organisation, refers_to, unique_while_kept
from domain.records.columns import Count, Id, JsonColumn, Name, Note, UuidColumn, words_of
from domain.records.shapes import Shape
from domain.rules.fitness import Closure


class EnclosureKind(StrEnum):
    """What an enclosure is."""

    AQUARIUM = "aquarium"
    TERRARIUM = "terrarium"
    PALUDARIUM = "paludarium"
    POND = "pond"
    TUB = "tub"
    PEN = "pen"
    RACK = "rack"
    INCUBATOR = "incubator"
    ROOM = "room"
    OTHER = "other"


class SystemStated(Stated):
    """A life-support system: pumps, filters and treatment shared by the enclosures that name it.

    ``least_gap_days`` is the least time between changing two of its filter media lots [days].
    """

    site_id: Id = Field(sa_type=UuidColumn)
    name: Name
    least_gap_days: Annotated[int, Field(ge=1, le=365)] = 14
    note: Note = ""


class LifeSupportSystem(Record, SystemStated, table=True):
    """A stored life-support system."""

    __tablename__ = "life_support_system"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("site", "site_id"),
        unique_while_kept("life_support_system", "site_id", "name_key"),
    )
    noun: ClassVar[str] = "life_support_system"

    name_key: str


class EnclosureStated(Stated):
    """An enclosure: where, what kind, its shape by inside dimensions, its place in the walking order, and what it hangs on.

    ``displacement_fraction`` is the share of the gross volume that rocks, roots and substrate take up [fraction]. ``capacity`` is the most
    animals that may live in it, ``closure`` how it closes; ``quarantine`` says that arrivals and suspects are kept apart there.
    """

    site_id: Id = Field(sa_type=UuidColumn)
    name: Name
    kind: EnclosureKind = Field(default=EnclosureKind.OTHER, sa_type=words_of(EnclosureKind))
    shape: Shape | None = Field(default=None, sa_type=JsonColumn)
    displacement_fraction: Annotated[float, Field(ge=0, lt=1)] = 0.0
    walking_order: Count | None = None
    capacity: Annotated[int, Field(ge=1, le=10_000_000)] | None = None
    closure: Closure | None = Field(default=None, sa_type=words_of(Closure))
    quarantine: bool = False
    parent_id: Id | None = Field(default=None, sa_type=UuidColumn)
    life_support_system_id: Id | None = Field(default=None, sa_type=UuidColumn)
    note: Note = ""


class Enclosure(Record, EnclosureStated, table=True):
    """A stored enclosure with its computed size."""

    __tablename__ = "enclosure"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("site", "site_id"),
        refers_to("enclosure", "parent_id"),
        refers_to("life_support_system", "life_support_system_id"),
        unique_while_kept("enclosure", "site_id", "name_key"),
    )
    noun: ClassVar[str] = "enclosure"

    shape: Any = Field(default=None, sa_type=JsonColumn)
    name_key: str
    volume_l: float | None = None
    floor_m2: float | None = None
