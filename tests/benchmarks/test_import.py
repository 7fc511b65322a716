"""Importing a long equipment list, against reading its cells alone."""

from __future__ import annotations

import csv
import gc
import os
from contextlib import closing
from datetime import date, timedelta
from io import BytesIO, StringIO
from time import perf_counter

import pytest
import xlsxwriter
from python_calamine import CalamineWorkbook

from api.importing import ImportOptions, import_file
from domain.records.engine import open_store
from domain.records.nights import ImportKind
from tests import makers
from tests.benchmarks.collection import MODELS, lay_out
from tests.benchmarks.figures import Figure, median

pytestmark = [pytest.mark.benchmark, pytest.mark.timeout(3600)]

ROWS = min(100_000, int(os.environ.get("REEDBED_BENCHMARK_ITEMS", "100000")))
ROUNDS = 3
TARGET = 2.0
HEADINGS = ("tag", "site", "model", "position", "serial", "installed_on", "hours_per_day")


@pytest.mark.parametrize("form", ["xlsx", "csv"])
def test_every_row_of_a_long_list_is_imported(form, house, figures):
    content, file_name = written(form), f"list.{form}"
    url = house.new()
    lay_out(url)
    dry, cells = [], []
    with closing(open_store(url, pool_size=2)) as store:
        for _ in range(ROUNDS):
            cells.append(timed(lambda: CELLS_OF[form](content))[0])
            dry.append(timed(lambda: imported(store, content, file_name=file_name, dry_run=True)))
        full_s, full = timed(lambda: imported(store, content, file_name=file_name, dry_run=False))
        again_s, again = timed(lambda: imported(store, content, file_name=file_name, dry_run=False))

    assert len(CELLS_OF[form](content)) == ROWS + 1
    assert [report.created for _, report in dry] == [ROWS] * ROUNDS
    assert (full.created, full.refused, full.written) == (ROWS, 0, True)
    assert (again.created, again.changed, again.unchanged) == (0, 0, ROWS)
    cells_s, dry_s = median(cells), median([seconds for seconds, _ in dry])
    for name, seconds in (("dry run", dry_s), ("full", full_s), ("again, unchanged", again_s)):
        figures.add(
            Figure(
                f"import of {ROWS} rows, {form}, {name}", house.name, f"{seconds:.2f} s", f"{cells_s:.2f} s", ratio=seconds / cells_s,
                target=TARGET, at_most=True, note="against reading the cells alone",
            )
        )  # fmt: skip


def imported(store, content, *, file_name, dry_run):
    options = ImportOptions(dry_run=dry_run)
    return import_file(store, content, file_name=file_name, kind=ImportKind.EQUIPMENT, origin=makers.origin(), options=options)


def timed(act):
    gc.collect()
    began = perf_counter()
    result = act()
    return perf_counter() - began, result


def rows():
    for number in range(ROWS):
        yield (
            f"RE-{number:06}",
            "Reedmere House",
            f"Halden lamp {number % MODELS:03}",
            f"{number % 400:03}-A",
            f"S{number:08}",
            date(2019, 1, 1) + timedelta(days=number * 7 % 2500),
            (6.0, 8.0, 10.5, 12.0)[number % 4],
        )


def written(form):
    return workbook() if form == "xlsx" else separated()


def workbook():
    file = BytesIO()
    with xlsxwriter.Workbook(file, {"default_date_format": "yyyy-mm-dd"}) as book:
        sheet = book.add_worksheet()
        sheet.write_row(0, 0, HEADINGS)
        for number, row in enumerate(rows(), start=1):
            sheet.write_row(number, 0, row)
    return file.getvalue()


def separated():
    text = StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(HEADINGS)
    writer.writerows(rows())
    return text.getvalue().encode()


def workbook_cells(content):
    with CalamineWorkbook.from_filelike(BytesIO(content)) as book:
        return book.get_sheet_by_index(0).to_python()


def separated_cells(content):
    return list(csv.reader(StringIO(content.decode(), newline="")))


CELLS_OF = {"xlsx": workbook_cells, "csv": separated_cells}
