"""Packs of published cells driven down until their loaded total falls to a cutoff: what the cells had come to by then.

Nothing of the project is used: the cells' voltages are tables from a physics-based library (see `cell_tables`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.tracker.estimators.cell_tables import CellTable, FloatArray

DEPTHS = np.linspace(0.3, 1.03, 147)
"""Depths looked at; nothing comes near a cutoff before."""
FULL_SD_SOC, CELL_FULL_SD_SOC = 0.004, 0.002


@dataclass(frozen=True, kw_only=True, slots=True)
class Drive:
    """One drive of one pack, from full."""

    capacity_ah: FloatArray
    """Of each cell."""
    mean_a: float
    burst_a: float
    pack_k: float
    trip_v: float
    """Where the controller really lets go."""
    worse: float = 1.0
    """Resistance over that of the published cell."""


def lowest_cell_v(table: CellTable, drive: Drive, chance: np.random.Generator) -> float:
    """Lowest voltage of any cell until the total of all, in a burst of throttle, is at the trip, or the table at its end."""
    count = len(drive.capacity_ah)
    full = np.minimum(1.0, 1.0 - abs(chance.normal(0.0, FULL_SD_SOC)) + chance.normal(0.0, CELL_FULL_SD_SOC, count))
    soc = full[:, None] - DEPTHS[None, :] * drive.capacity_ah.mean() / drive.capacity_ah[:, None]
    rate = np.broadcast_to((drive.mean_a / drive.capacity_ah)[:, None], soc.shape)
    open_v = table.open_v(soc, drive.pack_k)
    loaded_v = table.loaded_v(rate, soc, drive.pack_k)
    steady_v = open_v - drive.worse * (open_v - loaded_v)
    at_once_v = drive.worse * np.maximum(table.rested_v(rate, soc, drive.pack_k, 1.0) - loaded_v, 0.0)
    burst_v = steady_v - (drive.burst_a / drive.mean_a - 1.0) * at_once_v
    total_v = burst_v.sum(axis=0)
    falls = np.flatnonzero(total_v < drive.trip_v)
    if not len(falls) or falls[0] == 0:
        return float(burst_v[:, : falls[0] + 1 if len(falls) else None].min())
    last = int(falls[0])
    # Between two depths looked at: cells go over an edge there, and the depth after it would be too deep.
    part = (total_v[last - 1] - drive.trip_v) / (total_v[last - 1] - total_v[last])
    at_trip_v = burst_v[:, last - 1] + part * (burst_v[:, last] - burst_v[:, last - 1])
    return float(min(burst_v[:, :last].min(), at_trip_v.min()))
