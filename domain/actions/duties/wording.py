"""How duties are named, and how rows are chosen by their site."""

from __future__ import annotations

from typing import Any
from uuid import UUID

import sqlalchemy as sa

from domain.records.columns import UuidColumn
from domain.rules.law.requirements import Requirement

PLACES_FIRST = "Site rules, local codes and licensed practice come first."


def at_site(column: sa.ColumnElement[Any]) -> sa.ColumnElement[bool]:
    """Return the condition that something is at the site of the parameter ``site_id``, or of none where that is null."""
    return column.is_not_distinct_from(sa.bindparam("site_id", type_=UuidColumn()))


def occurrence(*parts: object, site_id: UUID | None) -> str:
    """Return the name of an occurrence of what may go to another site: what was seen to at one is to be seen to at the next."""
    return "/".join(str(part) for part in (*parts, site_id or "organisation"))


def cited(requirement: Requirement) -> str:
    """Return what a requirement is called in a sentence, and where it stands."""
    return f"{requirement.title}, {requirement.citation}"
