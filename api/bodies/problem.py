"""What every answer without success looks like (RFC 9457)."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field


class ProblemError(BaseModel):
    """One thing that is wrong; ``pointer`` is a JSON pointer into the body, or ``/query/`` and a parameter's name.

    Behind ``/file`` it leads into the transfer file that was to be read.
    """

    model_config = ConfigDict(extra="forbid")

    pointer: str
    code: str
    detail: str


class Problem(BaseModel):
    """Why a request was not carried out. ``code`` is stable; ``detail`` is for a person."""

    model_config = ConfigDict(
        extra="forbid",
        json_schema_extra={
            "examples": [
                {
                    "type": "urn:reedbed:problem:invalid",
                    "title": "Cannot be taken as stated",
                    "status": 422,
                    "detail": "Some of what was said cannot be taken.",
                    "instance": "/v1/sites",
                    "code": "invalid",
                    "errors": [{"pointer": "/zone", "code": "zone-unknown", "detail": "There is no time zone of that name."}],
                }
            ]
        },
    )

    type: str
    title: str
    status: int = Field(ge=400, le=599)
    detail: str
    instance: str
    code: str
    errors: list[ProblemError]
