"""Whether animals may leave and arrive as planned: the law of both ends on the planned days, the papers, the journey, quarantine."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import date, timedelta
from typing import Any
from uuid import UUID

from domain.actions.approvals import end_approvals
from domain.actions.fitness import fitness_of, hazards_without_competence
from domain.actions.holdings import holding_on
from domain.actions.law import law_as_of
from domain.actions.permits import permits_of
from domain.actions.sites import today_there
from domain.actions.transfers.both_laws import BothLaws, as_numbered
from domain.actions.transfers.lines import GOING, PAPERS_OF, USED_PAPERS, lines_of, turn_of
from domain.actions.transfers.taken import codes_taken, tags_taken
from domain.actions.transfers.whereabouts import whereabouts
from domain.records.animals import Animal
from domain.records.enclosures import Enclosure
from domain.records.holdings import Holding, HoldingKind
from domain.records.transfers import Transfer, TransferAnimal, TransferPaper
from domain.records.unit import Unit
from domain.rules import permits as rules
from domain.rules.calendar import add_months, in_words
from domain.rules.compliance import LawInForce, ages_asked, turning_days
from domain.rules.fitness import CameFrom
from domain.rules.law.facts import Subject
from domain.rules.law.requirements import Requirement
from domain.rules.lives import Grouping, LifeStage, Status
from domain.rules.text import same_name
from domain.rules.transfers import (
    Check,
    Days,
    ItemCode,
    Journey,
    OpenItem,
    Paper,
    TransferAct,
    TransferBasis,
    TransferStage,
    good_through,
    journey_items,
    paper_items,
    quarantine_items,
    renewals,
)
from domain.rules.transponders import code_key

LOOKED_AHEAD_DAYS = 365
"""How far ahead an earliest plan is looked for."""
_GIVES_AWAY = frozenset({TransferBasis.SALE, TransferBasis.GIFT, TransferBasis.EXCHANGE, TransferBasis.PLACEMENT, TransferBasis.LOAN})
_DAY = timedelta(days=1)


def check_transfer(unit: Unit, transfer_id: UUID) -> tuple[Transfer, Check]:
    """Look at the plan of a transfer as of now, and return the transfer with what came of it.

    With nothing open it is complete, or stays approved; otherwise it is a draft, and has to be approved anew. How many a group has by then
    is what is approved: where that has changed since, it is approved anew as well.

    Raises:
        Conflict: The animals have left.
    """
    found, complete = turn_of(unit, transfer_id, TransferAct.CHECK)
    has_changed = _count_anew(unit, found)
    check = Planned(unit, found).check()
    facts: dict[str, Any] = {"stage": complete}
    if not check.is_complete or has_changed:
        end_approvals(unit, found.id)
        facts = {"stage": TransferStage.COMPLETE if check.is_complete else TransferStage.DRAFT, "approved_by": None}
    return unit.change(found, facts, action="check_transfer"), check


def _count_anew(unit: Unit, transfer: Transfer) -> bool:
    """Put on each line how many animals its record has by now, and return whether any is another number than before."""
    counted = [(line, unit.fetch(Animal, line.animal_id).count) for line in lines_of(unit, transfer) if line.animal_id is not None]
    changed = [(line, number) for line, number in counted if number and number != line.number]
    for line, number in changed:
        unit.change(line, {"number": number}, action="count_animal")
    return bool(changed)


class Planned:
    """What is on record of a transfer and of all that it depends on, read once, so that it can be asked of any plan of days."""

    def __init__(self, unit: Unit, transfer: Transfer) -> None:
        """Read the transfer's animals and papers, the law, permits and animals of the whole organisation."""
        self.unit, self.transfer = unit, transfer
        self.lines = lines_of(unit, transfer)
        self.today = today_there(unit, transfer.from_site_id or transfer.to_site_id)
        self.law = law_as_of(unit)
        found = whereabouts(unit, transfer, self.lines, today=self.today)
        self._going, self._expected = found.going, found.expected
        known = (unit.fetch(Animal, line.animal_id) for line in self.lines if line.animal_id is not None)
        alone = [one for one in known if one.grouping is Grouping.INDIVIDUAL and one.status is Status.DEPARTED]
        self._departed = [(one, one.ended_on) for one in alone if one.ended_on is not None]
        used = unit.rows(USED_PAPERS, transfer_id=transfer.id)
        self._used = {(kind, same_name(number)): dispatched_at.date() for kind, number, dispatched_at in used}
        permits = permits_of(unit)
        self._used |= {as_numbered(one): one.used_on for one in permits if one.used_on is not None}
        self.papers = [self._paper(one) for one in unit.all(TransferPaper, PAPERS_OF, transfer_id=transfer.id)]
        self.laws = BothLaws(unit, transfer, self.law, found, papers=self.papers, permits=permits, today=self.today)

    def check(self) -> Check:
        """Return what is open for the planned days, and the earliest days for which nothing is that other days settle."""
        return self._check(Days(self.transfer.dispatch_on, self.transfer.arrive_on))

    def leaving_today(self) -> Check:
        """Return what is open if the animals leave today and are as long on their way as was planned."""
        return self._check(self.days_from_today())

    def days_from_today(self) -> Days:
        """Return the days of the plan if it is said today that the animals leave."""
        planned = Days(self.transfer.dispatch_on, self.transfer.arrive_on)
        return planned.left(self.today, from_us=self.transfer.from_site_id is not None)

    def _check(self, days: Days) -> Check:
        items = tuple(self.items(days))
        through = good_through(days, buffer_days=self.transfer.buffer_days)
        return Check(
            days=days,
            through=through,
            items=items,
            earliest=days if not any(one.turns for one in items) else self._earliest(days, items),
            renewals=tuple(renewals(self.papers, days, through=through)),
        )

    def items(self, days: Days) -> Iterator[OpenItem]:
        """Yield everything that is open for a plan of days, the animals first."""
        yield from self._about_animals()
        yield from self._about_quarantine(days)
        yield from self._on_days(days)

    def _on_days(self, days: Days) -> Iterator[OpenItem]:
        """Yield what another plan of days may settle, and what the journey lacks."""
        through = good_through(days, buffer_days=self.transfer.buffer_days)
        yield from journey_items(self._journey(), days, through=through, today=self.today)
        yield from paper_items(self.papers, through=through)
        yield from self.laws.items(days, through=through)
        yield from self._about_loading(days)
        yield from self._about_returning(days)

    def _earliest(self, planned: Days, items: Iterable[OpenItem]) -> Days | None:
        """Return the first plan from today on, as long as the planned one, for which nothing is open that days settle."""
        for day in self._days_to_try(planned, items):
            days = planned.from_day(day)
            if not any(one.turns for one in self._on_days(days)):
                return days
        return None

    def _days_to_try(self, planned: Days, items: Iterable[OpenItem]) -> Sequence[date]:
        """Return today and the days of a year on which something begins that a plan may need; in between none is earlier.

        Of permits only the first days of kinds that are missing can help.
        """
        open_by_law = [(one.finding, frozenset(one.animal_ids)) for one in items if one.finding is not None]
        wanted = {kind for finding, _ in open_by_law for kind in finding.documents}
        law = self.laws.in_force()
        law = replace(law, permits=[one for one in law.permits if one.kind in wanted])
        birthdays = (day for finding, animal_ids in open_by_law for day in self._birthdays(law, finding.requirement, animal_ids))
        back = (left_on + _DAY for _, left_on in self._departed)
        starts = {*turning_days(law), *birthdays, *back, *(one.permit.valid_from for one in self.papers)}
        journey = planned.arrive_on - planned.dispatch_on
        dispatches = {self.today, *starts, *(day - journey for day in starts if day > date.min + journey)}
        last = self.today + timedelta(days=LOOKED_AHEAD_DAYS)
        return sorted(day for day in dispatches if self.today <= day <= last)

    def _birthdays(self, law: LawInForce, rule: Requirement, animal_ids: frozenset[UUID]) -> Iterator[date]:
        """Yield the days from which all of some animals are of an age that a rule, or what exempts from it, asks about."""
        asked = [rule, *(one for one in law.requirements if rule.code in one.exempts)]
        concerned = [one for one in self._going if one.id in animal_ids]
        for births in ([one.born_from for one in concerned], [one.born_until for one in concerned]):
            known = [day for day in births if day is not None]
            yield from (add_months(max(known), months) for months in ages_asked(replace(law, requirements=asked)) if known)

    # ------------------------------------------------------------------------------------------------ the animals

    def _about_animals(self) -> Iterator[OpenItem]:
        if not self.lines:
            yield OpenItem(code=ItemCode.NO_ANIMALS, sentence="No animals are on this transfer.", field="animals")
        for line in self.lines:
            if line.animal_id is not None:
                animal = self.unit.fetch(Animal, line.animal_id)
                yield from self._about_animal(animal)
                if animal.count and animal.count != line.number:
                    sentence = (
                        f"{animal.tag} has {animal.count} animals by now, and had {line.number} when this was checked: check it again."
                    )
                    yield OpenItem(code=ItemCode.NUMBER_CHANGED, sentence=sentence, field="animals", animal_ids=(animal.id,))
        yield from self._about_newcomers([line for line in self.lines if line.animal_id is None])

    def _about_newcomers(self, lines: Sequence[TransferAnimal]) -> Iterator[OpenItem]:
        """Yield what others bear by now of what animals bear that come for the first time."""
        own = {line.id for line in lines}
        tags = tags_taken(self.unit, (line.tag or "" for line in lines), but=own)
        codes = codes_taken(self.unit, (line.transponder for line in lines if line.transponder is not None), but=own)
        for line in lines:
            if same_name(line.tag or "") in tags:
                sentence = f"{line.tag}: the tag is another animal's by now. Take it off, and put it on under another tag."
                yield OpenItem(code=ItemCode.TAG_TAKEN, sentence=sentence, field="animals", animal_ids=(line.id,))
            if line.transponder is not None and code_key(line.transponder) in codes:
                sentence = (
                    f"{line.tag}: its code {line.transponder} is that of an animal on record, or expected with another transfer. "
                    "Put the one on record on, or correct the code."
                )
                yield OpenItem(code=ItemCode.CODE_TAKEN, sentence=sentence, field="animals", animal_ids=(line.id,))

    def _about_animal(self, animal: Animal) -> Iterator[OpenItem]:
        from_us = self.transfer.from_site_id is not None
        here = next(one for one in self._going if one.id == animal.id)
        if from_us and animal.status is not Status.PRESENT:
            sentence = f"{animal.tag} is {animal.status.value}: it cannot leave."
            yield OpenItem(code=ItemCode.NOT_HERE, sentence=sentence, field="animals", animal_ids=(animal.id,))
        elif from_us and here.site_id != self.transfer.from_site_id:
            sentence = f"{animal.tag} is not at the site that it is to leave."
            yield OpenItem(code=ItemCode.NOT_HERE, sentence=sentence, field="animals", animal_ids=(animal.id,))
        if not from_us and animal.status not in (Status.AWAY, Status.DEPARTED):
            sentence = f"{animal.tag} is {animal.status.value}: it cannot come from the other party."
            yield OpenItem(code=ItemCode.NOT_HERE, sentence=sentence, field="animals", animal_ids=(animal.id,))
        other = self.unit.first(Transfer, GOING, animal_id=animal.id)
        if other is not None and other.id != self.transfer.id:
            sentence = f"{animal.tag} is under way with transfer {other.reference}."
            yield OpenItem(code=ItemCode.NOT_HERE, sentence=sentence, field="animals", animal_ids=(animal.id,))
        held = holding_on(self.unit, animal.id, on=self.today)
        if from_us and self.transfer.basis is TransferBasis.RETURN and not self._is_whose(held):
            sentence = f"{animal.tag} is not on record as held for whom it would be returned to. Say another ground, or correct that."
            yield OpenItem(code=ItemCode.NOT_OURS, sentence=sentence, field="animals", animal_ids=(animal.id,))
        if from_us and held is not None:
            if held.kind is HoldingKind.IN_CUSTODY and self.transfer.basis is not TransferBasis.RETURN:
                sentence = f"{animal.tag} is held for an authority until it decides; only it can say where it goes."
                yield OpenItem(code=ItemCode.IN_CUSTODY, sentence=sentence, field="animals", animal_ids=(animal.id,))
            if held.kind is HoldingKind.LOAN_IN and self.transfer.basis in _GIVES_AWAY:
                sentence = f"{animal.tag} is on loan to us; it is not ours to give or to lend."
                yield OpenItem(code=ItemCode.NOT_OURS, sentence=sentence, field="animals", animal_ids=(animal.id,))

    def _is_whose(self, held: Holding | None) -> bool:
        """Return whether an animal is held for the party that it would be returned to."""
        if held is None or held.kind not in (HoldingKind.LOAN_IN, HoldingKind.IN_CUSTODY):
            return False
        return same_name(held.party or "") == same_name(self.transfer.party or "")

    def _about_returning(self, days: Days) -> Iterator[OpenItem]:
        """Yield which single animals would come back on the day on which they left: by their records that day ends with their leaving."""
        for animal, left_on in self._departed:
            if days.arrive_on <= left_on:
                left = f"{animal.tag} left on {in_words(left_on)} and can come back from the next day on."
                sentence = f"{left} If it did not leave, withdraw that it did."
                yield OpenItem(code=ItemCode.NOT_HERE, sentence=sentence, field="arrive_on", animal_ids=(animal.id,), turns=True)

    def _about_loading(self, days: Days) -> Iterator[OpenItem]:
        """Yield for which animals nobody at the sending site is competent, where a rule asks for that."""
        if self.transfer.from_site_id is None:
            return
        on = max(days.dispatch_on, self.today)
        lacking = hazards_without_competence(self.unit, self.transfer.from_site_id, (one.taxon.id for one in self._going), on=on)
        for hazard, names in lacking.items():
            sentence = f"Nobody at the sender holds a competence for class '{hazard.value.replace('_', ' ')}': {', '.join(names)}."
            yield OpenItem(code=ItemCode.NOBODY_COMPETENT, sentence=sentence, field="animals", turns=True)

    def _about_quarantine(self, days: Days) -> Iterator[OpenItem]:
        if self.transfer.quarantine_enclosure_id is None:
            return
        place = self.unit.fetch(Enclosure, self.transfer.quarantine_enclosure_id)
        if place.ended_on is not None:
            sentence = f"{place.name} is no longer in use; say another enclosure for them on arrival."
            yield OpenItem(code=ItemCode.QUARANTINE_UNSUITED, sentence=sentence, field="quarantine_enclosure_id")
            return
        expected = [(one.taxon.id, one.life_stage, one.number) for one in self._expected.get(place.id, ())]
        alike: dict[tuple[UUID, LifeStage], list[tuple[TransferAnimal, Subject]]] = {}
        for line, one in zip(self.lines, self._going, strict=True):
            alike.setdefault((one.taxon.id, one.life_stage), []).append((line, one))
        numbers = {kind: sum(one.number for _, one in going) for kind, going in alike.items()}
        for kind, going in alike.items():
            fitness = fitness_of(
                self.unit,
                self._as_animal(going[0][0]),
                place,
                on=max(days.arrive_on, self.today),
                number=numbers[kind],
                came_from=CameFrom.OUTSIDE,
                beside=[*((*other, number) for other, number in numbers.items() if other != kind), *expected],
            )
            yield from quarantine_items(fitness, [one for _, one in going], accepted=self.transfer.quarantine_reason is not None)

    def _as_animal(self, line: TransferAnimal) -> Animal:
        """Return the record of an animal; of one that comes for the first time what its record will be."""
        if line.animal_id is not None:
            return self.unit.fetch(Animal, line.animal_id)
        assert line.taxon_id is not None and line.tag is not None, "what comes has a taxon and a tag"  # noqa: S101, PT018 - its shape says so
        return Animal.model_construct(id=line.id, taxon_id=line.taxon_id, tag=line.tag, life_stage=line.life_stage)

    # ------------------------------------------------------------------------------------------------- the papers

    def _paper(self, one: TransferPaper) -> Paper:
        kind = None if one.kind is None else self.law.kinds.get(one.kind)
        going = {line.id: line.animal_id or line.id for line in self.lines}
        named = one.transfer_animal_ids or [str(line_id) for line_id in going]
        permit = rules.Permit(
            id=one.id,
            kind=one.kind or "",
            jurisdiction="" if kind is None else kind.jurisdiction,
            number_text=one.number,
            issued_on=one.issued_on,
            valid_from=one.issued_on,
            last_day=one.valid_until,
            inspected_on=one.inspected_on,
            used_on=self._used.get((one.kind or "", same_name(one.number))),
            animal_ids=frozenset(going[line_id] for line_id in map(UUID, map(str, named)) if line_id in going),
        )
        working = None if kind is None else self.law.working_days(kind.jurisdiction)
        title = f"{one.title} {one.number}"
        return Paper(id=one.id, title=title, permit=permit, kind=kind, working=working, requirement_code=one.requirement_code)

    def _journey(self) -> Journey:
        plan = self.transfer
        place = None if plan.quarantine_enclosure_id is None else self.unit.fetch(Enclosure, plan.quarantine_enclosure_id).name
        return Journey(
            leaves_us=plan.from_site_id is not None,
            carrier=plan.carrier,
            carrier_authorisation=plan.carrier_authorisation,
            carrier_until=plan.carrier_until,
            container=plan.container,
            least_c=plan.least_c,
            most_c=plan.most_c,
            needs_quarantine=plan.to_site_id is not None,
            quarantine_place=place,
            quarantine_days=plan.quarantine_days,
            party_licence=plan.party_licence,
            party_licence_until=plan.party_licence_until,
            has_party=plan.party is not None,
            due_back_on=plan.due_back_on,
        )
