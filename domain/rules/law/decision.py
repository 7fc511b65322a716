"""What requirements say of an act with an animal, at a place, on a day: each for itself, and all together.

The strictest of several requirements wins, and each is reported. A prohibition wins over what cannot be decided, and that over everything
that is allowed: what is not known never permits.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from enum import StrEnum

from domain.rules.law.conditions import Number, Setting, facts_used, holds, marked_shown
from domain.rules.law.facts import Premises, Subject
from domain.rules.law.requirements import DUTIES_ALONE, Activity, Consequence, Exemption, Requirement
from domain.rules.law.selection import delayed_until, selects
from domain.rules.law.truth import all_of

DISCLAIMER = "Not legal advice: local codes, the issuing authority and licensed practice come first."


class Bearing(StrEnum):
    """What one requirement does to an act, from what binds most to what binds least."""

    PROHIBITS = "prohibits"
    CANNOT_DECIDE = "cannot_decide"
    NEEDS_DOCUMENT = "needs_document"
    NEEDS_MARK = "needs_mark"
    OBLIGES = "obliges"
    EXEMPTED = "exempted"
    NOT_YET = "not_yet"


class Outcome(StrEnum):
    """What comes of all requirements together, from best to worst."""

    PERMITTED = "permitted"
    WITH_DOCUMENTS = "permitted_with_documents"
    CANNOT_DECIDE = "cannot_decide"
    PROHIBITED = "prohibited"


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """What a requirement says of an act.

    ``documents`` are the kinds of which one is needed; ``exemption`` is the code of the one that was used; ``missing`` names the facts
    without which it cannot be decided: of a duty, whether it binds; ``used`` are the facts that were looked at; ``from_on`` is the day
    from which it will apply.
    """

    requirement: Requirement
    bearing: Bearing
    documents: tuple[str, ...] = ()
    exemption: str | None = None
    conditions: tuple[str, ...] = ()
    missing: frozenset[str] = frozenset()
    used: Mapping[str, str] = field(default_factory=dict)
    from_on: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """What comes of an act by all requirements that concern it.

    ``missing`` are facts, and jurisdictions that are not on record; what is missing to say whether a duty binds hinders no act, and is not
    among them.
    """

    outcome: Outcome
    findings: tuple[Finding, ...]
    missing: frozenset[str] = frozenset()

    @property
    def documents(self) -> tuple[tuple[str, ...], ...]:
        """The kinds of documents that are needed: of each set one."""
        return tuple(dict.fromkeys(one.documents for one in self.findings if one.bearing is Bearing.NEEDS_DOCUMENT))


Counted = Callable[[Requirement, Premises], Number | None]
"""How many animals that a requirement selects are at premises."""


def decide(
    requirements: Iterable[Requirement],
    subject: Subject,
    *,
    activity: Activity,
    premises: Premises,
    known: Container[str],
    on: date,
    counted: Counted | None = None,
) -> Decision:
    """Return what requirements say of doing something with an animal somewhere on a day.

    Requirements of other jurisdictions than the place's are passed over. ``known`` are the codes of the jurisdictions on record: a place
    without jurisdictions, or with one that is not among them, cannot be decided.
    """
    local = [one for one in requirements if one.jurisdiction in premises.jurisdictions]
    found = [
        finding
        for one in local
        if (finding := find(one, subject, activity=activity, premises=premises, on=on, counted=counted)) is not None
    ]
    return conclude(without_exempted(found), missing=unknown_jurisdictions(premises, known))


def find(
    requirement: Requirement,
    subject: Subject,
    *,
    activity: Activity,
    premises: Premises,
    on: date,
    counted: Counted | None = None,
) -> Finding | None:
    """Return what a requirement says of an act, ``None`` where it does not concern it."""
    if requirement.activities and activity not in requirement.activities:
        return None
    if requirement.applies_until is not None and on > requirement.applies_until:
        return None
    if on < requirement.applies_from:
        return _not_yet(requirement, subject, on=on)
    selected = selects(requirement.selector, subject, on=on)
    if selected.is_false:
        later = delayed_until(requirement.selector, subject.taxon, on=on)
        return None if later is None else Finding(requirement=requirement, bearing=Bearing.NOT_YET, from_on=later, used=_who(subject))
    number = counted(requirement, premises) if counted is not None else None
    setting = Setting(subject=subject, premises=premises, on=on, number=number)
    applies = all_of((selected, holds(requirement.when, setting)))
    if applies.is_false:
        return None
    used = {**_who(subject), **facts_used(requirement.when, setting)}
    if not applies.is_known:
        bearing = Bearing.OBLIGES if requirement.consequence in DUTIES_ALONE else Bearing.CANNOT_DECIDE
        return Finding(requirement=requirement, bearing=bearing, missing=applies.missing, used=used)
    return _with_exemptions(requirement, setting, activity=activity, used=used)


def conclude(findings: Sequence[Finding], *, missing: frozenset[str] = frozenset()) -> Decision:
    """Return what comes of findings together; ``missing`` is what could not be looked at at all."""
    bearings = {one.bearing for one in findings}
    missing = missing.union(*(one.missing for one in findings if one.bearing is not Bearing.OBLIGES))
    if Bearing.PROHIBITS in bearings:
        outcome = Outcome.PROHIBITED
    elif missing:
        outcome = Outcome.CANNOT_DECIDE
    elif bearings & {Bearing.NEEDS_DOCUMENT, Bearing.NEEDS_MARK}:
        outcome = Outcome.WITH_DOCUMENTS
    else:
        outcome = Outcome.PERMITTED
    return Decision(outcome=outcome, findings=tuple(findings), missing=missing)


def _not_yet(requirement: Requirement, subject: Subject, *, on: date) -> Finding | None:
    """Return that a requirement will concern an animal, where it is listed already on the day."""
    if (
        requirement.listed_on is None
        or requirement.listed_on > on
        or selects(requirement.selector, subject, on=requirement.applies_from).is_false
    ):
        return None
    return Finding(requirement=requirement, bearing=Bearing.NOT_YET, from_on=requirement.applies_from, used=_who(subject))


def _with_exemptions(requirement: Requirement, setting: Setting, *, activity: Activity, used: Mapping[str, str]) -> Finding:
    """Return what a requirement that applies says, once what it exempts is looked at.

    An exemption that holds without a document settles it; those that need one each offer their kind. One that cannot be decided leaves it
    undecided where nothing else exempts, but asks for a document no less where one is needed anyway.
    """
    offered = [one for one in requirement.exemptions if _offers(one, activity=activity, on=setting.on)]
    truths = {one.code: holds(one.when, setting) for one in offered}
    used = {**used, **{name: value for one in offered for name, value in facts_used(one.when, setting).items()}}
    free = next((one for one in offered if one.document is None and truths[one.code].is_true), None)
    if free is not None:
        return Finding(requirement=requirement, bearing=Bearing.EXEMPTED, exemption=free.code, conditions=free.conditions, used=used)
    by_document = [one for one in offered if one.document is not None and truths[one.code].is_true]
    plain = _plain(requirement, setting, used=used)
    undecided = frozenset[str]().union(*(truths[one.code].missing for one in offered))
    if plain.bearing is Bearing.OBLIGES or (plain.bearing is Bearing.EXEMPTED and not undecided):
        return plain
    if by_document and plain.bearing is not Bearing.EXEMPTED:
        kinds = tuple(dict.fromkeys((*plain.documents, *(one.document for one in by_document if one.document is not None))))
        conditions = tuple(dict.fromkeys(word for one in by_document for word in one.conditions))
        needed = replace(plain, bearing=Bearing.NEEDS_DOCUMENT, documents=kinds, missing=frozenset())
        return replace(needed, exemption=by_document[0].code, conditions=conditions)
    if not undecided or plain.bearing is Bearing.NEEDS_DOCUMENT:
        return plain
    return replace(plain, bearing=Bearing.CANNOT_DECIDE, missing=plain.missing | undecided)


def _offers(exemption: Exemption, *, activity: Activity, on: date) -> bool:
    return (exemption.until is None or on <= exemption.until) and (not exemption.activities or activity in exemption.activities)


def _plain(requirement: Requirement, setting: Setting, *, used: Mapping[str, str]) -> Finding:
    """Return what a requirement that applies says by itself."""
    match requirement.consequence:
        case Consequence.PROHIBITED:
            return Finding(requirement=requirement, bearing=Bearing.PROHIBITS, used=used)
        case Consequence.DOCUMENT:
            return Finding(requirement=requirement, bearing=Bearing.NEEDS_DOCUMENT, documents=requirement.documents, used=used)
        case Consequence.MARK:
            return _mark(requirement, setting.subject, used=used)
        case Consequence.EXEMPT:
            return Finding(requirement=requirement, bearing=Bearing.EXEMPTED, used=used)
        case _:
            return Finding(requirement=requirement, bearing=Bearing.OBLIGES, used=used)


def _mark(requirement: Requirement, subject: Subject, *, used: Mapping[str, str]) -> Finding:
    """Return what a requirement says by itself that asks for a mark."""
    used = {**used, "marked": marked_shown(subject)}
    if subject.is_marked is None:
        return Finding(requirement=requirement, bearing=Bearing.CANNOT_DECIDE, missing=frozenset(("marked",)), used=used)
    return Finding(requirement=requirement, bearing=Bearing.OBLIGES if subject.is_marked else Bearing.NEEDS_MARK, used=used)


def without_exempted(findings: Iterable[Finding]) -> list[Finding]:
    """Return findings where those that another one exempts say so. What is itself exempted exempts from nothing."""
    findings = list(findings)
    applying = [
        one.requirement
        for one in findings
        if one.requirement.consequence is Consequence.EXEMPT and one.bearing is Bearing.EXEMPTED and one.exemption is None
    ]
    by_code = {code: one for one in _exempting(applying) for code in one.exempts}
    return [
        replace(one, bearing=Bearing.EXEMPTED, exemption=by_code[one.requirement.code].code, missing=frozenset())
        if one.requirement.code in by_code and one.bearing is not Bearing.NOT_YET
        else one
        for one in findings
    ]


def _exempting(applying: Sequence[Requirement]) -> Iterator[Requirement]:
    """Yield those of some requirements to exempt that none of the others exempts; of such as exempt one another in a circle none is."""
    waiting = list(applying)
    while free := [one for one in waiting if not any(one.code in other.exempts for other in waiting)]:
        yield from free
        lifted = frozenset[str]().union(*(one.exempts for one in free))
        waiting = [one for one in waiting if one not in free and one.code not in lifted]


def unknown_jurisdictions(premises: Premises, known: Container[str]) -> frozenset[str]:
    """Return what is missing before anything can be said of a place: its jurisdiction, or each of those that apply that no pack states.

    A jurisdiction that is on record is known, whatever is required there: it may require nothing.
    """
    if not premises.jurisdictions:
        return frozenset(("jurisdiction",))
    return frozenset(f"jurisdiction_{code}" for code in premises.jurisdictions if code not in known)


def _who(subject: Subject) -> Mapping[str, str]:
    return {"taxon": subject.taxon.name, "life_stage": subject.life_stage.value, "origin": subject.origin.value}
