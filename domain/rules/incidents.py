"""What has to be told to whom after something went wrong, and by when, by the law in force on the day on which it was found.

It is no legal advice: local codes, the issuing authority and licensed practice come first. Help for people and animals comes before all.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from enum import StrEnum

from domain.rules.calendar import date_at_site
from domain.rules.law.decision import Bearing, Finding, find, unknown_jurisdictions
from domain.rules.law.facts import Premises, Subject
from domain.rules.law.jurisdictions import Jurisdiction
from domain.rules.law.requirements import Activity, Duty, Obligation, Occasion, Requirement
from domain.rules.law.spans import WorkingDays, instant_after

ANIMALS = "animals"
"""The fact that is missing where a requirement is about some animals, and it is not said which were concerned."""
_LIFTS = frozenset((Bearing.EXEMPTED, Bearing.NOT_YET))


class IncidentKind(StrEnum):
    """What went wrong."""

    ESCAPE = "escape"
    BITE = "bite"
    INJURY = "injury"
    DEATH = "death"
    OUTAGE = "outage"
    CONTAMINATION = "contamination"


@dataclass(frozen=True, slots=True, kw_only=True)
class Notice:
    """That a requirement asks to tell its authority, or that it cannot be decided whether it does: ``missing`` names the facts.

    ``tell_by`` is the last instant in time (UTC), ``None`` where the requirement gives no span: then it is to be told at once. ``used`` are
    the facts that were looked at.
    """

    requirement: Requirement
    obligation: Obligation
    tell_by: datetime | None
    missing: frozenset[str]
    used: Mapping[str, str]

    @property
    def is_decided(self) -> bool:
        """Whether it has to be told beyond doubt."""
        return not self.missing


@dataclass(frozen=True, slots=True, kw_only=True)
class Notices:
    """All notices of an incident, the most urgent first; ``missing`` is what could not be looked at at all."""

    notices: tuple[Notice, ...]
    missing: frozenset[str]


def notices(
    requirements: Sequence[Requirement],
    jurisdictions: Mapping[str, Jurisdiction],
    subjects: Sequence[Subject],
    *,
    kind: IncidentKind,
    found_at: datetime,
    zone: str,
    premises: Premises,
    others_concerned: bool = False,
) -> Notices:
    """Return what has to be told after an incident at premises that was found at an instant (aware).

    ``subjects`` are the animals concerned, none where that is not said; ``others_concerned`` says that there were some of which nothing is
    known. ``zone`` is the site's; days and working days are counted as they
    are in the jurisdiction that asks. What a requirement says of a sale or a journey does not matter here, only whom it is about.
    """
    on = date_at_site(found_at, zone)
    local = [one for one in requirements if one.jurisdiction in premises.jurisdictions and _is_in_force(one, on=on)]
    found = [
        _notice(requirement, obligation, bearing, jurisdictions.get(requirement.jurisdiction), found_at=found_at, zone=zone)
        for requirement in local
        for obligation in requirement.obligations
        if obligation.duty is Duty.NOTIFY and obligation.occasion == Occasion(kind.value)
        if (bearing := _concerned(requirement, subjects, premises=premises, on=on, others=others_concerned)) is not None
    ]
    at_once = datetime.min.replace(tzinfo=found_at.tzinfo)
    in_order = sorted(found, key=lambda one: (one.tell_by or at_once, one.requirement.code, one.obligation.code))
    return Notices(notices=tuple(in_order), missing=unknown_jurisdictions(premises, jurisdictions))


def _is_in_force(requirement: Requirement, *, on: date) -> bool:
    return requirement.applies_from <= on and (requirement.applies_until is None or on <= requirement.applies_until)


def _concerned(
    requirement: Requirement, subjects: Iterable[Subject], *, premises: Premises, on: date, others: bool
) -> tuple[frozenset[str], Mapping[str, str]] | None:
    """Return what is missing to say that a requirement concerns some of the animals, and the facts used; ``None`` where it does not."""
    about_any = replace(requirement, activities=frozenset())
    findings = [find(about_any, one, activity=Activity.HOLD, premises=premises, on=on) for one in subjects]
    if not findings:
        return _without_animals(requirement)
    bound = [one for one in findings if one is not None and one.bearing not in _LIFTS]
    sure = next((one for one in bound if not one.missing), None)
    if sure is not None:
        return frozenset(), sure.used
    if bound:
        return frozenset().union(*(one.missing for one in bound)), _used(bound)
    return _without_animals(requirement) if others else None


def _without_animals(requirement: Requirement) -> tuple[frozenset[str], Mapping[str, str]]:
    selector = requirement.selector
    about_all = not (selector.any_of or selector.but_not or selector.life_stages or selector.origins or requirement.when)
    return (frozenset() if about_all and not requirement.exemptions else frozenset((ANIMALS,))), {}


def _used(findings: Iterable[Finding]) -> Mapping[str, str]:
    return {name: value for one in findings for name, value in one.used.items()}


def _notice(
    requirement: Requirement,
    obligation: Obligation,
    bearing: tuple[frozenset[str], Mapping[str, str]],
    jurisdiction: Jurisdiction | None,
    *,
    found_at: datetime,
    zone: str,
) -> Notice:
    missing, used = bearing
    working = jurisdiction.working_days if jurisdiction else WorkingDays()
    where = jurisdiction.zone if jurisdiction else zone
    within = obligation.within
    return Notice(
        requirement=requirement,
        obligation=obligation,
        tell_by=None if within is None else instant_after(found_at, within, zone=where, working=working),
        missing=missing,
        used=used,
    )
