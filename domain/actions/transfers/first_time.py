"""Who comes for the first time is registered when it arrives, with its marks and its mass as far as its papers say them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from uuid import UUID

from domain.actions.animals import register_animal
from domain.actions.marks import record_mark
from domain.actions.measurements import record_measurement
from domain.actions.transfers.taken import bearer_of, codes_taken
from domain.errors import Refusal, RuleBroken, Unfit
from domain.records.animals import Animal, AnimalStated, Basis
from domain.records.marks import MarkEntered, MarkKind, MarkReading
from domain.records.measurements import MeasurementEntered
from domain.records.transfers import Arrival, Transfer, TransferAnimal
from domain.records.unit import Unit
from domain.rules.lives import Grouping
from domain.rules.measures import MeasureKind
from domain.rules.transponders import DIGITS, is_same_code, read_code

FROM_PAPERS = "From the sender's papers."


@dataclass(frozen=True, slots=True, kw_only=True)
class Coming:
    """When and on what ground somebody comes for the first time, how many, where to, and why there although it does not suit them."""

    on: date
    number: int
    basis: Basis | None
    enclosure_id: UUID
    override_reason: str | None


def first_come(unit: Unit, transfer: Transfer, line: TransferAnimal, arrival: Arrival, coming: Coming) -> Animal:
    """Register who comes for the first time, and return it. What was read of it is its primary mark.

    Raises:
        RuleBroken: Another bears its tag, or the code that was read; or it does not fit where it is put and no reason is given.
    """
    tag = arrival.tag or line.tag
    assert line.taxon_id is not None and tag is not None, "what comes has a taxon and a tag"  # noqa: S101, PT018 - its shape says so
    if bearer_of(unit, tag) is not None:
        raise RuleBroken(f"The tag {tag} is taken: say another here, under which it is received.", code="tag-taken", field="tag")
    stated = AnimalStated(
        taxon_id=line.taxon_id,
        tag=tag,
        grouping=line.grouping,
        count=coming.number,
        sex=line.sex,
        life_stage=line.life_stage,
        origin=line.origin,
        hatched_on=line.hatched_on,
        hatched_precision=line.hatched_precision,
        name_as_printed=line.name_as_printed,
        enclosure_id=coming.enclosure_id,
        acquired_on=coming.on,
        basis=coming.basis,
        acquired_from=transfer.party,
        reference=transfer.reference,
        override_reason=coming.override_reason,
    )
    animal = register_animal(unit, stated)
    if arrival.mark is not None and line.grouping is Grouping.INDIVIDUAL and (line.transponder is not None or _is_new(unit, arrival.mark)):
        _mark_as_read(unit, animal, arrival.mark, papers=line.transponder, on=coming.on)
    _take_from_papers(unit, animal, line, arrival, coming)
    return unit.fetch(Animal, animal.id)


def _is_new(unit: Unit, read: str) -> bool:
    """Return whether what was read of an animal whose papers name no transponder is the code of one, after ISO 11784, that nobody bears.

    Anything else may be words: they are kept as what was read, and no mark is made of them.
    """
    try:
        return not codes_taken(unit, [read_code(read).digits])
    except Unfit:
        return False


def _mark_as_read(unit: Unit, animal: Animal, code: str, *, papers: str | None, on: date) -> None:
    """Put on record which transponder was read: one of fifteen digits; or by its papers one of before these, that some readers read."""
    is_older = papers is not None and len(papers) != DIGITS and is_same_code(code, papers)
    mark = MarkEntered(
        kind=MarkKind.OTHER_TRANSPONDER if is_older else MarkKind.TRANSPONDER,
        code=code,
        from_on=on,
        is_primary=True,
        reading=MarkReading.SCANNER,
        reader="the one used on arrival" if is_older else None,
    )
    try:
        record_mark(unit, animal.id, mark)
    except Refusal as refused:
        raise RuleBroken(f"{animal.tag}: {code} was read. {refused.detail}", code=refused.code, field="mark") from None


def _take_from_papers(unit: Unit, animal: Animal, line: TransferAnimal, arrival: Arrival, coming: Coming) -> None:
    """Put on record which other marks and which mass its papers say; marks are words there, and no kind is guessed from them."""
    told = [] if line.other_mark is None else [line.other_mark]
    if line.transponder is not None and not (arrival.mark is not None and is_same_code(arrival.mark, line.transponder)):
        told.append(f"transponder {line.transponder}, which was not read on arrival")
    for one in told:
        record_mark(unit, animal.id, MarkEntered(kind=MarkKind.OTHER, from_on=coming.on, note=f"{one}\n{FROM_PAPERS}"))
    if line.mass_g is not None:
        mass = MeasurementEntered(
            kind=MeasureKind.MASS, mass_g=line.mass_g, measured_on=coming.on, of_number=coming.number, note=FROM_PAPERS
        )
        record_measurement(unit, animal.id, mass)
