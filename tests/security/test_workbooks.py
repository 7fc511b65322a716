"""What stands in the XML of a workbook names no other file and does not grow when it is read."""

from __future__ import annotations

import re
import zipfile
from io import BytesIO

import pytest

from api.importing.mapping import read_mapping
from api.importing.reading import rows_in
from domain.errors import RuleBroken
from domain.records.nights import ImportKind
from tests.importing.conftest import workbook

MARK = "Marked House"
LAUGHS = "".join(f'<!ENTITY l{one} "{f"&l{one - 1};" * 10}">' for one in range(1, 9))


def with_entity(declared, named):
    """Return a workbook whose marked cell names an entity instead."""
    changed = BytesIO()
    with zipfile.ZipFile(BytesIO(workbook(["name", "zone"], [MARK, "Europe/Lisbon"]))) as archive, zipfile.ZipFile(changed, "w") as made:
        for name in archive.namelist():
            xml = archive.read(name).decode()
            if MARK in xml:
                root = re.search(r"<([a-z]\w*)", xml)
                xml = f"{xml[: root.start()]}<!DOCTYPE {root[1]} [{declared}]>{xml[root.start() :].replace(MARK, f'&{named};')}"
            made.writestr(name, xml)
    return changed.getvalue()


def read(content):
    """Return all texts that are read, or the sentence of the refusal."""
    try:
        rows = rows_in(content, file_name="sites.xlsx", kind=ImportKind.SITES, mapping=read_mapping(None, kind=ImportKind.SITES))
    except RuleBroken as refused:
        return f"refused: {refused.detail}"
    return repr(rows.cells)


def test_a_workbook_without_entities_is_read():
    assert MARK in read(workbook(["name", "zone"], [MARK, "Europe/Lisbon"]))


def test_an_entity_brings_in_no_file(tmp_path):
    (tmp_path / "secret.txt").write_text("canary-of-the-host", encoding="utf-8")

    found = read(with_entity(f'<!ENTITY x SYSTEM "{(tmp_path / "secret.txt").as_uri()}">', "x"))

    assert "canary" not in found


@pytest.mark.timeout(10)
def test_entities_of_entities_do_not_grow():
    assert len(read(with_entity(f'<!ENTITY l0 "ha">{LAUGHS}', "l8"))) < 1000
