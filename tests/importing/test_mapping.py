"""A mapping is understood whole or refused, line by line."""

from __future__ import annotations

import pytest

from api.importing.mapping import Mapping, read_mapping
from domain.errors import RuleBroken
from domain.records.nights import ImportKind
from tests.importing.conftest import SEED


def test_no_mapping_is_the_plain_reading():
    assert read_mapping(None, kind=ImportKind.EQUIPMENT) == read_mapping(" \n", kind=ImportKind.SITES) == Mapping()


@pytest.mark.parametrize(("name", "kind"), [("kit-list", ImportKind.EQUIPMENT), ("kit-models", ImportKind.EQUIPMENT_MODELS)])
def test_the_examples_are_understood(name, kind):
    mapping = read_mapping((SEED / f"{name}.map.toml").read_text(encoding="utf-8"), kind=kind)

    assert mapping.columns
    assert not mapping.own_headings


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ('[columns]\nfitted = "Fitted"', "[columns] fitted: there is no such column"),
        ('[colums]\ntag = "Tag"', "[colums]"),
        ('[dates]\norder = "ddmm"', "[dates] order"),
        ('[dates]\nordre = "dmy"', "[dates] ordre"),
        ('[numbers]\ndecimal = ";"', "[numbers] decimal"),
        ('[units]\nhours_per_day = "weeks"', "[units] hours_per_day: 'weeks' is none of its units: h, min"),
        ('[units]\nnote = "h"', "[units] note: this column has no unit"),
        ('[units]\nlenght_m = "cm"', "[units] lenght_m"),
        ('[defaults]\nmodell = "x"', "[defaults] modell"),
        ("[defaults]\nhours_per_day = true", "[defaults] hours_per_day"),
        ('[values]\nkind = { "Tube" = "uvb-tube" }', "[values] kind: there is no such column"),
        ('[values]\nignore = "-"', "[values] ignore"),
        ('[values]\nmodel = ["T5"]', "[values] model: should be a table"),
        ('[totals]\nword = ["Summe"]', "[totals] word"),
        ('[options]\nmissing_enclosures = "maybe"', "[options] missing_enclosures"),
        ('[options]\nencoding = "klingon"', "[options] encoding: 'klingon' is no known encoding"),
        ('[options]\nencoding = "rot13"', "[options] encoding"),
        ('[options]\nencoding = "unicode_escape"', "[options] encoding"),
        ('[options]\ndelimiter = "tab"', "[options] delimiter"),
        ("[columns\n", "it is not TOML"),
        ("x" * 100_001, "longer than"),
    ],
)
def test_a_line_that_is_not_understood_is_named(text, line):
    with pytest.raises(RuleBroken) as refused:
        read_mapping(text, kind=ImportKind.EQUIPMENT)

    assert refused.value.code == "mapping-invalid"
    assert any(line in fault.detail for fault in refused.value.faults)
    assert {fault.pointer for fault in refused.value.faults} == {"/mapping"}


def test_every_wrong_line_is_named_at_once():
    with pytest.raises(RuleBroken) as refused:
        read_mapping('[columns]\na = "A"\nb = "B"\n[defaults]\nc = 1', kind=ImportKind.EQUIPMENT)

    assert [fault.detail.split(":")[0] for fault in refused.value.faults] == ["[columns] a", "[columns] b", "[defaults] c"]


def test_a_refusal_ends_with_one_full_stop():
    with pytest.raises(RuleBroken) as refused:
        read_mapping('[dates]\norder = "ddmm"', kind=ImportKind.EQUIPMENT)

    assert refused.value.detail == "The mapping cannot be used. [dates] order: This should be one of 'dmy', 'mdy' or 'ymd'."
