"""Animals leave: the plan is looked at once more as of today, the marks are read back, and from then on they are under way."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from uuid import UUID

from domain.actions.lives import MARKS_OF, add_event, relived
from domain.actions.sites import today_there
from domain.actions.transfers.approve import refuse_open
from domain.actions.transfers.check import Planned
from domain.actions.transfers.lines import misnamed, turn_of
from domain.errors import Fault, RuleBroken
from domain.records import journal
from domain.records.animals import Animal, AnimalEventStated
from domain.records.marks import CODED, Mark
from domain.records.permits import Permit
from domain.records.sites import Site
from domain.records.transfers import Dispatch, Transfer, TransferAnimal
from domain.records.unit import Unit
from domain.rules.lives import EventKind
from domain.rules.transfers import TransferAct
from domain.rules.transponders import is_same_code


def dispatch_transfer(unit: Unit, transfer_id: UUID, said: Dispatch) -> Transfer:
    """Have the animals of an approved transfer leave now, and return it.

    Nobody of the organisation writes anything else meanwhile, so that two transfers do not both take the last place of a permit.

    Raises:
        RuleBroken: Something is open as of today, how warm it is in the box is not said or not within the limits, or a mark was not read
            back, is read twice or is another; every item is a fault.
        Conflict: It has not been approved, or the animals have left.
    """
    unit.row(journal.LOCK_HEAD)
    found, stage = turn_of(unit, transfer_id, TransferAct.DISPATCH)
    planned = Planned(unit, found)
    refuse_open(planned.leaving_today())
    _refuse_unmeasured(found, said.temperature_c)
    _refuse_temperature(found, said.temperature_c)
    _use_up(unit, planned)
    with unit.reaching((found.from_site_id, found.to_site_id)):
        if found.from_site_id is not None:
            _load(unit, found, planned.lines, said)
        receiver = found.to_site_id or found.from_site_id
        facts = {"stage": stage, "site_id": receiver, "dispatched_at": unit.origin.at, "dispatch_c": said.temperature_c}
        return unit.change(found, facts, action="dispatch_transfer")


def is_outside(transfer: Transfer, temperature_c: float | None) -> bool:
    """Return whether it is too cold or too warm in the box for what was planned [°C]; what was not measured is not outside."""
    if temperature_c is None:
        return False
    least, most = transfer.least_c, transfer.most_c
    return (least is not None and temperature_c < least) or (most is not None and temperature_c > most)


def _refuse_unmeasured(transfer: Transfer, temperature_c: float | None) -> None:
    """Refuse that animals leave a site of ours in a box in which nobody measured; in others' boxes others do."""
    if temperature_c is None and transfer.from_site_id is not None:
        raise RuleBroken("Measure how warm it is in the box, and say it.", code="required", field="temperature_c")


def _refuse_temperature(transfer: Transfer, temperature_c: float | None) -> None:
    if is_outside(transfer, temperature_c):
        limits = f"{transfer.least_c:g} to {transfer.most_c:g}"
        sentence = (
            f"It is {temperature_c:g} °C in the box, and the limits of this journey are {limits} °C. Nobody leaves until it is within them."
        )
        raise RuleBroken(sentence, code="temperature-outside", field="temperature_c")


def coded_marks(unit: Unit, animal_id: UUID) -> list[Mark]:
    """Return the marks of an animal that bear a code and that it bears still."""
    marks = unit.all(Mark, MARKS_OF, animal_id=animal_id)
    return [one for one in marks if one.kind in CODED and one.until_on is None and one.code is not None]


def is_one_of(marks: Iterable[Mark], read: str) -> bool:
    """Return whether a code that was read is that of one of some marks, however it is spaced."""
    return any(is_same_code(read, one.code) for one in marks if one.code is not None)


def _use_up(unit: Unit, planned: Planned) -> None:
    """Put on record that the permits for one consignment by which the animals leave, or arrive, are used with that."""
    permits = [unit.fetch(Permit, permit_id) for permit_id in sorted(planned.laws.consignments(planned.days_from_today()))]
    with unit.reaching(None):
        for one in permits:
            if one.used_on is None:
                unit.change(one, {"used_on": planned.today}, action="use_permit")


def _load(unit: Unit, transfer: Transfer, lines: Sequence[TransferAnimal], said: Dispatch) -> None:
    read: Mapping[UUID, str | None] = {one.transfer_animal_id: one.mark for one in said.readings}
    faults = [
        *misnamed(said.readings, lines, member="readings"),
        *(fault for line in lines if (fault := _misread(unit, line, read.get(line.id))) is not None),
    ]
    if faults:
        raise RuleBroken("The animals are not loaded: read back the mark of each.", code="not-read-back", faults=tuple(faults))
    to = unit.fetch(Site, transfer.to_site_id).name if transfer.to_site_id is not None else transfer.party
    for line in lines:
        assert line.animal_id is not None, "what leaves us is on record"  # noqa: S101 - refused when it was put on
        unit.change(line, {"mark_loaded": read.get(line.id)}, action="load_animal")
        _send(unit, transfer, unit.fetch(Animal, line.animal_id), to=to)


def _send(unit: Unit, transfer: Transfer, animal: Animal, *, to: str | None) -> None:
    on = today_there(unit, transfer.from_site_id)
    left = AnimalEventStated(
        kind=EventKind.SENT_AWAY, happened_on=on, number=animal.count, party=to, reference=transfer.reference, note="Dispatched."
    )
    relived(unit, animal, latest=add_event(unit, animal, left))


def _misread(unit: Unit, line: TransferAnimal, read: str | None) -> Fault | None:
    assert line.animal_id is not None, "what leaves us is on record"  # noqa: S101 - refused when it was put on
    marks = coded_marks(unit, line.animal_id)
    if not marks:
        return None
    tag = unit.fetch(Animal, line.animal_id).tag
    if read is None:
        return Fault("/readings", "not-read", f"{tag}: read back its mark ({marks[0].code}).")
    if not is_one_of(marks, read):
        return Fault("/readings", "mark-differs", f"{tag}: {read} was read, its mark is {marks[0].code}. Is it the right animal?")
    return None
