"""The frozen sheet behind the paper of an incident."""

from dataclasses import dataclass
from datetime import datetime

from domain.rules.fitness import Hazard
from domain.rules.incidents import IncidentKind


@dataclass(frozen=True, slots=True, kw_only=True)
class ConcernedAnimal:
    """An animal or group that was concerned; ``hazard`` is ``None`` where no class is on record."""

    tag: str
    scientific_name: str
    rank: str
    hazard: Hazard | None
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NoticeLine:
    """What a requirement asks to be told; ``tell_by`` is ``None`` where it is to be told at once, ``standing`` a word of the answers.

    It is told to the authority of the ``jurisdiction``, whose name is ``place``, ``None`` where it is not on record.
    """

    requirement: str
    edition: str
    jurisdiction: str
    place: str | None
    title: str
    citation: str
    tell_by: datetime | None
    standing: str
    told_at: datetime | None
    missing: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ToldLine:
    """That the incident was told: to whom, when, by which way, under which reference, and the requirement that asked for it."""

    told_to: str
    told_at: datetime
    way: str
    reference: str | None
    requirement: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class IncidentSheet:
    """An incident as it is on record at ``data_as_of``; ``missing`` is what could not be looked at in the law at all."""

    paper_id: str
    organisation: str
    site: str
    address: str
    zone: str
    data_as_of: datetime
    generated_at: datetime
    incident_id: str
    kind: IncidentKind
    found_at: datetime
    enclosure: str | None
    persons_hurt: int
    account: str
    outcome: str
    animals: tuple[ConcernedAnimal, ...]
    notices: tuple[NoticeLine, ...]
    told: tuple[ToldLine, ...]
    missing: tuple[str, ...]
