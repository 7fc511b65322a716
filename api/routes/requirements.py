"""Requirements of the law, in all their editions, and the kinds of documents that they ask for. Rule packs put them on record."""

from __future__ import annotations

from api.bodies import requirements as bodies
from api.bodies.records import with_disclaimer
from api.context import Call
from api.doors import Door
from api.errors import Answer
from api.nouns import IF_NONE_MATCH, get_one, id_parameter
from api.pages import Listing
from domain.records.requirements import DocumentKind, Requirement

_REQUIREMENTS = Listing(Requirement, ("code", "jurisdiction", "consequence"))
_KINDS = Listing(DocumentKind, ("code", "jurisdiction"))


async def get_requirement(call: Call) -> Answer:
    """Answer with one requirement, or 304 where the caller has this version of the record."""
    return await get_one(call, Requirement, subject="requirement")


DOORS = (
    Door(
        method="GET",
        path="/v1/requirements",
        action="list_requirements",
        operation_id="list_requirements",
        summary="List requirements of the law; as of a day those that apply on it",
        tag="law",
        subject="requirement",
        answers=bodies.RequirementPage,
        reads=_REQUIREMENTS.page,
        query=_REQUIREMENTS.readers,
        parameters=_REQUIREMENTS.parameters,
        headers=["Link"],
    ),
    Door(
        method="GET",
        path="/v1/requirements/{requirement_id}",
        action="get_requirement",
        operation_id="get_requirement",
        summary="Get a requirement of the law with its whole content",
        tag="law",
        subject="requirement",
        answers=with_disclaimer(bodies.Requirement),
        reads=get_requirement,
        parameters=[id_parameter("requirement_id"), IF_NONE_MATCH],
        headers=["ETag"],
    ),
    Door(
        method="GET",
        path="/v1/document-kinds",
        action="list_document_kinds",
        operation_id="list_document_kinds",
        summary="List the kinds of documents that the law asks for",
        tag="law",
        subject="kind of document",
        answers=bodies.DocumentKindPage,
        reads=_KINDS.page,
        query=_KINDS.readers,
        parameters=_KINDS.parameters,
        headers=["Link"],
    ),
)
