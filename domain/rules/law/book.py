"""All requirements of some jurisdictions, found by what is done with which taxon; many animals of one kind are looked up once."""

from __future__ import annotations

from collections.abc import Container, Iterable, Sequence
from datetime import date
from uuid import UUID

from domain.rules.law.decision import Counted, Decision, conclude, find, unknown_jurisdictions, without_exempted
from domain.rules.law.facts import Premises, Subject, TaxonFacts
from domain.rules.law.requirements import Activity, Requirement
from domain.rules.law.selection import delayed_until, selects_taxon
from domain.rules.lives import LifeStage, Origin


class Book:
    """The requirements on record, for questions about one day.

    What concerns a taxon is found once for each activity and set of jurisdictions; and what asks nothing further of the single animal is
    decided once for all of a taxon, stage and origin. So ten thousand animals cost little more than what is asked of each.
    """

    def __init__(self, requirements: Iterable[Requirement], *, known: Container[str], on: date) -> None:
        """Hold the versions that are, or will be, in force from a day on; those that have ended by then are left out.

        ``known`` are the codes of the jurisdictions on record.
        """
        self.on = on
        self._jurisdictions = known
        self._all = [one for one in requirements if one.applies_until is None or one.applies_until >= on]
        self._local: dict[tuple[str, ...], Sequence[Requirement]] = {}
        self._concerning: dict[tuple[tuple[str, ...], Activity, UUID], Sequence[Requirement]] = {}
        self._decided: dict[tuple[tuple[str, ...], Activity, UUID, LifeStage, Origin], Decision] = {}

    def decide(self, subject: Subject, *, activity: Activity, premises: Premises, counted: Counted | None = None) -> Decision:
        """Return what the requirements say of an act on the book's day; see ``decision.decide``, which says the same."""
        alike = (premises.jurisdictions, activity, subject.taxon.id, subject.life_stage, subject.origin)
        if alike in self._decided:
            return self._decided[alike]
        about = self._about(subject.taxon, activity, premises.jurisdictions)
        found = [
            finding
            for one in about
            if (finding := find(one, subject, activity=activity, premises=premises, on=self.on, counted=counted)) is not None
        ]
        decision = conclude(without_exempted(found) if found else found, missing=unknown_jurisdictions(premises, self._jurisdictions))
        if not any(one.asks_of_each for one in about):
            self._decided[alike] = decision
        return decision

    def local(self, jurisdictions: tuple[str, ...]) -> Sequence[Requirement]:
        """Return the requirements of some jurisdictions."""
        if jurisdictions not in self._local:
            self._local[jurisdictions] = [one for one in self._all if one.jurisdiction in jurisdictions]
        return self._local[jurisdictions]

    def _about(self, taxon: TaxonFacts, activity: Activity, jurisdictions: tuple[str, ...]) -> Sequence[Requirement]:
        place = (jurisdictions, activity, taxon.id)
        if place not in self._concerning:
            local = self.local(jurisdictions)
            self._concerning[place] = [one for one in local if self._may_concern(one, taxon, activity)]
        return self._concerning[place]

    def _may_concern(self, requirement: Requirement, taxon: TaxonFacts, activity: Activity) -> bool:
        if requirement.activities and activity not in requirement.activities:
            return False
        on = max(self.on, requirement.applies_from)
        selector = requirement.selector
        return not selects_taxon(selector, taxon, on=on).is_false or delayed_until(selector, taxon, on=on) is not None
