"""Cells to simulate with: a smooth curve of lithium polymer, a series resistance and two pairs."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tracker.physics.cell_circuit import CellKind, Cells, CellTables, Heating, cell_tables

FloatArray = NDArray[np.float64]

PAIR_S = (12.0, 240.0)


def rested_v(soc: FloatArray) -> FloatArray:
    """Rested voltage of a made-up cell: 4.20 V full, 3.74 V at half, steep below a tenth."""
    return np.asarray(3.45 + 0.6 * soc + 0.15 * soc**6 - 0.5 * np.exp(-30.0 * soc))


def rise(soc: FloatArray) -> FloatArray:
    """Factor on the resistances, growing towards empty."""
    return np.asarray(1.0 + 1.5 * np.exp(-12.0 * soc))


def tables(even: bool = False) -> CellTables:
    """Tables of the made-up cell; `even`: the resistances do not depend on the charge."""
    return cell_tables(rested_v, None if even else rise, (None, None) if even else (rise, None))


def kind(even: bool = False, energy_j_mol: float = 30e3) -> CellKind:
    """Kind of the made-up cell."""
    return CellKind(tables(even), PAIR_S, energy_j_mol, (energy_j_mol, 0.5 * energy_j_mol), (0.0, 0.5 * energy_j_mol))


def cells(shape: tuple[int, ...] = (1,), even: bool = False, heating: Heating | None = None) -> Cells:
    """Cells alike of 5 Ah: 4 milliohm in series, pairs of 2 and 3 milliohm."""
    pair_ohm = np.stack([np.full(shape, 2e-3), np.full(shape, 3e-3)])
    return Cells(kind(even), np.full(shape, 5.0), np.full(shape, 4e-3), pair_ohm, heating)
