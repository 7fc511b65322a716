"""Hours a day as a list states them, beside a run schedule that may say more."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from domain.actions.imports.sheet import Sheet


def constant_schedule(hours_per_day: float) -> list[dict[str, Any]]:
    """Return the run schedule of an item that has always run so long a day [h/day]."""
    return [{"starts_on": None, "hours_per_day": hours_per_day, "seasons": []}]


def schedule_said(sheet: Sheet, position: int, old: Mapping[str, Any]) -> dict[str, Any]:
    """Return the run schedule that a row states of a known item; nothing where the one on record stays.

    A richer schedule stays where one of its periods has the hours that the list states, and where it goes by season, which one number
    cannot contradict; the latter is noted.
    """
    hours = sheet.column("hours_per_day")[position]
    if hours is None:
        return {}
    periods = old["run_schedule"]
    if any(period["seasons"] for period in periods):
        sheet.notice(position, "hours_per_day", "run_schedule-kept", "the item's schedule by season stays as it is")
        return {}
    if any(period["hours_per_day"] == hours for period in periods):
        return {}
    return {"run_schedule": constant_schedule(hours)}
