"""Returns, inspections, checks and drills that the requirements in force ask for at a site again and again."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from uuid import UUID

from domain.actions.duties.permits import Granted
from domain.actions.duties.wording import cited
from domain.actions.law import Law
from domain.actions.premises import PremisesHistory
from domain.actions.subjects import Chronicle
from domain.records.sites import Site
from domain.records.unit import Unit
from domain.rules.compliance import LawInForce, standings
from domain.rules.law import due_days
from domain.rules.law.decision import Bearing, Finding
from domain.rules.law.due_days import DueDay
from domain.rules.law.facts import Premises, Subject
from domain.rules.law.requirements import Activity, Obligation, Requirement
from domain.rules.law.requirements import Duty as LegalDuty
from domain.rules.law.soundness import kinds_named
from domain.rules.law.spans import WorkingDays
from domain.rules.permits import is_valid
from domain.rules.reminders import Duty, ReminderKind

KINDS: Mapping[LegalDuty, tuple[ReminderKind, str]] = {
    LegalDuty.REPORT: (ReminderKind.RETURN, "Send in the return"),
    LegalDuty.NOTIFY: (ReminderKind.RETURN, "Notify the authority"),
    LegalDuty.RECORD: (ReminderKind.CHECK, "Bring the records up to date"),
    LegalDuty.INSPECT: (ReminderKind.INSPECTION, "Have the inspection made"),
    LegalDuty.CHECK: (ReminderKind.CHECK, "Make the check"),
    LegalDuty.DRILL: (ReminderKind.DRILL, "Hold the drill"),
}
"""What each duty of the law is among reminders, and what it asks for in a sentence."""
BINDS_NOTHING = frozenset((Bearing.EXEMPTED, Bearing.NOT_YET))
"""Bearings of requirements that ask for nothing, or not yet."""


@dataclass(slots=True)
class _Bound:
    """A requirement that binds at a site: since when an animal is kept that it is about, and what is missing to be sure that it does."""

    requirement: Requirement
    since: date | None = None
    is_sure: bool = False
    missing: set[str] = field(default_factory=set)

    def found(self, finding: Finding, *, kept_from: date | None, guessed: frozenset[str]) -> None:
        """Take in what is found of one more animal; ``guessed`` are facts that were taken for granted."""
        if kept_from is not None:
            self.since = kept_from if self.since is None else min(self.since, kept_from)
        self.is_sure = self.is_sure or not (guessed or finding.missing)
        self.missing |= finding.missing | guessed


def obligations(unit: Unit, law: Law, granted: Granted, *, site: Site, today: date) -> Iterator[Duty]:
    """Yield what recurs, or is due after each period, under the requirements that bind at a site on a day.

    Whether they do is asked of each animal there that is held, and shown where the public comes in; of what is due after each period, also
    of those that were there in this year or the last and are no more. Where it cannot be decided the duty is told and what is missing is
    named. What recurs does so from the first day of each permit that the requirement is about and that is good
    there; where it is about none, from the day since which the requirement applies.
    """
    asking = [one for one in law.requirements if _is_asking(one, law.chain(site.jurisdiction) if site.jurisdiction else (), on=today)]
    if not asking:
        return
    chronicle = Chronicle(unit, from_on=date(today.year - 1, 1, 1), until_on=today)
    premises = PremisesHistory(unit, law).on(today)
    there = {True: chronicle.last_at(site.id), False: chronicle.on(today, site_ids=frozenset((site.id,)))}
    for is_of_period, subjects in there.items():
        wanted = [one for one in asking if any(_is_of_period(each) is is_of_period for each in filter(_recurs, one.obligations))]
        for bound in _binding(law, wanted, subjects, premises, site_id=site.id, on=today) if wanted else ():
            working = law.working_days(bound.requirement.jurisdiction)
            firsts = _first_days(law, granted, bound.requirement, site_id=site.id, on=today)
            for obligation in filter(_recurs, bound.requirement.obligations):
                if _is_of_period(obligation) is is_of_period:
                    for due in _due(obligation, bound, firsts=firsts, today=today, working=working):
                        yield _duty(bound, obligation, due, site_id=site.id)


def _is_of_period(obligation: Obligation) -> bool:
    return obligation.period is not None


def _is_asking(one: Requirement, jurisdictions: tuple[str, ...], *, on: date) -> bool:
    """Return whether a requirement is in force somewhere on a day and asks for something again and again."""
    in_force = one.applies_from <= on and (one.applies_until is None or on <= one.applies_until)
    return in_force and one.jurisdiction in jurisdictions and any(map(_recurs, one.obligations))


def _recurs(obligation: Obligation) -> bool:
    return obligation.duty in KINDS and (obligation.period is not None or obligation.every is not None)


def _binding(
    law: Law,
    asking: Sequence[Requirement],
    subjects: Sequence[Subject],
    premises: Mapping[UUID | None, Premises],
    *,
    site_id: UUID,
    on: date,
) -> Iterable[_Bound]:
    # Others may exempt from those that ask, so all of them are heard.
    in_force = LawInForce(jurisdictions=law.jurisdictions, requirements=law.requirements, kinds=law.kinds)
    codes = {(one.code, one.version): _Bound(one) for one in asking}
    heard: set[tuple[str, str]] = set()
    for activity, guessed in activities_at(premises[site_id]):
        for coverage in standings(in_force, subjects, activity=activity, premises=premises, on=on).coverages:
            for finding in coverage.decision.findings:
                key = (finding.requirement.code, finding.requirement.version)
                if key in codes and finding.bearing not in BINDS_NOTHING:
                    codes[key].found(finding, kept_from=coverage.subject.acquired_from, guessed=guessed)
                    heard.add(key)
    return [bound for key, bound in codes.items() if key in heard]


def activities_at(premises: Premises) -> Iterator[tuple[Activity, frozenset[str]]]:
    """Yield what is done at premises with the animals there, each with the facts that are not on record and without which it may not be."""
    yield Activity.HOLD, frozenset()
    if premises.public_days != 0:
        yield Activity.DISPLAY, frozenset(("public_days",)) if premises.public_days is None else frozenset()


def _first_days(law: Law, granted: Granted, requirement: Requirement, *, site_id: UUID, on: date) -> Sequence[date]:
    """Return the days from which what a requirement asks for recurs at a site."""
    named = {code for _, code in kinds_named(requirement)}
    if not named:
        return (min(one.applies_from for one in law.requirements if one.code == requirement.code),)
    good = (
        one
        for one in granted.permits.values()
        if one.kind in named
        and (kind := law.kinds.get(one.kind)) is not None
        and is_valid(one, kind, on=on, working=law.working_days(kind.jurisdiction))
        if not one.site_ids or site_id in one.site_ids
    )
    return sorted({one.valid_from for one in good})


def _due(obligation: Obligation, bound: _Bound, *, firsts: Sequence[date], today: date, working: WorkingDays) -> Iterator[DueDay]:
    if obligation.period is not None:
        since = max(bound.requirement.applies_from, bound.since or date.min)
        yield from due_days.returns_due(obligation, today=today, since=since, working=working)
        return
    for first_on in firsts:
        yield from due_days.recurring_due(obligation, first_on=first_on, today=today, since=bound.since, working=working)


def _duty(bound: _Bound, obligation: Obligation, due: DueDay, *, site_id: UUID) -> Duty:
    kind, asked = KINDS[obligation.duty]
    requirement = bound.requirement
    of_period = f" for {due.occurrence}" if obligation.period is not None else ""
    doubt = "" if bound.is_sure else f" Whether it applies cannot be decided; find out: {', '.join(sorted(bound.missing))}."
    return Duty(
        subject=Site.noun,
        subject_id=site_id,
        kind=kind,
        occurrence=f"{requirement.code}/{obligation.code}/{due.occurrence}",
        due_on=due.due_on,
        tell_from=due.tell_from,
        sentence=f"{asked}{of_period}: {cited(requirement)}.{doubt}",
        site_id=site_id,
    )
