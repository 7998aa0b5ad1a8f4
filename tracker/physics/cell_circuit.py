"""What a cell is made of in the circuit that stands for it, and where it stands: tables, sizes and states."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tracker.errors import InputError
from tracker.physics.load_voltage import REFERENCE_K

FloatArray = NDArray[np.float64]
Curve = Callable[[FloatArray], FloatArray]

_POINTS = 2201
_LOW, _HIGH = -0.05, 1.05


@dataclass(frozen=True, slots=True, eq=False)
class CellTables:
    """What of a cell depends on its charge, on an even grid of states of charge.

    Attributes
    ----------
    low, high : float
        Ends of the grid; beyond them the outermost stretch goes straight on [1]
    ocv_v : FloatArray
        Rested voltage, shape (points,) for all cells alike or (curves, points), then one curve each for the last axis of the cells [V]
    r0_factor : FloatArray
        Factor on the series resistance, shape (points,) [1]
    pair_factor : FloatArray
        Factor on each pair's resistance, shape (pairs, points) [1]
    ocv_rows : tuple[FloatArray, FloatArray]
        Rested voltages and how much each rises to the next of its curve, in one row with all curves' values at one point together [V]
    """

    low: float
    high: float
    ocv_v: FloatArray
    r0_factor: FloatArray
    pair_factor: FloatArray
    ocv_rows: tuple[FloatArray, FloatArray] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "ocv_rows", with_rises(self.ocv_v))

    @property
    def soc(self) -> FloatArray:
        """The grid [1]."""
        return np.linspace(self.low, self.high, self.ocv_v.shape[-1])


def cell_tables(
    ocv: Curve, r0_factor: Curve | None = None, pair_factors: Sequence[Curve | None] = (None, None), points: int = _POINTS
) -> CellTables:
    """Tables from functions of the state of charge.

    Parameters
    ----------
    ocv : Curve
        Rested voltage, from shape (points,) to the same or to (curves, points) [V]
    r0_factor : Curve, optional
        Factor on the series resistance; 1 when left out [1]
    pair_factors : Sequence[Curve | None]
        Factor on the resistance of each pair, one entry a pair; 1 for None [1]
    points : int
        Points of the grid from -0.05 to 1.05 [1]

    Returns
    -------
    CellTables
        The tables [1]

    References
    ----------
    .. [1] No source: a definition.
    """
    soc = np.linspace(_LOW, _HIGH, points)
    even = np.ones(points)
    factors = [even if curve is None else np.asarray(curve(soc), dtype=np.float64) for curve in (r0_factor, *pair_factors)]
    voltage_v = np.asarray(ocv(soc), dtype=np.float64)
    for what, values in (("rested voltage", voltage_v), ("resistance factors", np.asarray(factors))):
        if values.shape[-1:] != (points,) or not np.all(np.isfinite(values)):
            raise InputError(f"The {what} must be a finite number at each of the {points} states of charge from {_LOW:g} to {_HIGH:g}.")
    return CellTables(_LOW, _HIGH, voltage_v, factors[0], np.asarray(factors[1:]).reshape(-1, points))


def with_rises(table: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Values in one row, and by how much each rises to the next of its own curve.

    Parameters
    ----------
    table : FloatArray
        Values, shape (points,) or (curves, points) [1]

    Returns
    -------
    values, rises : FloatArray
        All curves' values at one point lie together, as the cells that ask for them stand at much the same charge [1]

    References
    ----------
    .. [1] No source: a definition.
    """
    values = np.ascontiguousarray(table.T)
    rises = np.zeros_like(values)
    np.subtract(values[1:], values[:-1], out=rises[:-1])
    return values.reshape(-1), rises.reshape(-1)


@dataclass(frozen=True, slots=True, eq=False)
class CellKind:
    """What all the cells of a simulation share.

    Attributes
    ----------
    tables : CellTables
        What depends on the charge
    pair_s : tuple[float, ...]
        Time constant of each pair at 25 °C [s]
    r0_energy_j_mol : float
        Activation energy of the series resistance [J/mol]
    pair_energy_j_mol : tuple[float, ...]
        That of each pair's resistance [J/mol]
    pair_time_energy_j_mol : tuple[float, ...]
        That of each pair's time constant; 0 where cold makes the capacitor as much smaller as the resistor larger [J/mol]
    """

    tables: CellTables
    pair_s: tuple[float, ...]
    r0_energy_j_mol: float = 0.0
    pair_energy_j_mol: tuple[float, ...] = ()
    pair_time_energy_j_mol: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        pairs = len(self.tables.pair_factor)
        for what, values in (
            ("time constants", self.pair_s),
            ("energies", self.pair_energy_j_mol),
            ("energies", self.pair_time_energy_j_mol),
        ):
            if len(values) != pairs and (values or what == "time constants"):
                raise InputError(f"There are {len(values)} {what} for {pairs} pairs; give one each.")
        if any(not second > 0 for second in self.pair_s):
            raise InputError(f"The time constants are {self.pair_s}; they must be above 0.")


@dataclass(frozen=True, slots=True, eq=False)
class Heating:
    """How a cell warms: one lump of heat capacity that loses heat to the air.

    Attributes
    ----------
    heat_capacity_j_k : float
        Heat capacity of one cell [J/K]
    cooling_w_k : float
        Heat lost for each kelvin above the air [W/K]
    air_k : float
        Temperature of the air [K]
    """

    heat_capacity_j_k: float
    cooling_w_k: float
    air_k: float

    def __post_init__(self) -> None:
        if not (self.heat_capacity_j_k > 0 and self.cooling_w_k > 0 and self.air_k > 0):
            raise InputError("Heat capacity, cooling and the temperature of the air must be above 0.")


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """Cells of one kind, each with its own size and resistances.

    Attributes
    ----------
    kind : CellKind
        What they share
    capacity_ah : FloatArray
        Charge from full to empty, any shape S [Ah]
    r0_ohm : FloatArray
        Series resistance at 25 °C where its factor is 1, shape S [ohm]
    pair_ohm : FloatArray
        Resistance of each pair likewise, shape (pairs, \\*S) [ohm]
    heating : Heating, optional
        How they warm; the temperature stays as it is when left out
    """

    kind: CellKind
    capacity_ah: FloatArray
    r0_ohm: FloatArray
    pair_ohm: FloatArray
    heating: Heating | None = None

    def __post_init__(self) -> None:
        shape, pairs = np.shape(self.capacity_ah), len(self.kind.pair_s)
        if np.shape(self.r0_ohm) != shape or np.shape(self.pair_ohm) != (pairs, *shape):
            raise InputError(f"Series resistances of shape {shape} and pair resistances of shape {(pairs, *shape)} are needed, one a cell.")
        if not (
            np.all(np.asarray(self.capacity_ah) > 0) and np.all(np.asarray(self.r0_ohm) >= 0) and np.all(np.asarray(self.pair_ohm) >= 0)
        ):
            raise InputError("Capacities must be above 0 and resistances not below 0.")
        curves = self.kind.tables.ocv_v.shape[:-1]
        if curves and curves != shape[-1:]:
            raise InputError(
                f"There are {curves[0]} voltage curves for {shape[-1:]} cells along the last axis; give one each or one for all."
            )


@dataclass(frozen=True, slots=True, eq=False)
class CellState:
    """Where cells stand.

    Attributes
    ----------
    soc : FloatArray
        State of charge, shape S [1]
    pair_v : FloatArray
        Voltage over each pair, shape (pairs, \\*S) [V]
    temperature_k : FloatArray
        Temperature, a shape that broadcasts with S [K]
    """

    soc: FloatArray
    pair_v: FloatArray
    temperature_k: FloatArray


def rested(cells: Cells, soc: ArrayLike, temperature_k: ArrayLike = REFERENCE_K) -> CellState:
    """State of cells that have rested long.

    Parameters
    ----------
    cells : Cells
        The cells [1]
    soc : ArrayLike
        State of charge, a shape that broadcasts with the cells [1]
    temperature_k : ArrayLike
        Temperature, one for all or a shape that broadcasts with the cells [K]

    Returns
    -------
    CellState
        Nothing left over the pairs [V]

    References
    ----------
    .. [1] No source: a definition.
    """
    charge = np.broadcast_to(np.asarray(soc, dtype=np.float64), np.shape(cells.capacity_ah)).copy()
    kelvin = np.asarray(temperature_k, dtype=np.float64)
    if not np.all(np.isfinite(charge)) or not np.all(kelvin > 0):
        raise InputError("The states of charge must be numbers and the temperatures above 0 K.")
    return CellState(charge, np.zeros(np.shape(cells.pair_ohm)), kelvin)


def settled_voltage(tables: CellTables, soc: ArrayLike) -> FloatArray:
    """Rested voltage at a state of charge.

    Parameters
    ----------
    tables : CellTables
        The tables [1]
    soc : ArrayLike
        State of charge, shape S whose last axis is that of the curves where there are several [1]

    Returns
    -------
    FloatArray
        Rested voltage, shape S [V]

    References
    ----------
    .. [1] No source: straight lines between the points of the table.
    """
    charge = np.asarray(soc, dtype=np.float64)
    points = tables.ocv_v.shape[-1]
    place = (charge - tables.low) * ((points - 1) / (tables.high - tables.low))
    index = np.clip(place, 0, points - 2).astype(np.intp)
    part = place - index
    if tables.ocv_v.ndim > 1:
        index = index + np.arange(len(tables.ocv_v)) * points
    flat = tables.ocv_v.reshape(-1)
    return np.asarray(flat[index] + part * (flat[index + 1] - flat[index]))
