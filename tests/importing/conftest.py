"""An organisation with the two sites of the kit list and its models, and a short way to import a list into it."""

from __future__ import annotations

import csv
from collections.abc import Callable, Sequence
from io import BytesIO, StringIO
from pathlib import Path
from typing import Any

import openpyxl
import pytest
import sqlalchemy as sa

from api.importing import ImportOptions, ImportReport, import_file
from domain.records.base import table_of
from domain.records.engine import Store
from domain.records.nights import ImportKind
from domain.records.statements import Statement
from tests import makers

DATA = Path(__file__).parent / "data"
SEED = Path(__file__).parents[2] / "seed"
KIT_MAP = (SEED / "kit-list.map.toml").read_text(encoding="utf-8")


def workbook(*rows: Sequence[Any], title: str = "Kit") -> bytes:
    """Return a workbook with these rows."""
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = title
    for row in rows:
        sheet.append(list(row))
    written = BytesIO()
    book.save(written)
    return written.getvalue()


def text(*rows: Sequence[Any], delimiter: str = ",", encoding: str = "utf-8") -> bytes:
    """Return separated text with these rows."""
    written = StringIO(newline="")
    csv.writer(written, delimiter=delimiter).writerows(rows)
    return written.getvalue().encode(encoding)


@pytest.fixture
def houses(store: Store, organisation: int) -> None:
    """Register the two sites, and the models of the list of models."""
    origin = makers.origin(organisation_id=organisation)
    with store.transaction(origin) as unit:
        makers.site(unit, name="Reedmere House", zone="Europe/Lisbon", jurisdiction="XR-LOW")
        makers.site(unit, name="Quillback Rescue", zone="Europe/London", jurisdiction="XL-S")
    models = (DATA / "kit-models.json").read_bytes()
    import_file(store, models, file_name="kit-models.json", kind=ImportKind.EQUIPMENT_MODELS, origin=origin)


@pytest.fixture
def importing(store: Store, organisation: int) -> Callable[..., ImportReport]:
    """Return a function that imports a list: content, kind, mapping, and options by name."""

    def run(
        content: bytes, *, kind: str = "equipment", mapping: str | None = None, file_name: str = "list", **options: bool
    ) -> ImportReport:
        return import_file(
            store,
            content,
            file_name=file_name,
            kind=ImportKind(kind),
            origin=makers.origin(organisation_id=organisation),
            mapping=mapping,
            options=ImportOptions(**options),
        )

    return run


@pytest.fixture
def items(importing: Callable[..., ImportReport]) -> Callable[..., ImportReport]:
    """Return a function that imports rows of equipment below some headings, the good ones in spite of the others."""

    def run(*rows: Sequence[Any], headings: Sequence[str] = ("tag", "site", "model"), **rest: Any) -> ImportReport:
        return importing(text(headings, *rows), **{"skip_invalid": True, **rest})

    return run


@pytest.fixture
def stored(store: Store) -> Callable[..., list[dict[str, Any]]]:
    """Return a function that reads all rows of a record class, in the order in which they were made."""

    def read(record: Any) -> list[dict[str, Any]]:
        table = table_of(record)
        statement = Statement(
            sa.select(table).where(table.c.organisation_id == sa.bindparam("organisation_id")).order_by(*table.primary_key.columns)
        )
        with store.snapshot(makers.origin()) as unit:
            return unit.named(statement)

    return read


@pytest.fixture
def listed(importing: Callable[..., ImportReport]) -> Callable[..., ImportReport]:
    """Return a function that imports rows below some headings as a list of a kind; one refusal means that nothing is written."""

    def run(kind: str, headings: str, *rows: Sequence[Any], **rest: Any) -> ImportReport:
        return importing(text(headings.split(), *rows), kind=kind, **rest)

    return run


@pytest.fixture
def living(store: Store, organisation: int) -> None:
    """Register two sites with enclosures, a taxon with a synonym, a member of staff, an animal in its enclosure, and a group."""
    with store.transaction(makers.origin(organisation_id=organisation)) as unit:
        reedmere = makers.site(unit)
        quillback = makers.site(unit, name="Quillback Rescue", zone="Europe/London")
        hall = makers.enclosure(unit, reedmere)
        makers.enclosure(unit, reedmere, name="Hall A 02")
        makers.enclosure(unit, quillback, name="Ward 1")
        fictiva = makers.taxon(unit)
        makers.taxon(unit, "Testudo vetusta", accepted_id=fictiva.id)
        makers.staff(unit, reedmere, name="Ada Marsh")
        makers.animal(unit, fictiva, enclosure_id=hall.id, acquired_on="2025-01-10", sex="female")
        makers.group(unit, fictiva, acquired_on="2025-01-10")


def codes(report: ImportReport) -> list[tuple[int, str, str]]:
    """Return row (from 0), column and code of every refusal."""
    return [(remark.index, remark.column, remark.code) for remark in report.refusals]


def counts(report: ImportReport) -> tuple[int, int, int, int]:
    """Return how many rows are created, changed, unchanged and refused."""
    return report.created, report.changed, report.unchanged, report.refused
