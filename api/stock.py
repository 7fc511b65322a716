"""The counted stock as answers and lists show it: lines with names and with the way to what is behind them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any
from urllib.parse import urlencode
from uuid import UUID, uuid5

from api.bodies import census as bodies
from domain.actions.census import Counted, Movement, Names, Specimen
from domain.records.stock import Happening
from domain.rules.lives import LifeStage, Sex, Status
from domain.rules.stock import Account, Line, total
from reports.separated import separated

Shown = dict[str, Any]

_SEXES, _STAGES, _STATUSES = (list(one) for one in (Sex, LifeStage, Status))
_SPECIMEN_TERMS = tuple(bodies.Specimen.model_fields)


@dataclass(frozen=True, slots=True)
class Asked:
    """Of which site and taxon a census or a statement is, where it is not of all that the caller reaches."""

    site_id: UUID | None
    taxon_id: UUID | None


def census_json(counted: Iterable[Counted], *, on: date, asked: Asked, names: Names) -> Shown:
    """Return a census with its totals."""
    lines = census_lines(counted, on=on, names=names)
    eggs = sum(one["number"] for one in lines if one["life_stage"] is LifeStage.EGG)
    totals = {"animals": sum(one["number"] for one in lines) - eggs, "eggs": eggs}
    totals |= {name: sum(one[name] for one in lines) for name in ("estimated", "records")}
    return {"as_of": on, **asdict(asked), "lines": lines, "totals": totals}


def census_lines(counted: Iterable[Counted], *, on: date, names: Names) -> list[Shown]:
    """Return the lines of a census in their order."""
    ordered = sorted(counted, key=lambda one: (*_place_of(one.line, names), _STATUSES.index(one.status)))
    return [
        {
            **_line_json(one.line, names),
            "status": one.status,
            "number": one.number,
            "records": one.records,
            "estimated": one.estimated,
            "trace": _trace("/v1/animals", as_of=on, **asdict(one.line), status=one.status),
        }
        for one in ordered
    ]


def census_csv(lines: Iterable[Shown], *, on: date) -> bytes:
    """Return the lines of a census as separated text."""
    return _csv({"as_of": on}, tuple(bodies.CensusLine.model_fields), lines)


def statement_json(accounts: Mapping[Line, Account], *, from_on: date, until_on: date, asked: Asked, names: Names) -> Shown:
    """Return a statement with the sums of each taxon and of all."""
    lines = statement_lines(accounts, from_on=from_on, until_on=until_on, names=names)
    of_taxa: dict[UUID, dict[Line, Account]] = defaultdict(dict)
    for line in sorted(accounts, key=lambda line: _place_of(line, names)):
        of_taxa[line.taxon_id][line] = accounts[line]
    return {
        "from_on": from_on,
        "until_on": until_on,
        **asdict(asked),
        "balances": all(one.balances for one in accounts.values()),
        "lines": lines,
        "taxa": [{**_taxon_json(taxon_id, names), **_animals_and_eggs(own)} for taxon_id, own in of_taxa.items()],
        "total": _animals_and_eggs(accounts),
    }


def statement_lines(accounts: Mapping[Line, Account], *, from_on: date, until_on: date, names: Names) -> list[Shown]:
    """Return the lines of a statement in their order."""
    return [
        {
            **_line_json(line, names),
            **_account_json(accounts[line]),
            "trace": _trace("/v1/census/movements", from_on=from_on, until_on=until_on, site_id=line.site_id, taxon_id=line.taxon_id),
        }
        for line in sorted(accounts, key=lambda line: _place_of(line, names))
    ]


def statement_csv(lines: Iterable[Shown], *, from_on: date, until_on: date) -> bytes:
    """Return the lines of a statement as separated text."""
    return _csv({"from_on": from_on, "until_on": until_on}, tuple(bodies.StatementLine.model_fields), lines)


def movement_json(one: Movement, *, names: Names) -> Shown:
    """Return a movement with the lines and columns that it is entered in."""
    return {
        "on": one.place.on,
        "kind": one.place.happening,
        "event_kind": one.event_kind,
        "id": one.place.id,
        "animal_id": one.animal_id,
        "tag": one.tag,
        "number": one.number,
        "entries": [{**_line_json(entry.line, names), "column": entry.column} for entry in one.entries],
        "trace": _trace_of(one),
    }


def specimen_json(one: Specimen, *, on: date, institution: str) -> Shown:
    """Return a record of a census as Darwin Core's terms name its facts.

    What it says is so on the day alone: the day is part of ``occurrenceID``, while ``organismID`` stays. Where they are is said no more
    exactly than by the site.
    """
    return {
        "occurrenceID": uuid5(one.animal_id, on.isoformat()).urn,
        "basisOfRecord": "LivingSpecimen",
        "occurrenceStatus": "present",
        "eventDate": on,
        "institutionCode": institution,
        "catalogNumber": one.tag,
        "organismID": one.animal_id.urn,
        "organismName": one.name,
        "scientificName": one.scientific_name,
        "scientificNameAuthorship": one.name_authorship,
        "taxonRank": one.rank,
        "vernacularName": one.common_name,
        "individualCount": one.number,
        "sex": one.sex,
        "lifeStage": one.life_stage,
        "degreeOfEstablishment": None if one.status is Status.MISSING else "captive",
        "locationID": one.site_id and one.site_id.urn,
        "locality": one.site,
    }


def specimens_csv(items: Iterable[Shown]) -> bytes:
    """Return records as separated text under Darwin Core's terms."""
    return _csv({}, _SPECIMEN_TERMS, items)


def _line_json(line: Line, names: Names) -> Shown:
    return {
        "site_id": line.site_id,
        "site": line.site_id and names.sites[line.site_id],
        **_taxon_json(line.taxon_id, names),
        "sex": line.sex,
        "life_stage": line.life_stage,
    }


def _taxon_json(taxon_id: UUID, names: Names) -> Shown:
    found = names.taxa[taxon_id]
    return {"taxon_id": taxon_id, "scientific_name": found.scientific_name, "common_name": found.common_name}


def _place_of(line: Line, names: Names) -> tuple[Any, ...]:
    """Return where a line stands: by scientific name, site, sex and stage of life; what is at no site comes last."""
    site = "" if line.site_id is None else names.sites[line.site_id]
    return (
        names.taxa[line.taxon_id].scientific_name,
        line.taxon_id,
        line.site_id is None,
        site,
        str(line.site_id),
        _SEXES.index(line.sex),
        _STAGES.index(line.life_stage),
    )


def _account_json(account: Account) -> Shown:
    return {**asdict(account), "reckoned": account.reckoned, "balances": account.balances}


def _animals_and_eggs(accounts: Mapping[Line, Account]) -> Shown:
    eggs = [account for line, account in accounts.items() if line.life_stage is LifeStage.EGG]
    animals = [account for line, account in accounts.items() if line.life_stage is not LifeStage.EGG]
    return {"animals": _account_json(total(animals)), "eggs": _account_json(total(eggs))}


def _trace_of(one: Movement) -> str:
    animal = f"/v1/animals/{one.animal_id}"
    if one.place.happening is Happening.EVENT:
        return f"{animal}/events/{one.place.id}"
    if one.place.happening is Happening.TURNED:
        return _trace(f"{animal}/states", as_of=one.place.on)
    return f"{animal}/placements/{one.place.id}"


def _trace(path: str, **asked: object) -> str:
    return f"{path}?{urlencode({name: value for name, value in asked.items() if value is not None})}"


def _csv(about: Mapping[str, object], columns: Sequence[str], rows: Iterable[Shown]) -> bytes:
    return separated((*about, *columns), ((*about.values(), *(row[name] for name in columns)) for row in rows))
