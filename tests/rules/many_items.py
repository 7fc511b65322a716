"""Many items' facts as one set of columns, as the night reads them."""

from __future__ import annotations

from dataclasses import fields

import numpy as np

from domain.rules.output import OutputReadings
from domain.rules.run_hours import Pieces
from domain.rules.service_life import ServiceColumns


def together(items: list[ServiceColumns]) -> ServiceColumns:
    """Return the items as one set of columns: pieces padded to the widest, readings numbered anew."""
    width = max(one.pieces.starts.shape[1] for one in items)
    padding = [((0, 0), (0, width - one.pieces.starts.shape[1])) for one in items]
    starts = [np.pad(one.pieces.starts, pad, constant_values=np.datetime64("NaT", "D")) for one, pad in zip(items, padding, strict=True)]
    hours = [np.pad(one.pieces.hours, pad, constant_values=np.nan) for one, pad in zip(items, padding, strict=True)]
    readings = OutputReadings(
        np.concatenate([np.full(len(one.readings.item), i) for i, one in enumerate(items)]),
        np.concatenate([one.readings.measured_on for one in items]),
        np.concatenate([one.readings.value for one in items]),
    )
    plain = {field.name for field in fields(ServiceColumns)} - {"pieces", "readings"}
    columns = {name: np.concatenate([getattr(one, name) for one in items]) for name in plain}
    return ServiceColumns(**columns, pieces=Pieces(np.concatenate(starts), np.concatenate(hours)), readings=readings)
