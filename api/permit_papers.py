"""The permit register: from what an action found to the frozen sheet that is printed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from uuid import UUID

from api.animal_papers import organisation_name, paper_number
from api.issuing import Imprint
from domain.actions.census import names
from domain.actions.compliance import by_standing
from domain.actions.permit_register import Held, PermitRegister, not_in_order, permit_register
from domain.records.sites import Site
from domain.records.unit import Unit
from domain.rules.compliance import Coverage, Standing
from domain.rules.law.decision import Bearing, Finding
from domain.rules.permits import DocumentKind
from reports.permit_register.sheet import (
    MOST_UNCOVERED,
    ConditionLine,
    PermitLine,
    PermitRegisterSheet,
    ScanLine,
    TaxonOfPermit,
    UncoveredLine,
)
from reports.words import span

Sites = Mapping[UUID, str]
_CONDITION = tuple(name for name in ConditionLine.__dataclass_fields__ if name != "id")
_SCAN = ("title", "role", "dated_on", "reference", "sha256")


def permit_register_sheet(unit: Unit, site: Site | None, *, on: date, report_id: UUID, imprint: Imprint) -> PermitRegisterSheet:
    """Return the sheet of the permits of a site, or of the whole organisation, as of a day."""
    found, sites = permit_register(unit, site, on=on), names(unit).sites
    return PermitRegisterSheet(
        paper_id=imprint.paper_id or paper_number(on, report_id),
        organisation=organisation_name(unit),
        site=None if site is None else site.name,
        address="" if site is None else site.address,
        zone="UTC" if site is None else site.zone,
        today=on,
        data_as_of=unit.origin.at,
        generated_at=unit.origin.at,
        check_at=imprint.check_at,
        sealed=imprint.sealed,
        permits=tuple(permit_line(one, sites) for one in found.permits),
        uncovered=uncovered_lines(found, sites, most=MOST_UNCOVERED),
        uncovered_in_all=len(found.open),
        animals=sum(one.subject.number for one in found.coverages),
        animals_open=sum(not_in_order(one) for one in found.open),
        animals_overridden=by_standing(found.coverages)[Standing.OVERRIDDEN],
    )


def permit_line(one: Held, sites: Sites) -> PermitLine:
    """Return a permit as it is printed; of one that is the whole organisation's in a site's register only what that register may tell."""
    permit, kind, end = one.permit, one.kind, one.end
    return PermitLine(
        id=str(permit.id),
        number=permit.number,
        kind=permit.kind,
        kind_title=None if kind is None else kind.title,
        citation=None if kind is None else kind.citation,
        lasts=None if kind is None or kind.lasts is None else span(kind.lasts),
        jurisdiction=permit.jurisdiction,
        authority=permit.authority,
        holder=None if one.is_shared else permit.holder,
        site=None if permit.site_id is None else sites.get(permit.site_id),
        issued_on=permit.issued_on,
        valid_from=permit.valid_from,
        good_until=one.good_until,
        end_reason=None if end is None else end.reason,
        end_occasion=None if end is None or end.occasion is None else end.occasion.value,
        renew_by=one.renew_by,
        standing=one.standing,
        activities=() if one.is_shared else tuple(permit.activities),
        any_taxon=not one.is_shared and permit.any_taxon,
        taxa=tuple(TaxonOfPermit(scientific_name=name, rank=rank, number=number) for name, rank, number in one.taxa),
        tags=tuple(one.tags),
        is_for_none=one.is_for_none,
        total_number=None if one.is_shared else permit.total_number,
        taken=one.taken,
        left=one.left,
        expected=one.expected,
        is_replaced=one.is_replaced,
        replaced_by=one.replaced_by,
        follows_on=one.follows_on,
        is_shared=one.is_shared,
        note="" if one.is_shared else permit.note,
        conditions=tuple(ConditionLine(id=str(each.id), **{name: getattr(each, name) for name in _CONDITION}) for each in one.conditions),
        scans=tuple(
            ScanLine(id=str(row["id"]), media_type=row["media_type"].value, **{name: row[name] for name in _SCAN}) for row in one.scans
        ),
    )


def uncovered_lines(found: PermitRegister, sites: Sites, *, most: int) -> tuple[UncoveredLine, ...]:
    """Return the first ``most`` of the animals whose keeping is not in order, as they are printed."""
    return tuple(_uncovered(one, sites, found.kinds) for one in found.open[:most])


def _uncovered(one: Coverage, sites: Sites, kinds: Mapping[str, DocumentKind]) -> UncoveredLine:
    subject = one.subject
    lacking = [set(answer.kinds) for answer in one.answers if answer.uncovered]
    needed = dict.fromkeys(answer.kinds for answer in one.answers if answer.uncovered)
    rules = dict.fromkeys(
        f"{finding.requirement.code}: {finding.requirement.citation}" for finding in one.decision.findings if _hinders(finding, lacking)
    )
    return UncoveredLine(
        id=str(subject.id),
        tag=subject.tag,
        scientific_name=subject.taxon.name,
        rank=subject.taxon.rank.value,
        site=None if subject.site_id is None else sites.get(subject.site_id),
        number=subject.number,
        uncovered=not_in_order(one),
        standing=one.standing,
        needs_mark=one.needs_mark,
        needs=tuple(tuple(kinds[kind].title if kind in kinds else kind for kind in answer) for answer in needed),
        rules=tuple(rules),
        missing=tuple(sorted(one.decision.missing)),
    )


def _hinders(finding: Finding, lacking: Sequence[set[str]]) -> bool:
    """Return whether a finding is why an animal is not in order; one that asks for a document is where none of its kinds suffices."""
    if finding.bearing is Bearing.NEEDS_DOCUMENT:
        return any(kinds <= set(finding.documents) for kinds in lacking)
    return finding.bearing in (Bearing.PROHIBITS, Bearing.CANNOT_DECIDE, Bearing.NEEDS_MARK)
