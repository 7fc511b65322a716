"""What a run of output readings says: the first after burn-in, the latest, and since when output has been below its minimum."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from domain.rules.calendar import NO_DAY, Days

Indices = npt.NDArray[np.int64]
Numbers = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class OutputReadings:
    """Readings of many items, ordered by item and then by date; ``item`` is the index of the item each belongs to."""

    item: Indices
    measured_on: Days
    value: Numbers


@dataclass(frozen=True, slots=True)
class OutputSummary:
    """Per item: how many readings, the first after burn-in, the latest with its date, and the date since which readings are below."""

    count: Indices
    first: Numbers
    latest: Numbers
    latest_on: Days
    below_since: Days


def summarise(readings: OutputReadings, *, burnt_in_on: Days, minimum: Numbers, share: Numbers) -> OutputSummary:
    """Return each item's summary.

    Args:
        burnt_in_on: Date from which a reading may serve as the first; NaT where that is not known.
        minimum: Absolute minimum in the reading's own unit, NaN where there is none.
        share: Minimum as a share of the first reading after burn-in [fraction], NaN where there is none.

    A reading exactly at the minimum still holds. Readings count as below since the earliest of the unbroken run that ends with the latest.
    """
    items = len(minimum)
    count = np.bincount(readings.item, minlength=items).astype(np.int64)
    first = np.full(items, np.nan)
    ready = readings.measured_on >= burnt_in_on[readings.item]
    first[readings.item[ready][::-1]] = readings.value[ready][::-1]
    latest, latest_on = np.full(items, np.nan), np.full(items, NO_DAY)
    latest[readings.item], latest_on[readings.item] = readings.value, readings.measured_on
    limits = limit_of(minimum=minimum, share=share, first=first)
    return OutputSummary(count, first, latest, latest_on, _below_since(readings, limits))


def limit_of(*, minimum: Numbers, share: Numbers, first: Numbers) -> Numbers:
    """Return the minimum that holds, the higher of the absolute one and the share of the first reading; NaN where neither is known."""
    return np.fmax(minimum, share * first)


def _below_since(readings: OutputReadings, limits: Numbers) -> Days:
    since = np.full(limits.shape, NO_DAY)
    below = readings.value < limits[readings.item]
    starts = below & np.concatenate(([True], ~below[:-1] | (readings.item[1:] != readings.item[:-1])))[: len(below)]
    since[readings.item[starts]] = readings.measured_on[starts]
    ends = np.concatenate((readings.item[1:] != readings.item[:-1], [True]))[: len(below)]
    since[readings.item[ends & ~below]] = NO_DAY
    return since
