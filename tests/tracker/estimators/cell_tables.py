"""Published cells tabulated once from a physics-based cell library: open circuit, under load, and at rest after load.

Nothing of the project is used: the cells' physics is the library's single-particle model with electrolyte, with the
parameters of published cells, each charged to 4.2 V and taken to be empty at the open-circuit voltage given here.
The tables are kept beside this file, for they take minutes; a test holds them against the library. To make them anew, after
anything here or in the library has changed: python -m tests.tracker.estimators.cell_tables
"""

from __future__ import annotations

import os

os.environ.setdefault("PYBAMM_DISABLE_TELEMETRY", "true")  # before the import, which would otherwise look for a network

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import RegularGridInterpolator

FloatArray = NDArray[np.float64]

FULL_V = 4.2
LOWEST_V = 1.8
"""Where a simulated drive stops: well below any floor, so that runs below a floor can be told."""
CELSIUS_K = 273.15
TEMPERATURES_K = np.array([8.0, 18.0, 28.0, 37.0]) + CELSIUS_K
"""At rest, where little depends on it."""
LOADED_TEMPERATURES_K = np.linspace(8.0, 37.0, 8) + CELSIUS_K
RATES, LOADED_RATES = 4, 12
"""How many currents are tabulated for each cell."""
SOCS = np.array([-0.03, 0.0, 0.03, 0.06, 0.10, 0.15, 0.22, 0.30, 0.40, 0.50, 0.60, 0.70, 0.80, 0.95])
FINE_SOCS = np.linspace(-0.05, 1.0, 211)
VOLTS = np.linspace(4.2, LOWEST_V, 241)
ARRAYS = ("rates", "open_v", "loaded_rates", "loaded_soc", "rested_deficit_v")
RESTS_S = np.array([1.0, 60.0, 300.0, 600.0, 1200.0, 2400.0, 3600.0, 7200.0])


@dataclass(frozen=True, kw_only=True, slots=True)
class PublishedCell:
    """A published cell: its parameters in the library, its chemistry here, where it is empty, and how hard it is driven."""

    parameters: str
    chemistry: str
    empty_v: float
    gentlest_c: float
    hardest_c: float
    in_chemistry_file: bool
    """Whether its open-circuit curve is among those its chemistry's curve is drawn from."""


CELLS = (
    PublishedCell(parameters="Marquis2019", chemistry="lipo", empty_v=3.0, gentlest_c=1.0, hardest_c=3.0, in_chemistry_file=False),
    PublishedCell(parameters="Mohtat2020", chemistry="lipo", empty_v=3.0, gentlest_c=1.0, hardest_c=3.0, in_chemistry_file=True),
    PublishedCell(parameters="Ai2020", chemistry="lipo", empty_v=3.0, gentlest_c=0.8, hardest_c=2.5, in_chemistry_file=True),
    PublishedCell(parameters="Ecker2015", chemistry="lipo", empty_v=3.0, gentlest_c=1.0, hardest_c=3.0, in_chemistry_file=False),
    PublishedCell(parameters="Chen2020", chemistry="liion", empty_v=2.5, gentlest_c=0.6, hardest_c=1.5, in_chemistry_file=True),
    PublishedCell(parameters="NCA_Kim2011", chemistry="liion", empty_v=2.7, gentlest_c=1.0, hardest_c=3.0, in_chemistry_file=True),
    PublishedCell(parameters="ORegan2022", chemistry="liion", empty_v=2.5, gentlest_c=0.3, hardest_c=1.0, in_chemistry_file=False),
)
"""OKane2022 is left out: it has the half-cell potentials of Chen2020 and would count the same cell twice."""


class CellTable:
    """One published cell: voltages as functions of state of charge, C rate, temperature and rest."""

    def __init__(self, cell: PublishedCell, arrays: dict[str, FloatArray]) -> None:
        self.cell = cell
        self._open = _interpolator((TEMPERATURES_K, FINE_SOCS), arrays["open_v"])
        # Along the charge rather than along the voltage: where a curve falls off a cliff, the mean of two curves is no curve.
        self._loaded = _interpolator((LOADED_TEMPERATURES_K, np.log(arrays["loaded_rates"])), arrays["loaded_soc"])
        rested = (TEMPERATURES_K, np.log(arrays["rates"]), SOCS, np.log(RESTS_S))
        self._rested = _interpolator(rested, arrays["rested_deficit_v"])

    def open_v(self, soc: ArrayLike, temperature_k: float) -> FloatArray:
        """Open-circuit voltage [V]."""
        return _ask(self._open, temperature_k, np.asarray(soc, dtype=np.float64))

    def loaded_v(self, c_rate: ArrayLike, soc: ArrayLike, temperature_k: float) -> FloatArray:
        """Voltage at the end of a steady drive from full at `c_rate` that ends at `soc` [V]."""
        rates, states = np.broadcast_arrays(np.asarray(c_rate, dtype=np.float64), np.asarray(soc, dtype=np.float64))
        asked, place = np.unique(rates, return_inverse=True)
        curves = self._loaded(np.stack([np.full(asked.size, temperature_k), np.log(asked)], axis=-1))
        found = np.empty(states.shape)
        for number, curve in enumerate(curves):
            here = place.reshape(states.shape) == number
            found[here] = np.interp(-states[here], -curve, VOLTS)
        return found

    def rested_v(self, c_rate: ArrayLike, soc: ArrayLike, temperature_k: float, rest_s: float) -> FloatArray:
        """Voltage `rest_s` after a steady drive from full at `c_rate` that ended at `soc` [V]."""
        rate, state = np.broadcast_arrays(np.log(c_rate), np.asarray(soc, dtype=np.float64))
        rest = np.full(state.shape, np.log(np.clip(rest_s, RESTS_S[0], RESTS_S[-1])))
        return self.open_v(state, temperature_k) - _ask(self._rested, temperature_k, rate, np.clip(state, SOCS[0], SOCS[-1]), rest)


def _interpolator(axes: tuple[FloatArray, ...], values: FloatArray) -> RegularGridInterpolator:
    """Straight lines between the points of a grid, and on beyond its ends."""
    return RegularGridInterpolator(axes, values, bounds_error=False, fill_value=None)


def _ask(table: RegularGridInterpolator, temperature_k: float, *coordinates: FloatArray) -> FloatArray:
    points = np.stack([np.full(coordinates[0].shape, temperature_k), *coordinates], axis=-1)
    return np.asarray(table(points), dtype=np.float64).reshape(coordinates[0].shape)


class Library:
    """The library's own model of one published cell, started from full."""

    def __init__(self, cell: PublishedCell) -> None:
        import pybamm  # here, because it takes seconds and the tables that are kept do without

        values = pybamm.ParameterValues(cell.parameters)
        values.update(
            {
                "Open-circuit voltage at 100% SOC [V]": FULL_V,
                "Open-circuit voltage at 0% SOC [V]": cell.empty_v,
                "Lower voltage cut-off [V]": LOWEST_V,
                "Upper voltage cut-off [V]": FULL_V + 0.3,  # only stops a solution that starts right at it
            }
        )
        self._nominal_ah = float(values["Nominal cell capacity [A.h]"])
        for name in ("Current function [A]", "Ambient temperature [K]", "Initial temperature [K]"):
            values[name] = "[input]"
        self._simulation = pybamm.Simulation(pybamm.lithium_ion.SPMe(), parameter_values=values, solver=pybamm.IDAKLUSolver())
        self._solution: object = None
        charge_ah, open_v = self._open_circuit(TEMPERATURES_K[2])
        self.capacity_ah = float(np.interp(-cell.empty_v, -open_v, charge_ah))

    def _inputs(self, current_a: float, temperature_k: float) -> dict[str, float]:
        return {"Current function [A]": current_a, "Ambient temperature [K]": temperature_k, "Initial temperature [K]": temperature_k}

    def _open_circuit(self, temperature_k: float) -> tuple[FloatArray, FloatArray]:
        current_a = self._nominal_ah / 20.0
        solution = self._simulation.solve(
            [0.0, 40.0 * 3600.0],
            t_interp=np.linspace(0.0, 40.0 * 3600.0, 2001),
            inputs=self._inputs(current_a, temperature_k),
            initial_soc=1.0,
        )
        return solution["Discharge capacity [A.h]"].entries, solution["Bulk open-circuit voltage [V]"].entries

    def open_v(self, temperature_k: float) -> FloatArray:
        """Open-circuit voltage at `FINE_SOCS` [V]."""
        charge_ah, volts = self._open_circuit(temperature_k)
        return np.asarray(np.interp((1.0 - FINE_SOCS) * self.capacity_ah, charge_ah, volts), dtype=np.float64)

    def drive(self, c_rate: float, temperature_k: float) -> tuple[FloatArray, FloatArray]:
        """States of charge [1] and voltages [V] during a steady drive from full to the lowest voltage or beyond empty."""
        run_s = 3600.0 * 1.05 / c_rate
        solution = self._simulation.solve(
            [0.0, run_s],
            t_interp=np.linspace(0.0, run_s, 421),
            inputs=self._inputs(c_rate * self.capacity_ah, temperature_k),
            initial_soc=1.0,
        )
        return 1.0 - solution["Discharge capacity [A.h]"].entries / self.capacity_ah, solution["Terminal voltage [V]"].entries

    def rested_v(self, c_rate: float, soc: float, temperature_k: float, rests_s: FloatArray) -> FloatArray:
        """Voltages after rests that follow a steady drive from full [V]."""
        run_s = 3600.0 * (1.0 - soc) / c_rate
        driven = self._simulation.solve(
            [0.0, run_s], inputs=self._inputs(c_rate * self.capacity_ah, temperature_k), initial_soc=1.0
        )  # fmt: skip
        last_s = float(rests_s[-1])
        rested = self._simulation.step(
            last_s, t_interp=np.concatenate([[0.0], rests_s]), starting_solution=driven, inputs=self._inputs(0.0, temperature_k), save=False
        )
        return np.asarray(np.interp(rests_s, rested.t - rested.t[0], rested["Terminal voltage [V]"].entries), dtype=np.float64)


def tabulate(cell: PublishedCell) -> dict[str, FloatArray]:
    library = Library(cell)
    span = (0.6 * cell.gentlest_c, 1.25 * cell.hardest_c)
    rates, loaded_rates = np.geomspace(*span, RATES), np.geomspace(*span, LOADED_RATES)
    open_v = np.stack([library.open_v(temperature_k) for temperature_k in TEMPERATURES_K])
    drives = [[library.drive(rate, temperature_k) for rate in loaded_rates] for temperature_k in LOADED_TEMPERATURES_K]
    loaded_soc = np.array([[_soc_at(*drive) for drive in row] for row in drives])
    deficit = np.empty((len(TEMPERATURES_K), RATES, len(SOCS), len(RESTS_S)))
    for t, temperature_k in enumerate(TEMPERATURES_K):
        at_rest = np.interp(SOCS, FINE_SOCS, open_v[t])
        for c, c_rate in enumerate(rates):
            reached = np.flatnonzero(library.drive(c_rate, temperature_k)[0][-1] + 0.003 < SOCS)
            for s in reached:
                deficit[t, c, s] = at_rest[s] - library.rested_v(c_rate, SOCS[s], temperature_k, RESTS_S)
            deficit[t, c, : reached[0]] = deficit[t, c, reached[0]]  # where the drive would have stopped before
    return {"rates": rates, "open_v": open_v, "loaded_rates": loaded_rates, "loaded_soc": loaded_soc, "rested_deficit_v": deficit}


def _soc_at(soc: FloatArray, volts: FloatArray) -> FloatArray:
    """State of charge at which a drive fell to each of `VOLTS`; above its first voltage a little over full, so that it rises."""
    falling = np.minimum.accumulate(volts)
    found = np.asarray(np.interp(-VOLTS, -falling, soc, left=np.nan, right=soc[-1]), dtype=np.float64)
    above = np.isnan(found)
    found[above] = 1.0 + 1e-6 * np.arange(above.sum(), 0, -1)
    return found


KEPT = Path(__file__).with_suffix(".npz")
STEP = 1e-6
"""To which everything is rounded when kept. As whole steps from one value to the next the tables take little room."""


@cache
def table(parameters: str) -> CellTable:
    """Return the table of a published cell."""
    cell = next(each for each in CELLS if each.parameters == parameters)
    with np.load(KEPT) as steps:
        return CellTable(cell, {name: STEP * np.cumsum(steps[f"{parameters}/{name}"], axis=-1) for name in ARRAYS})


def keep() -> None:
    """Tabulate all cells anew."""
    steps = {
        f"{cell.parameters}/{name}": np.diff(np.round(values / STEP).astype(np.int32), axis=-1, prepend=0)
        for cell in CELLS
        for name, values in tabulate(cell).items()
    }
    np.savez_compressed(KEPT, allow_pickle=False, **steps)


if __name__ == "__main__":
    keep()
