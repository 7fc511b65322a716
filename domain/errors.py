"""The refusals that the domain knows. Each bears a stable code, a sentence and, where one field is at fault, that field."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong with what was said.

    ``pointer`` is a JSON pointer (RFC 6901) into the body, empty when the whole is meant; ``code`` is stable; ``detail`` is for a person.
    """

    pointer: str
    code: str
    detail: str


class Unfit(ValueError):  # noqa: N818 - a property of the value, not of the program
    """A value that cannot be taken as stated, with a stable code; whoever reads the value knows the field."""

    def __init__(self, sentence: str, *, code: str) -> None:
        super().__init__(sentence)
        self.code = code


class Refusal(Exception):  # noqa: N818 - a refusal is an answer, not a defect
    """Something that may not be done, with a sentence for the person who asked."""

    code = "refused"

    def __init__(self, detail: str, *, code: str | None = None, field: str = "", faults: tuple[Fault, ...] = ()) -> None:
        super().__init__(detail)
        self.detail = detail
        self.code = code or type(self).code
        pointer = f"/{field}" if field else ""
        self.faults = faults or ((Fault(pointer, self.code, detail),) if field else ())


class NotFound(Refusal):
    """There is no such record in the caller's organisation."""

    code = "not-found"


class Conflict(Refusal):
    """The record's present state does not allow it."""

    code = "conflict"


class Stale(Refusal):
    """The record was changed since the caller read it."""

    code = "stale"


class RuleBroken(Refusal):
    """What was said cannot be true or is not allowed; the faults name the fields."""

    code = "rule-broken"


class NotAllowed(Refusal):
    """The caller may not do this in the own organisation."""

    code = "not-allowed"


class StorageBusy(Refusal):
    """The database could not be asked in time; nothing was changed and the same request may be sent again."""

    code = "storage-busy"


class StorageFailed(Refusal):
    """The storage does not do what it should. Another try does not help before somebody has looked at it."""

    code = "storage-failed"


class TookTooLong(Refusal):
    """It took longer than it may; nothing was changed. The same again would hardly be quicker."""

    code = "took-too-long"
