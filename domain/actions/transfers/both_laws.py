"""What the law of both ends of a transfer leaves open: leaving at the sender, coming and staying at the receiver."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from uuid import UUID

from domain.actions.law import Law
from domain.actions.overrides import overrides_of
from domain.actions.premises import PremisesHistory
from domain.actions.transfers.whereabouts import Whereabouts
from domain.records.transfers import Transfer
from domain.records.unit import Unit
from domain.rules import permits as rules
from domain.rules.calendar import in_words
from domain.rules.compliance import Counting, Coverage, LawInForce, standings
from domain.rules.law.conditions import Number
from domain.rules.law.facts import Premises
from domain.rules.law.requirements import Activity, Requirement
from domain.rules.text import same_name
from domain.rules.transfers import Days, ItemCode, Objection, OpenItem, Paper, Told, Why, law_items, objections, ways


@dataclass(frozen=True, slots=True)
class _Act:
    """Something that is done with the animals at one end of a transfer on a day."""

    end: str
    activity: Activity
    on: date


class BothLaws:
    """The law, permits and animals of the whole organisation, read once, to be asked of the ends of a transfer on any days."""

    def __init__(
        self,
        unit: Unit,
        transfer: Transfer,
        law: Law,
        found: Whereabouts,
        *,
        papers: Sequence[Paper],
        permits: Sequence[rules.Permit],
        today: date,
    ) -> None:
        """Read premises and what is decided otherwise; ``found`` are the animals, ``papers`` go with them, ``permits`` are all of ours."""
        self._transfer, self._law, self._papers, self._permits, self._today = transfer, law, papers, permits, today
        self._along = {as_numbered(one.permit) for one in papers}
        self._everybody, self._going = found.others, found.going
        self._overrides = overrides_of(unit)
        self._premises = PremisesHistory(unit, law)
        self._ends: Mapping[str, UUID | None] = {"sender": transfer.from_site_id, "receiver": transfer.to_site_id}

    def items(self, days: Days, *, through: date) -> Iterator[OpenItem]:
        """Yield what the law of either end leaves open of a plan of days, each thing once; papers have to be good through a day."""
        ends = self._ends_on(days.dispatch_on)
        unknown = [name for name, one in ends.items() if not one.jurisdictions]
        for name in unknown:
            sentence = f"Under whose law the {name} is is not on record; it cannot be decided what is asked there."
            field = f"{'from' if name == 'sender' else 'to'}_site_id" if self._ends[name] is not None else "party_jurisdiction"
            yield OpenItem(code=ItemCode.PLACE_UNKNOWN, sentence=sentence, field=field)
        if unknown:
            return
        acts = self._acts(ends, days)
        acts += [_Act("receiver", Activity.HOLD, through)] if through > days.arrive_on else []
        yield from law_items(one for act in acts for one in self._objections(act, through=through))

    def consignments(self, days: Days) -> frozenset[UUID]:
        """Return the permits for one consignment by which the animals leave or arrive on some days; keeping them there uses none."""
        acts = [act for act in self._acts(self._ends_on(days.dispatch_on), days) if act.activity is not Activity.HOLD]
        answers = (answer for act in acts for one in self._coverages(act, through=days.arrive_on) for answer in one.answers)
        covering = {share.permit_id for answer in answers for share in answer.shares}
        single = {code for code, kind in self._law.kinds.items() if kind.for_one_consignment}
        used = (one for one in self._permits if one.kind in single and (one.id in covering or as_numbered(one) in self._along))
        return frozenset(one.id for one in used)

    def _ends_on(self, day: date) -> Mapping[str, Premises]:
        return {name: self._premises_of(site_id, on=day) for name, site_id in self._ends.items()}

    def _acts(self, ends: Mapping[str, Premises], days: Days) -> list[_Act]:
        """Return what is done with the animals at both ends from the day that they leave to the day that they arrive."""
        there = ways(self._transfer.basis, ends["sender"].jurisdictions, ends["receiver"].jurisdictions, self._law.jurisdictions)
        leaving = [_Act("sender", activity, days.dispatch_on) for activity in there.leaving]
        return leaving + [_Act("receiver", activity, days.arrive_on) for activity in there.arriving]

    def _objections(self, act: _Act, *, through: date) -> Iterable[Objection]:
        """Return what the law of one end leaves open of an act."""
        of_ours = self._ends[act.end] is not None
        where = f"at the {act.end} ({act.activity.value.replace('_', ' ')})"
        why = self._why(act.activity, self._premises_of(self._ends[act.end], on=act.on), of_ours=of_ours, through=through)
        titles = {kind.code: kind.title for kind in self._law.kinds.values()}
        return objections(self._coverages(act, through=through), told=self._told(), why=why, where=where, titles=titles)

    def _coverages(self, act: _Act, *, through: date) -> Sequence[Coverage]:
        """Return how an act stands for each animal that goes, by documents that are good through a day."""
        site_id, activity, on = self._ends[act.end], act.activity, act.on
        premises = {**self._premises.on(min(on, self._today)), None: self._premises_of(site_id, on=on)}
        going = [replace(one, site_id=site_id) for one in self._going]
        keeps = activity is Activity.HOLD and site_id is not None
        law = self.in_force(of_ours=site_id is not None, through=None if keeps else through, keeps=activity is Activity.HOLD)
        subjects = [*self._everybody, *going] if keeps else going
        everybody = [*self._everybody, *going]
        counted = Counting(everybody, on=on).number if site_id is not None else _not_known
        found = standings(law, subjects, activity=activity, premises=premises, on=on, counted=counted)
        own = {one.id for one in going}
        return [one for one in found.coverages if one.subject.id in own]

    def _told(self) -> Told:
        """Return by requirement for which animals its notification is among the papers."""
        found: dict[str, frozenset[UUID]] = {}
        for one in self._papers:
            if one.requirement_code is not None:
                found[one.requirement_code] = found.get(one.requirement_code, frozenset()) | one.permit.animal_ids
        return found

    def _why(self, activity: Activity, premises: Premises, *, of_ours: bool, through: date) -> Why:
        law, along = self.in_force(of_ours=of_ours, keeps=activity is Activity.HOLD), self._along

        def why(one: Coverage, kinds: Sequence[str]) -> tuple[ItemCode, str]:
            of_kind = (each for each in law.permits if each.kind in kinds)
            there = [each for each in of_kind if rules.covers(each, one.subject, activity=activity, premises=premises)]
            for each in there:
                last = law.last_day(each)
                if each.valid_from <= through and (last is None or last >= through):
                    return ItemCode.NUMBER_EXCEEDED, f"the number of {each.number_text} is taken up."
            for each in there:
                last = law.last_day(each)
                if last is not None and last >= self._today:
                    return ItemCode.PAPER_LAPSES, f"{each.number_text} is good until {in_words(last)}, {in_words(through)} is needed."
            for each in there:
                last = law.last_day(each)
                if last is not None and as_numbered(each) in along:
                    ended = f"{each.number_text} is on record here until {in_words(last)}"
                    return ItemCode.PAPER_LAPSES, f"{ended}; where it was renewed, put that on record among the permits."
            return ItemCode.DOCUMENT_MISSING, "none is on record that takes it."

        return why

    def in_force(self, *, of_ours: bool = True, through: date | None = None, keeps: bool = False) -> LawInForce:
        """Return the law with the papers among the permits; with ``through`` only those that are good through that day.

        A paper that is a permit of ours is that permit, with its numbers and days; its places bind keeping (``keeps``), and not a journey
        that it goes along with. What was for a consignment that has left is for no other, not even on the day of that.
        """
        ours = {as_numbered(one) for one in self._permits}
        permits = [
            *(self._carried(one, keeps=keeps) for one in self._permits if of_ours or as_numbered(one) in self._along),
            *(one.permit for one in self._papers if one.kind is not None and as_numbered(one.permit) not in ours),
        ]
        law = LawInForce(
            jurisdictions=self._law.jurisdictions,
            requirements=self._law.requirements,
            kinds=self._law.kinds,
            permits=[one for one in permits if one.kind in self._law.kinds and not self._is_used(one)],
            overrides=self._overrides,
            working={one: self._law.working_days(one) for one in {kind.jurisdiction for kind in self._law.kinds.values()}},
        )
        if through is None:
            return law
        return replace(law, permits=[one for one in law.permits if (last := law.last_day(one)) is None or last >= through])

    def _carried(self, permit: rules.Permit, *, keeps: bool) -> rules.Permit:
        return permit if keeps or as_numbered(permit) not in self._along else replace(permit, site_ids=frozenset())

    def _is_used(self, permit: rules.Permit) -> bool:
        return permit.used_on is not None and self._law.kinds[permit.kind].for_one_consignment

    def licences(self, site_id: UUID) -> list[tuple[rules.Permit, date | None]]:
        """Return the permits by which a site of ours keeps animals like those that go, with the last day of each, the latest first.

        Those for single animals, and those that are over, are left out.
        """
        law, premises = self.in_force(), self._premises_of(site_id, on=self._today)
        wide = [one for one in self._permits if not one.animal_ids and one.kind in law.kinds]
        kept = [one for one in wide if any(rules.covers(one, each, activity=Activity.HOLD, premises=premises) for each in self._going)]
        dated = [(one, law.last_day(one)) for one in kept]
        current = [(one, last) for one, last in dated if last is None or last >= self._today]
        return sorted(current, key=lambda each: (each[1] or date.max, each[0].id), reverse=True)

    def _premises_of(self, site_id: UUID | None, *, on: date) -> Premises:
        if site_id is not None:
            return self._premises.on(min(on, self._today)).get(site_id, Premises())
        place = self._transfer.party_jurisdiction
        return Premises(jurisdictions=() if place is None else self._law.chain(place))


def as_numbered(permit: rules.Permit) -> tuple[str, str]:
    """Return by what a document is one and the same wherever it is on record: its kind and its number, however that is typed."""
    return permit.kind, same_name(permit.number_text)


def _not_known(requirement: Requirement, premises: Premises) -> Number | None:  # noqa: ARG001 - how many another party keeps
    return None
