"""The papers about animals: from what is on record of them to the frozen sheets that are printed."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from itertools import islice
from typing import Any
from uuid import UUID

from domain.actions.census import Movement, Names, Scope, census, movements, names, statement
from domain.actions.histories import History, history
from domain.actions.labels import Labelled, Residents, labelled
from domain.actions.organisations import ORGANISATION
from domain.actions.sites import today_at
from domain.records.enclosures import Enclosure
from domain.records.kinship import Parent
from domain.records.organisations import Organisation
from domain.records.sites import Site
from domain.records.unit import Unit
from domain.rules.lives import LifeStage, Sex
from domain.rules.permissions import EVERYWHERE, Reach
from domain.rules.stock import Account, Line
from reports.animal_record.sheet import (
    AnimalRecordSheet,
    DocumentLine,
    EventLine,
    HoldingLine,
    MarkLine,
    MeasurementLine,
    NameLine,
    OffspringLine,
    ParentLine,
    PlacementLine,
    StateLine,
)
from reports.labels.sheet import EnclosureLabel, LabelSheet, LabelTaxon, Targets
from reports.stock_statement.sheet import MOST_MOVEMENTS, MovementEntry, MovementLine, StockLine, StockStatementSheet

SHORT_ID_DIGITS = 8
_SEXES, _STAGES = (list(one) for one in (Sex, LifeStage))
_BANDS = tuple(Targets.__dataclass_fields__)


def animal_record_sheet(unit: Unit, animal_id: UUID, *, report_id: UUID, filed_at: UUID | None = None) -> AnimalRecordSheet:
    """Return the sheet of an animal's record; the unit's instant is that of the data and of the paper.

    Whoever reaches the site that a paper is filed at may read it, so offspring and documents at other sites are left out of it.

    Raises:
        NotFound: There is no such animal in the organisation.
        NotAllowed: It is at a site that the origin does not reach.
    """
    life = history(unit, animal_id, shown_at=EVERYWHERE if filed_at is None else Reach(frozenset((filed_at,))))
    animal, taxon = life.animal, life.taxon
    return AnimalRecordSheet(
        paper_id=paper_number(life.today, report_id),
        organisation=organisation_name(unit),
        zone=life.zone,
        today=life.today,
        data_as_of=unit.origin.at,
        generated_at=unit.origin.at,
        animal_id=str(animal.id),
        tag=animal.tag,
        name=animal.name,
        scientific_name=taxon.scientific_name,
        name_authorship=taxon.name_authorship,
        rank=taxon.rank.value,
        common_name=taxon.common_name,
        name_as_printed=animal.name_as_printed,
        hazard=life.hazard,
        grouping=animal.grouping,
        count=animal.count,
        estimated=animal.estimated,
        hatched_on=animal.hatched_on,
        hatched_precision=animal.hatched_precision.value,
        origin=animal.origin.value,
        locality=animal.locality,
        note=animal.note,
        names=tuple(_line(NameLine, one) for one in life.names),
        marks=tuple(_line(MarkLine, one) for one in life.marks),
        states=tuple(
            StateLine(from_on=s.from_on, until_on=s.until_on, status=s.status, sex=s.sex, life_stage=s.life_stage) for s in life.states
        ),
        placements=tuple(_placements(life)),
        measurements=tuple(
            _line(MeasurementLine, one, by=life.staff.get(one.staff_id) if one.staff_id else None) for one in life.measurements
        ),
        parents=tuple(_parents(life)),
        offspring=tuple(_row(OffspringLine, one, but=("status",)) for one in life.offspring),
        holdings=tuple(_line(HoldingLine, one) for one in life.holdings),
        events=tuple(_events(life)),
        documents=tuple(_row(DocumentLine, one) for one in life.documents),
        withdrawn=life.withdrawn,
        corrected=life.corrected,
    )


def label_sheet(unit: Unit, site: Site, *, on: date, first_label: int, link_base: str, report_id: UUID) -> LabelSheet:
    """Return the sheet of the labels of a site's enclosures, as of the end of a day; the codes hold ``link_base`` and a short id."""
    return LabelSheet(
        paper_id=paper_number(on, report_id),
        organisation=organisation_name(unit),
        site=site.name,
        zone=site.zone,
        data_as_of=unit.origin.at,
        generated_at=unit.origin.at,
        link_base=link_base,
        first_label=first_label,
        labels=tuple(_label(site, one) for one in labelled(unit, site, on=on)),
    )


def stock_statement_sheet(unit: Unit, site: Site, *, from_on: date, until_on: date, report_id: UUID) -> StockStatementSheet:
    """Return the sheet of a site's stock statement of a period, both days included."""
    scope = Scope(site_id=site.id)
    called = names(unit)
    accounts = statement(unit, from_on=from_on, until_on=until_on, scope=scope)
    behind = movements(unit, from_on=from_on, until_on=until_on, scope=scope)
    listed = list(islice(behind, MOST_MOVEMENTS))
    today = today_at(unit, site)
    return StockStatementSheet(
        paper_id=paper_number(today, report_id),
        organisation=organisation_name(unit),
        site=site.name,
        address=site.address,
        zone=site.zone,
        today=today,
        data_as_of=unit.origin.at,
        generated_at=unit.origin.at,
        from_on=from_on,
        until_on=until_on,
        lines=tuple(_stock_line(line, accounts[line], called) for line in sorted(accounts, key=lambda line: _stock_order(line, called))),
        movements=tuple(_movement(number, one, called) for number, one in enumerate(listed, start=1)),
        movements_in_all=len(listed) + sum(1 for _ in behind),
        estimated=sum(one.estimated for one in census(unit, on=until_on, scope=scope)),
    )


def paper_number(day: date, report_id: UUID) -> str:
    """Return the number of a paper: its day, and the end of its id."""
    return f"{day.isoformat()}-{str(report_id)[-8:]}"


def organisation_name(unit: Unit) -> str:
    """Return what the organisation is called."""
    found = unit.first(Organisation, ORGANISATION)
    return found.name if found else ""


def short_id_of(enclosure: Enclosure) -> str:
    """Return what stands for an enclosure on its label: the end of its id, which is random and outlives every name."""
    return enclosure.id.hex[-SHORT_ID_DIGITS:].upper()


def _label(site: Site, one: Labelled) -> EnclosureLabel:
    return EnclosureLabel(
        code=one.enclosure.name,
        place=site.name,
        life_support_system=one.life_support_system,
        taxa=tuple(_kind(kind) for kind in one.residents),
        uv_lamp=one.lit_by_ultraviolet,
        quarantine=one.enclosure.quarantine,
        short_id=short_id_of(one.enclosure),
        revision=one.enclosure.version,
    )


def _kind(kind: Residents) -> LabelTaxon:
    needs = None if kind.target is None else Targets(**{name: getattr(kind.target, name) for name in _BANDS})
    facts = {name: getattr(kind, name) for name in LabelTaxon.__dataclass_fields__ if name != "targets"}
    return LabelTaxon(**facts, targets=needs)


def _stock_order(line: Line, called: Names) -> tuple[str, UUID, int, int]:
    return (called.taxa[line.taxon_id].scientific_name, line.taxon_id, _STAGES.index(line.life_stage), _SEXES.index(line.sex))


def _stock_line(line: Line, account: Account, called: Names) -> StockLine:
    taxon = called.taxa[line.taxon_id]
    return StockLine(
        scientific_name=taxon.scientific_name,
        rank=taxon.rank,
        common_name=taxon.common_name,
        sex=line.sex,
        life_stage=line.life_stage,
        account=account,
    )


def _movement(number: int, one: Movement, called: Names) -> MovementLine:
    taxon = called.taxa[one.entries[0].line.taxon_id]
    return MovementLine(
        number=number,
        on=one.place.on,
        tag=one.tag,
        scientific_name=taxon.scientific_name,
        rank=taxon.rank,
        happening=one.place.happening.value,
        event_kind=one.event_kind,
        animals=one.number,
        entries=tuple(MovementEntry(sex=entry.line.sex, life_stage=entry.line.life_stage, column=entry.column) for entry in one.entries),
    )


def _placements(life: History) -> list[PlacementLine]:
    return [
        PlacementLine(
            from_on=one.from_on,
            until_on=one.until_on,
            enclosure=life.places[one.enclosure_id][0],
            site=life.places[one.enclosure_id][1],
            override_reason=one.override_reason,
            note=one.note,
        )
        for one in life.placements
    ]


def _parents(life: History) -> list[ParentLine]:
    named = [(one, life.related.get(one.parent_id) if one.parent_id else None) for one in life.parents]
    return [
        _line(ParentLine, one, tag=_parent_tag(one, who), scientific_name=who[1] if who else None, rank=who[2] if who else "")
        for one, who in named
    ]


def _parent_tag(parent: Parent, who: tuple[str, str, str] | None) -> str | None:
    """Return the tag of a parent; where its record is beyond the paper's reach, that it is in another one."""
    if who is not None:
        return who[0]
    return None if parent.parent_id is None else "in another record"


def _events(life: History) -> list[EventLine]:
    return [
        EventLine(
            **_plain(
                {name: getattr(one, name) for name in EventLine.__dataclass_fields__ if name != "other_tag"},
                but=("kind", "sex", "life_stage"),
            ),
            other_tag=_tag(life, one.other_animal_id),
        )
        for one in life.events
    ]


def _tag(life: History, other_id: UUID | None) -> str | None:
    related = life.related.get(other_id) if other_id else None
    return related[0] if related else None


def _line(kind: type[Any], record: Any, **more: Any) -> Any:  # noqa: ANN401 - a line of one of several lists
    """Return a record as a line of a list; words of closed lists as their values, but those that lines have as members."""
    facts = {name: getattr(record, name) for name in kind.__dataclass_fields__ if name not in more}
    return kind(**_plain(facts, but=("kind",) if kind is MeasurementLine else ()), **more)


def _row(kind: type[Any], row: Mapping[str, Any], *, but: tuple[str, ...] = ()) -> Any:  # noqa: ANN401 - a line of one of several lists
    """Return a row of a statement as the line of a list."""
    return kind(**_plain({name: row[name] for name in kind.__dataclass_fields__}, but=but))


def _plain(facts: dict[str, Any], *, but: tuple[str, ...] = ()) -> dict[str, Any]:
    return {name: value if name in but else getattr(value, "value", value) for name, value in facts.items()}
