"""The draft of a periodic return: from what an action found to the frozen sheet that is printed."""

from __future__ import annotations

from datetime import date
from uuid import UUID

from api.animal_papers import organisation_name, paper_number
from domain.actions.periodic_return import PeriodicReturn, ReturnRow, periodic_return, return_asked
from domain.actions.sites import today_at
from domain.records.sites import Site
from domain.records.unit import Unit
from domain.rules.law.facts import TaxonFacts
from domain.rules.law.requirements import Period
from domain.rules.taxonomy import TaxonRank
from reports.periodic_return.sheet import PeriodicReturnSheet, ReturnLine, UnsureLine


def periodic_return_sheet(unit: Unit, site: Site, code: str, *, from_on: date, report_id: UUID) -> PeriodicReturnSheet:
    """Return the sheet of the return that a requirement asks for of the period which begins on a day.

    Raises:
        RuleBroken: It asks for none; see ``return_asked``.
    """
    today = today_at(unit, site)
    asked = return_asked(unit, site, code, today=today, from_on=from_on)
    found, rule = periodic_return(unit, site, asked), asked.requirement
    return PeriodicReturnSheet(
        paper_id=paper_number(today, report_id),
        organisation=organisation_name(unit),
        site=site.name,
        site_id=str(site.id),
        address=site.address,
        zone=site.zone,
        today=today,
        data_as_of=unit.origin.at,
        generated_at=unit.origin.at,
        requirement=rule.code,
        edition=rule.version,
        title=rule.title,
        instrument=rule.instrument,
        citation=rule.citation,
        jurisdiction=rule.jurisdiction,
        obligation=asked.obligation.code,
        applies_from=rule.applies_from,
        applies_until=rule.applies_until,
        period=asked.obligation.period or Period.CALENDAR_YEAR,
        from_on=asked.from_on,
        until_on=asked.until_on,
        due_on=asked.due_on,
        fields=asked.obligation.fields,
        lines=tuple(_line(row, found) for row in found.rows),
        asked_of=found.asked_of,
        missing=tuple(sorted(found.missing)),
        unsure=tuple(_unsure(found)),
        permits_on_record=len({number for row in found.rows for number in row.permit_numbers}),
    )


def _line(row: ReturnRow, found: PeriodicReturn) -> ReturnLine:
    called = found.names.taxa.get(row.taxon.id)
    return ReturnLine(
        scientific_name=row.taxon.name,
        rank=row.taxon.rank.value,
        common_name=None if called is None else called.common_name,
        group=_group(row.taxon),
        are_eggs=row.kind.are_eggs,
        sex=row.kind.sex,
        life_stage=row.kind.life_stage,
        account=row.account,
        estimated=row.estimated,
        permit_numbers=tuple(row.permit_numbers),
        transponders=tuple(row.transponders),
        without_transponder=row.without,
        taxon_ids=tuple(sorted(map(str, row.taxon_ids))),
    )


def _group(taxon: TaxonFacts) -> str | None:
    key = taxon.lineage.get(TaxonRank.CLASS) or taxon.lineage.get(TaxonRank.ORDER)
    return None if key is None else key.capitalize()


def _unsure(found: PeriodicReturn) -> list[UnsureLine]:
    names = {row.taxon.id: row.taxon.name for row in found.rows}
    lines = [UnsureLine(scientific_name=names[one], missing=tuple(sorted(missing))) for one, missing in found.unsure.items()]
    return sorted(lines, key=lambda line: line.scientific_name)
