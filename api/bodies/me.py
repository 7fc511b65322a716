"""Who the caller is, and what the caller may do."""

from __future__ import annotations

from typing import Annotated, Literal
from uuid import UUID

from pydantic import BaseModel, ConfigDict, Field

from domain.rules.permissions import Role, Scope


class _Shown(BaseModel):
    model_config = ConfigDict(extra="forbid", json_schema_serialization_defaults_required=True)


class OwnPlace(_Shown):
    """The organisation whose records the caller works with."""

    id: int
    name: str


class Who(_Shown):
    """The program or the member of staff that asks, and the member of staff whom a program acts for."""

    kind: Literal["key", "staff"]
    id: UUID
    name: str
    on_behalf_of: UUID | None


class OwnRole(_Shown):
    """A role, at a site or, where that is null, in the whole organisation."""

    role: Role
    site_id: UUID | None


class Everywhere(_Shown):
    """In the whole organisation."""

    everywhere: Literal[True]


class AtSites(_Shown):
    """At these sites."""

    site_ids: list[UUID]


class ClosedField(_Shown):
    """A field that the caller may write nowhere, or, where values are named, not with these values."""

    field: str
    values: list[str]


class Me(_Shown):
    """The caller: who it is, by which roles or scopes, and what may be done where. An action that is not in ``may`` will be refused."""

    organisation: OwnPlace
    who: Who
    roles: Annotated[list[OwnRole], Field(description="Of a member of staff; empty for a key.")]
    scopes: Annotated[list[Scope] | None, Field(description="Of a key; null for a member of staff.")]
    site_ids: Annotated[list[UUID] | None, Field(description="The sites that a key is bound to; null where it is bound to none.")]
    may: Annotated[dict[str, Everywhere | AtSites], Field(description="By action, which is named as the operation is.")]
    fields_closed: Annotated[dict[str, list[ClosedField]], Field(description="By action: the fields that may not be written with it.")]
