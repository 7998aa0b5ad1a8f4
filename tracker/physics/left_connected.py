"""A pack left plugged in after the motors have stopped: how long what still draws takes to bring a cell to its floor."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tracker.errors import InputError
from tracker.physics.cell_circuit import CellTables
from tracker.physics.load_voltage import arrhenius_factor
from tracker.physics.pack_draws import PackDraws

FloatArray = NDArray[np.float64]


def soc_at(tables: CellTables, voltage_v: ArrayLike) -> FloatArray:
    """State of charge at a rested voltage.

    Parameters
    ----------
    tables : CellTables
        The tables [1]
    voltage_v : ArrayLike
        Rested voltage, any shape with one curve, shape (cells, draws) with one a draw [V]

    Returns
    -------
    FloatArray
        State of charge, no further out than the ends of the table [1]

    References
    ----------
    .. [1] No source: the table read the other way.
    """
    volts = np.asarray(voltage_v, dtype=np.float64)
    # A curve that is flat or dips somewhere is read at its last point there.
    rising = np.maximum.accumulate(tables.ocv_v, axis=-1)
    if rising.ndim == 1:
        return np.interp(volts, rising, tables.soc)
    last = rising.shape[-1] - 1
    below = np.stack([np.count_nonzero(rising <= row[:, None], axis=1) for row in np.atleast_2d(volts)])
    upper = np.clip(below, 1, last)
    draws = np.arange(len(rising))
    low_v, high_v = rising[draws, upper - 1], rising[draws, upper]
    part = np.clip((np.atleast_2d(volts) - low_v) / np.where(high_v > low_v, high_v - low_v, 1.0), 0.0, 1.0)
    return np.asarray(tables.low + (upper - 1 + part) * (tables.high - tables.low) / last).reshape(volts.shape)


def hours_to_floor(pack: PackDraws, soc: ArrayLike, drain_a: float, floor_v: float) -> FloatArray:
    """Hours until the first cell of a pack left plugged in comes to its floor.

    Parameters
    ----------
    pack : PackDraws
        The pack's versions; their own charge is not looked at [1]
    soc : ArrayLike
        Charge of each cell as the pack is left, shape (draws, cells) [1]
    drain_a : float
        What goes on flowing [A]
    floor_v : float
        Voltage of a cell not to go below [V]

    Returns
    -------
    FloatArray
        Hours, 0 where a cell is there already, infinity without a drain, shape (draws,) [h]

    Notes
    -----
    Charge above the floor over current. The drain's own sag, a few millivolts, is taken with the resistances at the floor.

    References
    ----------
    .. [1] No source: a balance of charge.
    """
    if not (np.isfinite(drain_a) and drain_a >= 0):
        raise InputError(f"The current that goes on flowing is {drain_a:g} A; it must be 0 or more.")
    left = np.asarray(soc, dtype=np.float64)
    if left.shape != np.shape(pack.capacity_ah):
        raise InputError(f"The charges have shape {left.shape} for packs of {np.shape(pack.capacity_ah)}; give one a cell.")
    if drain_a == 0:
        return np.full(pack.draws, np.inf)
    floor_soc = soc_at(pack.kind.tables, np.full(left.T.shape, floor_v)).T
    sag_v = drain_a * _slow_ohm(pack, floor_soc)
    floor_soc = soc_at(pack.kind.tables, (floor_v + sag_v).T).T
    above_ah = (left - floor_soc) * np.asarray(pack.capacity_ah)
    return np.asarray(np.maximum(above_ah, 0.0).min(axis=1) / drain_a)


def _slow_ohm(pack: PackDraws, soc: FloatArray) -> FloatArray:
    """Resistance to a current that has long flowed, shape (draws, cells)."""
    kind, tables, kelvin = pack.kind, pack.kind.tables, np.asarray(pack.temperature_k, dtype=np.float64)
    energies = (kind.r0_energy_j_mol, *(kind.pair_energy_j_mol or (0.0,) * len(kind.pair_s)))
    total = np.zeros_like(soc)
    for ohm, factor, energy in zip((pack.r0_ohm, *pack.pair_ohm), (tables.r0_factor, *tables.pair_factor), energies, strict=True):
        colder = np.broadcast_to(arrhenius_factor(kelvin, energy), pack.draws)[:, None]
        total += ohm * np.interp(soc, tables.soc, factor) * colder
    return total
