"""Who may do what, and where: roles, grants, scopes, and the reach of an act that comes of them."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from uuid import UUID


class Role(StrEnum):
    """What a person answers for."""

    VIEWER = "viewer"
    KEEPER = "keeper"
    TECHNICIAN = "technician"
    VETERINARIAN = "veterinarian"
    CURATOR = "curator"
    REGISTRAR = "registrar"
    AUDITOR = "auditor"
    ADMINISTRATOR = "administrator"


class Scope(StrEnum):
    """What a key is for. Every action belongs to exactly one scope."""

    RECORDS_READ = "records.read"
    RECORDS_WRITE = "records.write"
    REPORTS_READ = "reports.read"
    REPORTS_WRITE = "reports.write"
    IMPORTS_READ = "imports.read"
    IMPORTS_WRITE = "imports.write"
    ADMINISTRATION = "administration"


@dataclass(frozen=True, slots=True)
class Grant:
    """A role that a person has at one site, or, without a site, in the whole organisation."""

    role: Role
    site_id: UUID | None = None


@dataclass(frozen=True, slots=True)
class Powers:
    """What a caller brings: a person's grants, or a key's scopes and sites.

    Without ``scopes`` it is a person, and the grants decide; ``site_ids`` is ``None`` where a key is good for every site.
    """

    grants: tuple[Grant, ...] = ()
    scopes: frozenset[Scope] | None = None
    site_ids: frozenset[UUID] | None = None


@dataclass(frozen=True, slots=True)
class Reach:
    """Where an act may be done: at these sites, or, where they are ``None``, in the whole organisation."""

    site_ids: frozenset[UUID] | None

    def covers(self, site_id: UUID | None) -> bool:
        """Return whether it holds at a site; what is of no site is of the whole organisation."""
        return self.site_ids is None or site_id in self.site_ids


EVERYWHERE = Reach(None)
