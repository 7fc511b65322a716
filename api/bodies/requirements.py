"""Requirements of the law, and the kinds of documents that they ask for. No answer is legal advice, and each says so."""

from __future__ import annotations

from uuid import UUID

from pydantic import BaseModel, ConfigDict

from api.bodies.records import Kept, LegalPage
from domain.records.requirements import DocumentKindStated, RequirementStated
from domain.rules.law.requirements import Activity, Exemption, Obligation, Occasion, Predicate, Selector
from domain.rules.law.spans import Span
from domain.rules.lives import LifeStage
from domain.rules.permits import Start


class _Content(BaseModel):
    model_config = ConfigDict(extra="forbid", json_schema_serialization_defaults_required=True)


class RequirementContent(_Content):
    """Whom and what a requirement is about, what it asks and exempts, and which duties it brings.

    Sizes are in millimetres and masses in grams, whatever the law says them in.
    """

    selector: Selector
    activities: list[Activity]
    when: list[Predicate]
    documents: list[str]
    exempts: list[str]
    exemptions: list[Exemption]
    obligations: list[Obligation]


class Requirement(Kept, RequirementStated):
    """A requirement on file. ``edition`` is its version in its rule pack; ``pack_id`` is the pack that first stated it as it stands.

    A pack that only gives it its last day states it anew.
    """

    content: RequirementContent
    pack_id: UUID


class RequirementPage(LegalPage[Requirement]):
    """One page of requirements."""


class DocumentKindContent(_Content):
    """Until when documents of a kind are good, and what counts against their numbers."""

    lasts: Span | None
    starts: Start
    ends_with: list[Occasion]
    for_one_consignment: bool
    counted_stages: list[LifeStage]
    renewal_lead: Span | None


class DocumentKind(Kept, DocumentKindStated):
    """A kind of document on file; ``pack_id`` is the rule pack that first stated it as it stands."""

    content: DocumentKindContent
    pack_id: UUID


class DocumentKindPage(LegalPage[DocumentKind]):
    """One page of kinds of documents."""
