"""Readings cell by cell: what a reading says of each cell, and whether the pack had rested when it was taken."""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

from tracker.chemistry import Chemistry, load
from tracker.domain.pack import Pack
from tracker.domain.session import Charge, Run, Volts
from tracker.physics.rest_voltage import RestCurve, rest_curve

RESTED_S = 300.0
"""Sooner after load or charge than this a voltage is provisional: a lithium cell still lacks 10…40 mV then
(University of Colorado cell tests, LiFePO4, at 25 °C 11 mV missing after 1 min, 4 mV after 5 min)."""


class CellVoltage(NamedTuple):
    """The voltage of one cell, or the mean of all when only the pack's total was read."""

    name: str
    """Fit for the start of a sentence."""
    voltage_v: float


def per_cell(reading: Volts, pack: Pack) -> tuple[CellVoltage, ...]:
    """Return what a reading says of each cell; nothing when it is empty, does not fit the pack or is one cell's written as the total."""
    return _per_cell(reading, pack.series, pack.chemistry) if reading else ()


@lru_cache(maxsize=256)  # every rule asks for the same few readings
def _per_cell(reading: Volts, series: int, chemistry: str) -> tuple[CellVoltage, ...]:
    if len(reading) == series:
        return tuple([CellVoltage(f"Cell {number}", value) for number, value in enumerate(reading, start=1)])
    if len(reading) == 1 and not load(chemistry).is_one_cells_voltage(reading[0], series):
        return (CellVoltage("The mean of the cells", reading[0] / series),)
    return ()


def mean_v(reading: Volts, pack: Pack) -> float | None:
    """Return the mean cell voltage of a reading; None when there is none."""
    cells = per_cell(reading, pack)
    return sum(cell.voltage_v for cell in cells) / len(cells) if cells else None


def lowest(reading: Volts, pack: Pack) -> CellVoltage | None:
    """Return the lowest cell of a reading; None when there is none."""
    return min(per_cell(reading, pack), key=lambda cell: cell.voltage_v, default=None)


def rest_before_s(run: Run, charge_before: Charge | None) -> float | None:
    """Return how long the pack had rested before a run, as written down or since the charge before it."""
    if run.rest_before_s is not None or charge_before is None:
        return run.rest_before_s
    return max((run.started_at - charge_before.finished_at).total_seconds(), 0.0)


def filled(charge: Charge, pack: Pack, chemistry: Chemistry) -> bool:
    """Whether a charge filled the pack, as written down or as its end voltage shows."""
    if charge.goal is not None:
        return charge.goal == "full"
    end = mean_v(charge.end_v, pack)
    if end is None:
        return charge.put_back_ah is not None  # a charge written down with its count and nothing else is an ordinary one
    return chemistry.looks_full(end)


@lru_cache(maxsize=32)
def curve(chemistry: Chemistry) -> RestCurve:
    """Return the chemistry's rested-voltage curve."""
    return rest_curve([(make.soc, make.voltage_v) for make in chemistry.makes], chemistry["curve_spread_soc"])
