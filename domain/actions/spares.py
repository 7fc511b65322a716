"""Counting spares."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from domain.actions.recording import Ending, corrected, current, ended, recorded, referred
from domain.actions.sites import today_at
from domain.records.equipment import EquipmentModel, Spare, SpareStated
from domain.records.sites import Site
from domain.records.stated import merged
from domain.records.unit import Unit
from domain.rules.text import same_name


def register_spare(unit: Unit, stated: SpareStated, *, record_id: UUID | None = None) -> Spare:
    """Register the spares of a model on a shelf and return them."""
    _check_references(unit, stated)
    return recorded(unit, Spare, stated, record_id=record_id, shelf_key=same_name(stated.shelf))


def change_spare(unit: Unit, spare_id: UUID, patch: Mapping[str, Any], *, expected_version: int) -> Spare:
    """Apply a count or a correction to spares and return them."""
    found = current(unit, Spare, spare_id, expected_version=expected_version)
    stated = merged(SpareStated, found, patch)
    _check_references(unit, stated)
    return corrected(unit, found, stated, shelf_key=same_name(stated.shelf))


def end_spare(unit: Unit, spare_id: UUID, ending: Ending) -> Spare:
    """End a shelf's count of a model and return it."""
    found = unit.fetch(Spare, spare_id)
    return ended(unit, found, ending, today=today_at(unit, unit.fetch(Site, found.site_id)))


def _check_references(unit: Unit, stated: SpareStated) -> None:
    referred(unit, Site, stated.site_id, field="site_id")
    referred(unit, EquipmentModel, stated.model_id, field="model_id")
