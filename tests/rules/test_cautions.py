"""The usual cautions of each kind, and those of a check."""

from __future__ import annotations

import pytest

from domain.records.equipment import EquipmentKind
from domain.rules.cautions import USUAL_CAUTIONS, cautions_for
from domain.rules.service_life import CheckKind
from reports.cautions import CATALOGUE


def test_the_usual_cautions_come_first_and_the_models_own_after_them():
    assert cautions_for("air-pump", ("water-hygiene", "isolate-supply")) == ("isolate-supply", "water-hygiene")


def test_a_kind_without_cautions_has_only_the_models_own():
    assert cautions_for("other", ("hot-surface",)) == ("hot-surface",)


def test_a_test_under_supply_is_not_told_to_isolate_first():
    assert cautions_for("residual-current-device", (), check=CheckKind.RESIDUAL_CURRENT) == ("live-test",)
    assert cautions_for("chiller", (), check=CheckKind.RESIDUAL_CURRENT) == ("live-test", "water-hygiene")
    assert cautions_for("residual-current-device", ()) == ("isolate-supply",)


def test_a_check_is_not_told_to_measure_after_fitting():
    found = cautions_for("uvb-tube", (), check=CheckKind.ELECTRICAL)

    assert "isolate-supply" in found
    assert "measure-after-fitting" not in found


@pytest.mark.parametrize("kind", sorted(USUAL_CAUTIONS))
def test_every_kind_is_one_of_ours_and_every_caution_has_its_sentence(kind):
    assert kind in {member.value for member in EquipmentKind}
    assert set(USUAL_CAUTIONS[kind]) <= set(CATALOGUE)
