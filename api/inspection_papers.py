"""The inspection file: from what actions found to the frozen sheet that is printed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any
from uuid import UUID

from api.animal_papers import organisation_name, paper_number, stock_statement_sheet
from api.issuing import Imprint
from api.permit_papers import permit_line, uncovered_lines
from domain.actions.census import Movement, Names, Scope, movements, names
from domain.actions.compliance import Collection
from domain.actions.due_list import DueItem
from domain.actions.fitness import Suited, suitability_at
from domain.actions.incidents import Asked, NotifyBy, incidents_between
from domain.actions.inspection_file import (
    Animals,
    EquipmentOfPeriod,
    animals_at,
    competences_at,
    deaths_among,
    enclosures_at,
    equipment_of,
    first_day_at,
    provenance,
)
from domain.actions.inspections import Visit, visits_to
from domain.actions.permit_register import PermitRegister, register_of
from domain.actions.sites import today_at
from domain.records.enclosures import Enclosure
from domain.records.inspections import CorrectiveAction, InspectionFinding
from domain.records.sites import Site
from domain.records.unit import Unit
from domain.rules.calendar import date_at_site
from domain.rules.compliance import Standing as HowKept
from domain.rules.fitness import Bearing
from domain.rules.law.requirements import Activity, Requirement
from domain.rules.service_life import Standing
from reports.inspection_file.sheet import (
    MOST_ANIMALS,
    MOST_UNCOVERED,
    AnimalLine,
    AnsweredLine,
    CheckedLine,
    CompetenceLine,
    DeathLine,
    EnclosureLine,
    FindingLine,
    IncidentLine,
    InspectionFileSheet,
    LodgerLine,
    MarkOfAnimal,
    OverdueLine,
    PackLine,
    ReplacedLine,
    RuleLine,
    TellLine,
    VisitLine,
)

Shown = Mapping[str, Any]


def inspection_file_sheet(
    unit: Unit, site: Site, *, from_on: date, until_on: date, report_id: UUID, imprint: Imprint
) -> InspectionFileSheet:
    """Return the sheet of a site's inspection file for a period, both days included."""
    called, today = names(unit), today_at(unit, site)
    collection = Collection(unit, from_on=until_on, until_on=until_on)
    register = register_of(unit, site, collection, collection.standings(until_on, activity=Activity.HOLD))
    stock = stock_statement_sheet(unit, site, from_on=from_on, until_on=until_on, report_id=report_id)
    animals = animals_at(unit, site, on=until_on, most=MOST_ANIMALS)
    rests_on = provenance(unit, site, collection.law, on=until_on)
    return InspectionFileSheet(
        paper_id=imprint.paper_id or paper_number(today, report_id),
        organisation=organisation_name(unit),
        site=site.name,
        site_id=str(site.id),
        address=site.address,
        zone=site.zone,
        jurisdictions=() if site.jurisdiction is None else collection.law.chain(site.jurisdiction),
        today=today,
        data_as_of=unit.origin.at,
        generated_at=unit.origin.at,
        check_at=imprint.check_at,
        sealed=imprint.sealed,
        from_on=from_on,
        until_on=until_on,
        first_day=first_day_at(unit, site),
        stock=stock,
        animals=tuple(_animals(animals, register)),
        animals_in_all=animals.in_all,
        permits=tuple(permit_line(one, called.sites) for one in register.permits),
        uncovered=uncovered_lines(register, called.sites, most=MOST_UNCOVERED),
        uncovered_in_all=len(register.open),
        answered=tuple(_answered(register)),
        enclosures=tuple(_enclosures(unit, site, on=until_on)),
        **_upkeep(equipment_of(unit, site, from_on=from_on, until_on=until_on)),
        deaths=tuple(_deaths(unit, site, called, from_on=from_on, until_on=until_on)),
        incidents=incidents_of(unit, site, from_on=from_on, until_on=until_on),
        **_inspections(visits_to(unit, site.id), from_on=from_on, until_on=until_on),
        competences=tuple(_competence(row) for row in competences_at(unit, site, until_on=until_on)),
        rules=tuple(_rule(one) for one in rests_on.requirements),
        packs=tuple(PackLine(id=str(row["id"]), **{name: row[name] for name in ("name", "edition", "digest")}) for row in rests_on.packs),
        journal_position=rests_on.position,
        journal_hash=rests_on.hash,
    )


def incidents_of(unit: Unit, site: Site, *, from_on: date, until_on: date) -> tuple[IncidentLine, ...]:
    """Return the incidents at a site that were found in a period, with whether what had to be told was told."""
    return tuple(_incident(one) for one in incidents_between(unit, site.id, from_on=from_on, until_on=until_on))


def _incident(one: NotifyBy) -> IncidentLine:
    incident = one.incident
    hurt = incident.persons_hurt
    return IncidentLine(
        id=f"/v1/incidents/{incident.id}",
        on=date_at_site(incident.found_at, one.zone),
        what=f"{incident.kind.value.capitalize()}: {incident.account}",
        people=None if hurt == 0 else f"{hurt} hurt",
        action=incident.outcome or None,
        to_tell=tuple(map(_to_tell, one.asked)),
        missing=tuple(sorted(one.missing)),
    )


def _to_tell(one: Asked) -> TellLine:
    rule = one.notice.requirement
    return TellLine(
        requirement=rule.code,
        citation=rule.citation,
        tell_by=one.notice.tell_by,
        standing=one.standing.value,
        missing=tuple(sorted(one.notice.missing)),
    )


def _inspections(visits: Sequence[Visit], *, from_on: date, until_on: date) -> dict[str, Any]:
    """Return the fields of a sheet that are about inspections, as they stood at the end of a period."""
    past = [visit for visit in visits if visit.inspection.visited_on <= until_on]
    found = [(visit, one) for visit in past for one in visit.findings]
    return {
        "visits": tuple(_visit(visit, until_on=until_on) for visit in past if from_on <= visit.inspection.visited_on),
        "findings": tuple(_finding(visit, one, until_on=until_on) for visit, one in found if _is_open(one, until_on=until_on)),
        "closed": tuple(
            _finding(visit, one, until_on=until_on)
            for visit, one in found
            if one.closed_on is not None and from_on <= one.closed_on <= until_on
        ),
    }


def _is_open(one: InspectionFinding, *, until_on: date) -> bool:
    return one.closed_on is None or one.closed_on > until_on


def _visit(visit: Visit, *, until_on: date) -> VisitLine:
    one = visit.inspection
    return VisitLine(
        id=f"/v1/inspections/{one.id}",
        on=one.visited_on,
        kind=one.kind.value,
        authority=one.authority,
        reference=one.reference,
        summary=one.summary,
        found=len(visit.findings),
        open=sum(_is_open(finding, until_on=until_on) for finding in visit.findings),
    )


def _finding(visit: Visit, one: InspectionFinding, *, until_on: date) -> FindingLine:
    is_open = _is_open(one, until_on=until_on)
    actions = (action for action in visit.actions if action.finding_id == one.id)
    return FindingLine(
        id=f"/v1/inspections/{visit.inspection.id}/findings/{one.id}",
        found_on=visit.inspection.visited_on,
        what=f"{one.weight.value.capitalize()}: {one.text}",
        requirement=one.requirement_code,
        due_on=one.due_on,
        action="; ".join(_action(action, until_on=until_on) for action in actions) or None,
        closed_on=None if is_open else one.closed_on,
        closing="" if is_open else one.closing,
    )


def _action(one: CorrectiveAction, *, until_on: date) -> str:
    """Return what is done about a finding, and whether it was done by a day, with its proof."""
    if one.done_on is None or one.done_on > until_on:
        return f"{one.text} (open)"
    document = f"/v1/documents/{one.document_id}" if one.document_id else ""
    return f"{one.text} (done {one.done_on.isoformat()}: {', '.join(filter(None, (one.proof, document)))})"


def _animals(found: Animals, register: PermitRegister) -> Iterable[AnimalLine]:
    numbers = {one.permit.id: one.permit.number for one in register.permits}
    standings: dict[UUID, HowKept] = {}
    covering: defaultdict[UUID, list[str]] = defaultdict(list)
    for one in register.coverages:
        standings[one.subject.id] = one.standing
        for share in (share for answer in one.answers for share in answer.shares):
            covering[one.subject.id].append(numbers.get(share.permit_id, ""))
    for row in found.records:
        source = found.sources.get(row["id"], {})
        yield AnimalLine(
            id=str(row["id"]),
            rank=row["rank"].value,
            origin=row["origin"].value,
            marks=tuple(MarkOfAnimal(kind=kind, code=code) for kind, code in found.marks.get(row["id"], ())),
            came_by=source.get("kind"),
            came_on=source.get("on"),
            basis=source["basis"].value if source.get("basis") else None,
            party=source.get("party"),
            source_id=str(source["event_id"]) if source else None,
            permits=tuple(dict.fromkeys(number for number in covering[row["id"]] if number)),
            standing=standings.get(row["id"]),
            **{name: row[name] for name in ("tag", "scientific_name", "sex", "life_stage", "number", "estimated", "enclosure")},
        )


def _answered(register: PermitRegister) -> Iterable[AnsweredLine]:
    for one in register.coverages:
        for finding, override_id in one.lifted:
            yield AnsweredLine(
                override_id=str(override_id),
                animal_id=str(one.subject.id),
                tag=one.subject.tag,
                scientific_name=one.subject.taxon.name,
                requirement=finding.requirement.code,
                citation=finding.requirement.citation,
            )


def _enclosures(unit: Unit, site: Site, *, on: date) -> Iterable[EnclosureLine]:
    places = enclosures_at(unit, site, until_on=on)
    suited = suitability_at(unit, site.id, places, on=on)
    return (_enclosure(one, suited[one.id]) for one in places)


def _enclosure(one: Enclosure, living: Sequence[Suited]) -> EnclosureLine:
    return EnclosureLine(
        id=str(one.id),
        name=one.name,
        kind=one.kind.value,
        floor_m2=one.floor_m2,
        volume_l=one.volume_l,
        capacity=one.capacity,
        closure=None if one.closure is None else one.closure.value,
        quarantine=one.quarantine,
        lodgers=tuple(_lodgers(each) for each in living),
    )


def _lodgers(one: Suited) -> LodgerLine:
    by_bearing = {bearing: tuple(reason for reason in one.fitness.reasons if reason.bearing is bearing) for bearing in Bearing}
    target = one.animals.target
    return LodgerLine(
        scientific_name=one.animals.name,
        life_stage=one.animals.life_stage,
        number=one.animals.number,
        outcome=one.fitness.outcome.value,
        against=tuple(reason.sentence for reason in by_bearing[Bearing.AGAINST]),
        missing=tuple(reason.sentence for reason in by_bearing[Bearing.MISSING]),
        source=target.source if target is not None and target.source else None,
    )


def _upkeep(found: EquipmentOfPeriod) -> dict[str, Any]:
    """Return the fields of a sheet that are about equipment."""
    late = (Standing.OVERDUE, Standing.UNKNOWN)
    return {
        "overdue": tuple(_overdue(one) for one in sorted(found.overdue, key=lambda one: (one.forecast.standing.value, one.order_key))),
        "items_good": sum(number for standing, number in found.counts.items() if standing not in late),
        "replaced": tuple(_replaced(row) for row in found.replaced),
        "checks": tuple(
            CheckedLine(what=row["kind"].value, result=row["result"].value, number=row["number"], latest_on=row["latest_on"])
            for row in found.checks
        ),
        "outputs": tuple(
            CheckedLine(
                what=f"in {row['output_unit'] or 'no unit said'}", result="measured", number=row["number"], latest_on=row["latest_on"]
            )
            for row in found.outputs
        ),
    }


def _replaced(row: Shown) -> ReplacedLine:
    plain = {name: row[name] for name in ("tag", "model", "installed_on")}
    return ReplacedLine(id=str(row["id"]), old_id=str(row["old_id"]), reason=row["end_reason"], **plain)


def _overdue(one: DueItem) -> OverdueLine:
    return OverdueLine(
        id=str(one.equipment_id),
        tag=one.tag,
        place=one.place,
        model=one.model.name,
        standing=one.forecast.standing.value,
        due_on=one.forecast.due_on,
        reason=one.because,
    )


def _deaths(unit: Unit, site: Site, called: Names, *, from_on: date, until_on: date) -> Iterable[DeathLine]:
    found: list[Movement] = list(movements(unit, from_on=from_on, until_on=until_on, scope=Scope(site_id=site.id)))
    for one, cause in deaths_among(unit, found, from_on=from_on, until_on=until_on):
        taxon = called.taxa[one.entries[0].line.taxon_id]
        yield DeathLine(
            id=str(one.place.id),
            animal_id=str(one.animal_id),
            tag=one.tag,
            scientific_name=taxon.scientific_name,
            rank=taxon.rank,
            on=one.place.on,
            number=one.number,
            cause=cause,
        )


def _competence(row: Shown) -> CompetenceLine:
    return CompetenceLine(
        id=str(row["id"]),
        staff_id=str(row["staff_id"]),
        role=row["role"].value,
        whole_organisation=row["site_id"] is None,
        hazard=None if row["hazard"] is None else row["hazard"].value,
        from_on=row["from_on"],
        expires_on=row["expires_on"],
        is_renewed=row["is_renewed"],
    )


def _rule(one: Requirement) -> RuleLine:
    plain = ("code", "title", "citation", "jurisdiction", "applies_from", "applies_until", "reviewed_on", "pack")
    return RuleLine(edition=one.version, **{name: getattr(one, name) for name in plain})
