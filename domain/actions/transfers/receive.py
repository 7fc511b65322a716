"""Animals arrive: marks are read back, each is accounted for, put in its place and kept apart, all or nothing; or they are refused."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date, timedelta
from uuid import UUID

from domain.actions.fitness import decided
from domain.actions.holdings import holding_on, record_holding
from domain.actions.lives import PLACEMENTS_OF, add_event, relived
from domain.actions.placements import MoveStated, put
from domain.actions.sites import today_there
from domain.actions.transfers.dispatch import coded_marks, is_one_of, is_outside
from domain.actions.transfers.first_time import Coming, first_come
from domain.actions.transfers.lines import days_of, heading_for, lines_of, misnamed, turn_of
from domain.actions.transfers.numbers import Numbers, numbers_of, without_missing
from domain.actions.transfers.quarantine import restart_quarantine
from domain.actions.transfers.taken import codes_taken
from domain.errors import Fault, Refusal, RuleBroken
from domain.records.animals import Animal, AnimalEventStated, Basis, Placement
from domain.records.enclosures import Enclosure
from domain.records.holdings import HoldingKind, HoldingStated
from domain.records.sites import Site
from domain.records.transfers import Arrival, Receipt, Transfer, TransferAnimal, TransferRefusal
from domain.records.unit import Unit
from domain.rules.calendar import in_words
from domain.rules.fitness import Bearing, CameFrom
from domain.rules.lives import EventKind, Grouping, Status
from domain.rules.transfers import GUARDS, TransferAct, TransferBasis, TransferStage
from domain.rules.transponders import is_same_code

BASES: Mapping[TransferBasis, Basis] = {
    TransferBasis.SALE: Basis.SALE,
    TransferBasis.GIFT: Basis.GIFT,
    TransferBasis.EXCHANGE: Basis.EXCHANGE,
    TransferBasis.LOAN: Basis.LOAN,
    TransferBasis.PLACEMENT: Basis.REHOMING,
    TransferBasis.RETURN: Basis.LOAN_RETURN,
}
"""On what ground animals come or go, as their lives say it."""


def receive_transfer(unit: Unit, transfer_id: UUID, said: Receipt) -> Transfer:
    """Have the animals of a transfer arrive now, at the receiver or back at the sender, and return the transfer.

    Who comes to a site of ours is put into an enclosure there and kept apart from that day on; who comes for the first time is registered.
    Who goes to another party has left with that, or is lent to it. What is dead has died that day; what is missing of a group is a record
    of its own, and away. Where the local day is before that of leaving, they arrive on the day of leaving.
    Whom they join in a quarantine enclosure is kept apart as long as they are.

    Raises:
        RuleBroken: An animal is not accounted for, what was read of it or how many arrived differs from its papers and that is not said, or
            it does not fit where it is put and no reason is given; or it is not said for how long who is back is kept apart. Every fault
            names its animal.
        Conflict: The animals are not under way.
    """
    found, stage = turn_of(unit, transfer_id, TransferAct.RECEIVE)
    lines = lines_of(unit, found)
    arrivals = _accounted_for(said, lines)
    _refuse_unexplained_temperature(found, said)
    on, apart = _day_of_arrival(unit, found), _days_apart(found, stage, said)
    with unit.reaching(None), unit.telling_of(on):
        until_on = None if apart is None else on + timedelta(days=apart)
        receiving = _Receiving(unit, found, stage, on=on, until_on=until_on)
        for line in lines:
            arrival = arrivals[line.id]
            receiving.take(line, arrival, pointer=f"/arrivals/{said.arrivals.index(arrival)}")
        receiving.refuse_faults()
        if until_on is not None:
            restart_quarantine(unit, found, until_on=until_on)
        facts = {"stage": stage, "arrived_at": unit.origin.at, "arrival_c": said.temperature_c}
        return unit.change(found, facts, action="receive_transfer")


def refuse_transfer(unit: Unit, transfer_id: UUID, said: TransferRefusal) -> Transfer:
    """Put on record that the receiver does not take the animals, and return the transfer: they are on their way back.

    Raises:
        Conflict: The animals are not under way.
    """
    found, stage = turn_of(unit, transfer_id, TransferAct.REFUSE)
    site_id = found.from_site_id or found.to_site_id
    facts = {"stage": stage, "site_id": site_id, "refused_because": said.reason, "refused_at": unit.origin.at}
    with unit.reaching((site_id,)):
        return unit.change(found, facts, action="refuse_transfer", reason=said.reason[:120])


def _day_of_arrival(unit: Unit, transfer: Transfer) -> date:
    today = today_there(unit, heading_for(transfer) or transfer.from_site_id or transfer.to_site_id)
    return today if transfer.dispatched_at is None else max(today, days_of(unit, transfer).dispatch_on)


def _days_apart(transfer: Transfer, stage: TransferStage, said: Receipt) -> int | None:
    """Return for how many days who comes to a site of ours is kept apart there, ``None`` where nobody does.

    Raises:
        RuleBroken: It is said of who is not back home; or nobody says it of who is.
    """
    is_back = stage is TransferStage.RETURNED and transfer.from_site_id is not None
    if said.quarantine_days is not None and not is_back:
        sentence = "This is said of animals that come back to a site of ours; for the receiver's end the plan says it."
        raise RuleBroken(sentence, code="not-together", field="quarantine_days")
    if heading_for(transfer) is None:
        return None
    days = said.quarantine_days or transfer.quarantine_days
    if days is None and is_back and any(one.arrived for one in said.arrivals):
        raise RuleBroken(
            "Say for how many days they are kept apart at home; a veterinarian decides.", code="required", field="quarantine_days"
        )
    return days


def _refuse_unexplained_temperature(transfer: Transfer, said: Receipt) -> None:
    """Refuse a receipt of a box that was too cold or too warm, unless what differs is said of an animal at least."""
    if is_outside(transfer, said.temperature_c) and all(one.discrepancy is None for one in said.arrivals):
        limits = f"{transfer.least_c:g} to {transfer.most_c:g}"
        sentence = (
            f"It was {said.temperature_c:g} °C in the box, and the limits of this journey are {limits} °C. "
            "Say so as the discrepancy of the animals, and have them looked at by a veterinarian."
        )
        raise RuleBroken(sentence, code="temperature-outside", field="temperature_c")


def _accounted_for(said: Receipt, lines: Sequence[TransferAnimal]) -> Mapping[UUID, Arrival]:
    """Return the arrivals by animal of the transfer.

    Raises:
        RuleBroken: One is not on the transfer, is said twice, or is missing.
    """
    found = {one.transfer_animal_id: one for one in said.arrivals}
    faults = [*misnamed(said.arrivals, lines, member="arrivals")]
    missing = sum(one.id not in found for one in lines)
    if missing:
        sentence = f"{missing} of the transfer's animals are not accounted for; of one that did not arrive say so, with arrived false."
        faults.append(Fault("/arrivals", "not-accounted-for", sentence))
    if faults:
        raise RuleBroken("Account for every animal of the transfer.", code="not-accounted-for", faults=tuple(faults))
    return found


class _Receiving:
    """One arrival, animal by animal; what is wrong is collected, so that all of it is said at once."""

    def __init__(self, unit: Unit, transfer: Transfer, stage: TransferStage, *, on: date, until_on: date | None) -> None:
        self._unit, self._transfer, self._stage, self._on, self._until_on = unit, transfer, stage, on, until_on
        self._site_id = heading_for(transfer)
        self._faults: list[Fault] = []

    def refuse_faults(self) -> None:
        """Refuse the arrival where anything was wrong.

        Raises:
            RuleBroken: Something was; every fault names its animal.
        """
        if self._faults:
            raise RuleBroken("The animals are not received.", code="not-received", faults=tuple(self._faults))

    def take(self, line: TransferAnimal, arrival: Arrival, *, pointer: str) -> None:
        """Take one animal in, or put on record that it did not arrive."""
        numbers = numbers_of(self._unit, line, arrival)
        faults = [Fault(f"{pointer}/{name}", code, sentence) for name, code, sentence in self._wrong(line, arrival, numbers)]
        self._faults += faults
        if faults:
            return
        try:
            with self._unit.attempt():
                self._take(line, arrival, numbers)
        except Refusal as refused:
            found = refused.faults or (Fault("", refused.code, refused.detail),)
            said = {f"/{name}" for name in Arrival.model_fields}
            self._faults += [Fault(f"{pointer}{one.pointer if one.pointer in said else ''}", one.code, one.detail) for one in found]

    def _wrong(self, line: TransferAnimal, arrival: Arrival, numbers: Numbers) -> Iterator[tuple[str, str, str]]:
        """Yield what cannot be said of an arrival, and what has to be and is not: the member, a code and a sentence."""
        if arrival.arrived and line.animal_id is not None and self._unit.fetch(Animal, line.animal_id).status is Status.DEAD:
            yield (
                "arrived",
                "dead",
                "It is on record as dead. Say that it did not arrive; or withdraw that it died, and say here that it is dead.",
            )
        if arrival.arrived and (left_on := self._left_on(line)) is not None and left_on >= self._on:
            sentence = f"By its record it left on {in_words(left_on)}: receive it from the next day on, or withdraw that it left."
            yield "arrived", "left-today", sentence
        if arrival.tag is not None and (line.animal_id is not None or self._site_id is None):
            yield "tag", "not-together", "Only who comes to us for the first time is received under a tag."
        if numbers.arrived > numbers.most:
            many = f"The papers say {numbers.most}, and no more are received with them: say so as another transfer of the others."
            yield "number", "too-many", many
        elif numbers.dead > numbers.arrived:
            yield "dead", "too-many", f"Only {numbers.arrived} arrived."
        if arrival.arrived and self._has_escaped(line):
            yield "arrived", "missing", "It is on record that it escaped on the way: put on record that it was found, or say arrived false."
        if arrival.arrived and arrival.condition is None:
            yield "condition", "required", "Say in which condition it arrived."
        is_explained = arrival.discrepancy is not None or (numbers.agree and self._mark_agrees(line, arrival))
        if numbers.arrived <= numbers.most and not is_explained:
            sentence = (
                "Not as many arrived as expected, or not alive, or the mark that was read is not theirs, or another's: say what differs."
            )
            yield "discrepancy", "required", sentence

    def _left_on(self, line: TransferAnimal) -> date | None:
        """Return when a single animal departed, ``None`` of one that has not, and of groups."""
        animal = None if line.animal_id is None else self._unit.fetch(Animal, line.animal_id)
        alone = animal is not None and animal.grouping is Grouping.INDIVIDUAL and animal.status is Status.DEPARTED
        return animal.ended_on if animal is not None and alone else None

    def _has_escaped(self, line: TransferAnimal) -> bool:
        return line.animal_id is not None and self._unit.fetch(Animal, line.animal_id).status is Status.MISSING

    def _mark_agrees(self, line: TransferAnimal, arrival: Arrival) -> bool:
        if self._site_id is None:
            return True
        if line.animal_id is None:
            if line.transponder is None:
                return arrival.mark is None or not codes_taken(self._unit, [arrival.mark])
            return arrival.mark is not None and is_same_code(arrival.mark, line.transponder)
        marks = coded_marks(self._unit, line.animal_id)
        return not marks or (arrival.mark is not None and is_one_of(marks, arrival.mark))

    def _take(self, line: TransferAnimal, arrival: Arrival, numbers: Numbers) -> None:
        animal = None if line.animal_id is None else self._unit.fetch(Animal, line.animal_id)
        if arrival.arrived and animal is not None and animal.count:
            animal = without_missing(self._unit, self._transfer, animal, numbers.missing, on=self._on)
        if arrival.arrived and self._site_id is not None:
            animal = self._comes(line, animal, arrival, numbers)
        elif arrival.arrived and animal is not None and animal.count:
            self._is_with_others(animal, arrival, numbers)
        facts = {
            "animal_id": None if animal is None else animal.id,
            "arrived": arrival.arrived,
            "arrived_number": numbers.arrived,
            "arrived_dead": numbers.dead,
            "mark_arrived": arrival.mark,
            "condition": arrival.condition,
            "discrepancy": arrival.discrepancy,
            "quarantine_until": self._until_on if numbers.alive else None,
        }
        self._unit.change(line, facts, action="receive_animal")

    def _dies(self, animal: Animal, arrival: Arrival, numbers: Numbers) -> Animal:
        """Put on record that those that were dead on arrival have died that day, and return the animal as it stands since."""
        if not numbers.dead:
            return animal
        died = AnimalEventStated(
            kind=EventKind.DIED,
            happened_on=self._on,
            number=numbers.dead,
            reference=self._transfer.reference,
            note=f"Dead on arrival: {arrival.discrepancy}",
        )
        return relived(self._unit, animal, latest=add_event(self._unit, animal, died))

    # --------------------------------------------------------------------------------------- coming to a site of ours

    def _comes(self, line: TransferAnimal, known: Animal | None, arrival: Arrival, numbers: Numbers) -> Animal:
        animal = self._first_come(line, arrival, numbers) if known is None else self._comes_back(known, arrival, numbers)
        self._refuse_unguarded(animal, arrival, numbers)
        return self._dies(animal, arrival, numbers)

    def _comes_back(self, animal: Animal, arrival: Arrival, numbers: Numbers) -> Animal:
        unit, departed = self._unit, animal.status is Status.DEPARTED
        came = AnimalEventStated(
            kind=EventKind.RETURNED if departed else EventKind.CAME_BACK,
            happened_on=self._on,
            number=numbers.arrived,
            basis=self._came_by() if departed else None,
            party=self._sender(),
            reference=self._transfer.reference,
            note="Received." if self._stage is TransferStage.RECEIVED else "Back after the receiver refused.",
        )
        animal = relived(unit, animal, latest=add_event(unit, animal, came))
        place, before = self._place(arrival, animal), self._stands_in(animal)
        reason = self._reason(arrival, numbers, place)
        if before is None or place.id != before.enclosure_id:
            here = None if before is None else before.enclosure_id
            move = MoveStated(enclosure_id=place.id, from_on=self._on, from_enclosure_id=here, override_reason=reason, note="On arrival.")
            put(unit, animal, move)
        else:
            self._stays(animal, place, before, number=numbers.arrived, reason=reason)
        if self._stage is TransferStage.RECEIVED and self._transfer.from_site_id is None:
            self._is_held_anew(animal)
        return unit.fetch(Animal, animal.id)

    def _refuse_unguarded(self, animal: Animal, arrival: Arrival, numbers: Numbers) -> None:
        """Refuse that the plan's reason for an enclosure is taken for what guards people: that was safe when they left, or is said here.

        Raises:
            RuleBroken: It closes too weakly, or nobody is competent, and nobody has said here why they are put there all the same.
        """
        before = self._stands_in(animal)
        if before is None or arrival.override_reason is not None or not numbers.alive:
            return
        against = [one for one in before.fitness["reasons"] if one["bearing"] == Bearing.AGAINST and one["code"] in GUARDS]
        if against:
            why = " ".join(one["sentence"] for one in against)
            sentence = f"{why} The plan's reason does not answer for that: say another enclosure, or why in override_reason."
            raise RuleBroken(sentence, code="unguarded", field="enclosure_id")

    def _came_by(self) -> Basis | None:
        """Return on what ground it came: what the other party sells was bought."""
        return Basis.PURCHASE if self._transfer.basis is TransferBasis.SALE else BASES.get(self._transfer.basis)

    def _begins_loan(self, animal: Animal, kind: HoldingKind) -> None:
        """Have an animal be held on loan from now on; where it arrived after the loan was to end, it is due back at once."""
        plan, on = self._transfer, self._on
        terms = f"Offspring: {plan.offspring_split}" if plan.offspring_split else ""
        due = plan.due_back_on
        if due is not None and due < on:
            terms = f"{terms}\nAgreed until {in_words(due)}, before it arrived."
            due = on
        self._holds(animal, HoldingStated(kind=kind, from_on=on, party=plan.party, due_back_on=due, terms=terms))

    def _holds(self, animal: Animal, stated: HoldingStated) -> None:
        """Have an animal be held on another footing from now on, whatever it was held on since this morning."""
        held = holding_on(self._unit, animal.id, on=self._on)
        if held is not None and held.from_on == self._on:
            self._unit.change(held, {"ended_on": self._on, "end_reason": "held otherwise on the same day"}, action="end_holding")
        record_holding(self._unit, animal.id, stated)

    def _stands_in(self, animal: Animal) -> Placement | None:
        """Return where an animal that left and came back on one day is all along, ``None`` where it is in no enclosure."""
        places = self._unit.all(Placement, PLACEMENTS_OF, animal_id=animal.id)
        return places[-1] if places and places[-1].until_on is None else None

    def _stays(self, animal: Animal, place: Enclosure, before: Placement, *, number: int, reason: str | None) -> None:
        """Have an animal be again where it is all along by its record, if that suits one that comes from outside."""
        fitness = decided(self._unit, animal, place, on=self._on, number=number, override_reason=reason, came_from=CameFrom.OUTSIDE)
        facts = {"fitness": fitness, "override_reason": reason or before.override_reason}
        self._unit.change(before, facts, action="change_placement")

    def _first_come(self, line: TransferAnimal, arrival: Arrival, numbers: Numbers) -> Animal:
        place = self._place(arrival, None)
        coming = Coming(
            on=self._on,
            number=numbers.arrived,
            basis=self._came_by(),
            enclosure_id=place.id,
            override_reason=self._reason(arrival, numbers, place),
        )
        animal = first_come(self._unit, self._transfer, line, arrival, coming)
        if self._transfer.basis is TransferBasis.LOAN:
            self._begins_loan(animal, HoldingKind.LOAN_IN)
        return animal

    def _place(self, arrival: Arrival, animal: Animal | None) -> Enclosure:
        """Return the enclosure that an animal is put into: the one said, else the one planned, else, back at home, the one it left.

        Raises:
            RuleBroken: There is none, or it is at another site.
        """
        planned = self._transfer.quarantine_enclosure_id if self._stage is TransferStage.RECEIVED else None
        left = animal.enclosure_id if animal is not None and self._stage is TransferStage.RETURNED else None
        enclosure_id = arrival.enclosure_id or planned or left
        found = None if enclosure_id is None else self._unit.find(Enclosure, enclosure_id)
        if found is None:
            sentence = "Say into which enclosure it is put." if enclosure_id is None else "There is no such enclosure."
            raise RuleBroken(sentence, code="required" if enclosure_id is None else "reference-unknown", field="enclosure_id")
        if found.site_id != self._site_id:
            raise RuleBroken("That enclosure is at another site.", code="other-site", field="enclosure_id")
        return found

    def _reason(self, arrival: Arrival, numbers: Numbers, place: Enclosure) -> str | None:
        """Return why animals are put where it does not suit them; what the plan says of that holds for the enclosure that it names."""
        plan = self._transfer
        as_planned = self._stage is TransferStage.RECEIVED and place.id == plan.quarantine_enclosure_id
        return arrival.override_reason or (plan.quarantine_reason if as_planned else None) or (None if numbers.alive else "dead on arrival")

    def _is_held_anew(self, animal: Animal) -> None:
        """Have an animal that comes back to us be held on the ground on which it comes: lent to us, given back, or ours by now."""
        held = holding_on(self._unit, animal.id, on=self._on)
        if self._transfer.basis is TransferBasis.LOAN:
            self._begins_loan(animal, HoldingKind.LOAN_IN)
        elif held is not None and held.kind is HoldingKind.LOAN_OUT:
            self._holds(animal, HoldingStated(kind=HoldingKind.OWNED, from_on=self._on, note="Back from a loan."))
        elif held is not None and held.kind is not HoldingKind.OWNED and self._transfer.basis is not TransferBasis.RETURN:
            note = f"Came by {self._transfer.basis.value}."
            self._holds(animal, HoldingStated(kind=HoldingKind.OWNED, from_on=self._on, note=note))

    def _sender(self) -> str | None:
        plan = self._transfer
        return self._unit.fetch(Site, plan.from_site_id).name if plan.from_site_id is not None else plan.party

    # --------------------------------------------------------------------------------------------- going to others

    def _is_with_others(self, animal: Animal, arrival: Arrival, numbers: Numbers) -> None:
        """Put on record that an animal is with the other party: lent to it, or gone; or with it again, where we did not take it."""
        unit, plan = self._unit, self._transfer
        goes = self._stage is TransferStage.RECEIVED
        if goes and plan.basis is TransferBasis.LOAN:
            self._begins_loan(animal, HoldingKind.LOAN_OUT)
        animal = self._dies(animal, arrival, numbers)
        if not goes or plan.basis is TransferBasis.LOAN or not numbers.alive:
            return
        left = AnimalEventStated(
            kind=EventKind.DEPARTED,
            happened_on=self._on,
            number=numbers.alive,
            basis=BASES[plan.basis],
            party=plan.party,
            reference=plan.reference,
        )
        relived(unit, animal, latest=add_event(unit, animal, left))
