"""The file that travels with animals: from what is on record of a transfer to the frozen sheet that is printed and attached."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta
from typing import Any
from uuid import UUID

from api.animal_papers import organisation_name, paper_number
from api.issuing import Imprint
from domain.actions.histories import History
from domain.actions.transfers.file import OwnLicence, TransferFile, Traveller, TravellingPaper, transfer_file
from domain.records.animals import AnimalEvent
from domain.records.holdings import HoldingKind
from domain.records.kinship import Parent
from domain.records.sites import Site
from domain.records.unit import Unit
from domain.rules.calendar import in_words
from domain.rules.lives import ARRIVALS, BIRTHS, OPENING
from domain.rules.measures import MeasureKind
from domain.rules.permits import Start
from domain.rules.transfers import LOOKED_BACK_DAYS, Renewal
from reports.labels.sheet import Targets
from reports.transfer_file.sheet import (
    FORM,
    VERSION,
    Ancestor,
    Carriage,
    Earliest,
    End,
    GoingAnimal,
    GoingPaper,
    Happening,
    Licence,
    MarkToRead,
    OpenLine,
    Output,
    RulePack,
    TransferFileSheet,
    Weight,
)
from reports.words import plural, spoken

_BANDS = tuple(Targets.__dataclass_fields__)
_OF_PLAN = (
    *("reference", "buffer_days", "dispatched_at", "arrived_at", "quarantine_days"),
    *("due_back_on", "offspring_split", "care", "note"),
)
_READ_BACK = ("mark_loaded", "mark_arrived", "arrived", "arrived_number", "arrived_dead", "condition", "discrepancy", "note")
_HELD: Mapping[HoldingKind, str] = {
    HoldingKind.OWNED: "the sender's own",
    HoldingKind.LOAN_IN: "on loan to the sender, whose it is not",
    HoldingKind.LOAN_OUT: "the sender's, on loan to another",
    HoldingKind.IN_CUSTODY: "held by the sender for an authority",
}


def transfer_file_sheet(unit: Unit, transfer_id: UUID, *, report_id: UUID, imprint: Imprint, filed_at: UUID | None) -> TransferFileSheet:
    """Return the sheet of a transfer; the unit's instant is that of the data and of the paper.

    Who had the animals before, and what was noted about them in words, stays with the sender: it may name people.

    Raises:
        NotFound: There is no such transfer in the organisation.
    """
    found = transfer_file(unit, transfer_id, filed_at=filed_at)
    plan, check = found.transfer, found.check
    numbers = {one.line.id: number for number, one in enumerate(found.travellers, start=1)}
    at, home = found.sender or found.receiver, None if found.sender is None else found.sender.name
    return TransferFileSheet(
        form=FORM,
        form_version=VERSION,
        paper_id=imprint.paper_id or paper_number(found.today, report_id),
        organisation=organisation_name(unit),
        zone="UTC" if at is None else at.zone,
        today=found.today,
        data_as_of=unit.origin.at,
        generated_at=unit.origin.at,
        check_at=imprint.check_at,
        sealed=imprint.sealed,
        transfer_id=str(plan.id),
        basis=plan.basis.value,
        stage="called_off" if plan.ended_on is not None else plan.stage.value,
        sender=_end(unit, found, found.sender),
        receiver=_end(unit, found, found.receiver),
        carriage=_carriage(found),
        dispatch_on=found.days.dispatch_on,
        arrive_on=found.days.arrive_on,
        through_on=found.through,
        quarantine_place=None if found.quarantine is None else found.quarantine.name,
        report_after_days=tuple(sorted(plan.report_after_days)),
        open_items=None if check is None else tuple(OpenLine(code=one.code.value, sentence=one.sentence) for one in check.items),
        earliest=None
        if check is None or check.earliest is None
        else Earliest(dispatch_on=check.earliest.dispatch_on, arrive_on=check.earliest.arrive_on),
        renewals=() if check is None else tuple(_renewal(one, today=found.today) for one in check.renewals),
        animals=tuple(_animal(one, number=numbers[one.line.id], today=found.today, home=home) for one in found.travellers),
        papers=tuple(_paper(one, numbers, through=found.through) for one in found.papers),
        rules=tuple(RulePack(**{name: row[name] for name in ("name", "edition", "digest")}) for row in found.packs),
        **{name: getattr(plan, name) for name in _OF_PLAN},
    )


def _end(unit: Unit, found: TransferFile, site: Site | None) -> End:
    """Return one end of the journey: a site of ours, or the other party."""
    plan = found.transfer
    if site is not None:
        return End(
            name=organisation_name(unit),
            site=site.name,
            address=site.address,
            contact=None,
            jurisdiction=site.jurisdiction,
            licences=tuple(_own_licence(one, through=found.through) for one in found.licences[site.id]),
        )
    return End(
        name=plan.party or "",
        site=None,
        address=plan.party_address,
        contact=plan.party_contact,
        jurisdiction=plan.party_jurisdiction,
        licences=_of_others(plan.party_licence, plan.party_licence_until, through=found.through),
    )


def _own_licence(one: OwnLicence, *, through: date) -> Licence:
    return replace(_licence(one.number, one.good_until, through=through), title=one.title, sha256=one.sha256)


def _of_others(number: str | None, until_on: date | None, *, through: date) -> tuple[Licence, ...]:
    """Return the licence of a party or carrier, as far as its number and its last day are on record."""
    return () if number is None and until_on is None else (_licence(number, until_on, through=through),)


def _licence(number: str | None, until_on: date | None, *, through: date) -> Licence:
    return Licence(number=number, title=None, sha256=None, until_on=until_on, lapses=until_on is not None and until_on < through)


def _carriage(found: TransferFile) -> Carriage:
    plan = found.transfer
    authorisation = _of_others(plan.carrier_authorisation, plan.carrier_until, through=found.through)
    return Carriage(
        carrier=plan.carrier,
        contact=plan.carrier_contact,
        authorisation=next(iter(authorisation), None),
        container=plan.container,
        least_c=plan.least_c,
        most_c=plan.most_c,
    )


def _renewal(one: Renewal, *, today: date) -> str:
    """Return what has to be done about a paper, by days that are still to come."""
    made = "issued" if one.starts is Start.ISSUE else "inspected"
    if one.from_on is None:
        return f"{one.paper.title}: ask whoever issues it for a later last day."
    if one.from_on > one.until_on:
        return f"{one.paper.title}: no day before the dispatch is late enough; it is not good for so long a journey."
    if one.until_on < today:
        return f"{one.paper.title}: the day of dispatch has passed; set another, and have it {made} anew for that."
    first = max(one.from_on, today)
    when = f"on {in_words(first)}" if first == one.until_on else f"between {in_words(first)} and {in_words(one.until_on)}"
    return f"{one.paper.title}: have it {made} anew {when}."


def _paper(one: TravellingPaper, numbers: Mapping[UUID, int], *, through: date) -> GoingPaper:
    said, last = one.paper, one.good_until
    plain = ("title", "kind", "number", "authority", "issued_on", "inspected_on", "valid_until", "requirement_code", "note")
    return GoingPaper(
        kind_title=one.kind_title,
        good_until=None if last == date.min else last,
        lapses=last is not None and last < through,
        covers=tuple(sorted(numbers[line_id] for line_id in map(UUID, map(str, said.transfer_animal_ids)) if line_id in numbers)),
        sha256=one.sha256,
        **{name: getattr(said, name) for name in plain},
    )


# ---------------------------------------------------------------------------------------------------------- the animals


def _animal(one: Traveller, *, number: int, today: date, home: str | None) -> GoingAnimal:
    target = one.target
    return GoingAnimal(
        number=number,
        scientific_name=one.taxon.scientific_name,
        name_authorship=one.taxon.name_authorship,
        rank=one.taxon.rank.value,
        common_name=one.taxon.common_name,
        hazard=None if one.hazard is None else one.hazard.value,
        target=None if target is None else Targets(**{name: getattr(target, name) for name in _BANDS}),
        target_source=None if target is None else target.source,
        measured_there=tuple(Output(**{name: row[name] for name in Output.__dataclass_fields__}) for row in one.measured),
        **{name: getattr(one.line, name) for name in _READ_BACK},
        **(_of_papers(one) if one.life is None else _of_life(one, one.life, today=today, home=home)),
    )


def _of_papers(one: Traveller) -> dict[str, Any]:
    """Return what the other party's papers say of an animal that comes for the first time."""
    line = one.line
    kinds = (("transponder", line.transponder), ("other", line.other_mark))
    return {
        "tag": line.tag,
        "name": None,
        "count": line.number,
        "estimated": False,
        "locality": None,
        "acquired": None,
        "held": None,
        "marks": tuple(MarkToRead(kind=kind, code=code, scheme=None, body_site=None, note="") for kind, code in kinds if code is not None),
        "weights": (),
        "parents": (),
        "history": (),
        "lived_in": None,
        **_plain(line, "name_as_printed", "grouping", "sex", "life_stage", "hatched_on", "hatched_precision", "origin"),
    }


def _of_life(going: Traveller, life: History, *, today: date, home: str | None) -> dict[str, Any]:
    """Return what is on record of an animal of ours; of those that have departed as many go as are on the transfer."""
    animal = life.animal
    since = today - timedelta(days=LOOKED_BACK_DAYS)
    holding = next((one for one in life.holdings if one.from_on <= today and (one.until_on is None or one.until_on >= today)), None)
    marks = [one for one in life.marks if one.until_on is None or one.closed_by_id is not None]
    last_place = life.placements[-1] if life.placements else None
    return {
        "acquired": _acquired(life),
        "held": None if holding is None else _HELD[holding.kind],
        "marks": tuple(MarkToRead(**_plain(one, "kind", "code", "scheme", "body_site"), note="") for one in marks),
        "weights": _weights(life, since=since),
        "parents": tuple(_ancestor(one, life) for one in life.parents),
        "history": tuple(sorted(_happenings(life, since=since, at=home), key=lambda one: one.on)),
        "lived_in": None if last_place is None else _place(life, last_place.enclosure_id, at=home),
        "count": animal.count or going.line.number,
        **_plain(animal, "tag", "name", "estimated", "locality", "name_as_printed", "grouping", "sex", "life_stage"),
        **_plain(animal, "hatched_on", "hatched_precision", "origin"),
    }


def _weights(life: History, *, since: date) -> tuple[Weight, ...]:
    """Return the masses since a day, and the last one however old it is."""
    masses = sorted(
        ((one.measured_on, one.mass_g) for one in life.measurements if one.kind is MeasureKind.MASS and one.mass_g is not None),
    )
    return tuple(Weight(measured_on=on, mass_g=mass) for place, (on, mass) in enumerate(masses, 1) if on >= since or place == len(masses))


def _acquired(life: History) -> str | None:
    """Return in words since when and how it was acquired or born; from whom is left out."""
    first = next((one for one in life.events if one.kind in OPENING), None)
    if first is None:
        return None
    how = f", {spoken(first.basis.value)}" if first.basis is not None else ""
    done = (
        "acquired"
        if first.kind in ARRIVALS
        else f"{spoken(first.kind.value)} at the sender"
        if first.kind in BIRTHS
        else "taken out of a group"
    )
    return f"{done} {in_words(first.happened_on)}{how}"


def _ancestor(one: Parent, life: History) -> Ancestor:
    related = life.related.get(one.parent_id) if one.parent_id is not None else None
    who = related[0] if related is not None else "kept elsewhere" if one.elsewhere else "in another record of the sender"
    return Ancestor(role=one.role.value, who=who, scientific_name=None if related is None else related[1], certainty=one.certainty.value)


def _place(life: History, enclosure_id: UUID, *, at: str | None) -> str:
    """Return an enclosure by its name where it is at the sending site; of others nothing is told."""
    name, site = life.places[enclosure_id]
    return name if at is None or site == at else "an enclosure at another site of the sender"


def _happenings(life: History, *, since: date, at: str | None) -> Iterator[Happening]:
    for event in life.events:
        if event.happened_on >= since:
            yield Happening(on=event.happened_on, what=_said(event))
    for one in life.placements:
        if one.from_on >= since:
            yield Happening(on=one.from_on, what=f"put into {_place(life, one.enclosure_id, at=at)}")
    for measured in life.measurements:
        if measured.measured_on >= since and measured.length_mm is not None:
            yield Happening(on=measured.measured_on, what=f"{spoken(measured.kind.value)} {measured.length_mm:g} mm")


def _said(event: AnimalEvent) -> str:
    known = [one.value for one in (event.sex, event.life_stage) if one is not None and one.value != "unknown"]
    number = f", {plural(event.number, 'animal')}" if event.number > 1 else ""
    return f"{spoken(event.kind.value)}{number}{': ' if known else ''}{', '.join(known)}"


def _plain(record: object, *names: str) -> dict[str, Any]:
    """Return some facts of a record by name, words of closed lists as their values."""
    found: Sequence[tuple[str, object]] = [(name, getattr(record, name)) for name in names]
    return {name: getattr(value, "value", value) for name, value in found}
