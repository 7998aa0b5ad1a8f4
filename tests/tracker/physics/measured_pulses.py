"""Pulses of a measured pouch cell, and fitting the circuit to some of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from tests.tracker.measured import rows
from tracker.physics.cell_circuit import CellKind, Cells, cell_tables, rested
from tracker.physics.cell_model import MovingCells

FloatArray = NDArray[np.float64]

PULSE_S, REST_S = 10.0, 20.0
STEP_S = 0.5


@dataclass(frozen=True)
class Pulse:
    """One discharge pulse of 10 s and the 20 s after it."""

    soc: float
    c_rate: float
    current_a: float
    before_v: float
    first_s: float
    case_c: float
    volts: FloatArray
    """At `first_s`, 2 s and 10 s into the pulse and 20 s after it."""


def pulses(temperature_c: str = "25") -> list[Pulse]:
    """Discharge pulses of the pouch cell, or skip where the measurements are not beside this checkout."""
    return [
        Pulse(
            float(row["soc_of_measured"]),
            round(float(row["c_rate"])),
            -float(row["pulse_current_A"]),
            float(row["v_before_V"]),
            float(row["t_first_s"]),
            float(row["case_temp_degC"]),
            np.array([float(row[name]) for name in ("v_first_V", "v_2s_V", "v_10s_V", "v_20s_after_pulse_V")]),
        )
        for row in rows("pouch_lipo_5ah/hppc_resistance.csv")
        if row["temp_degC"] == temperature_c and row["direction"] == "discharge"
    ]


@dataclass(frozen=True)
class Fit:
    """Resistances on a row of states of charge, and two time constants."""

    soc: FloatArray
    r0_ohm: FloatArray
    pair_ohm: FloatArray
    pair_s: tuple[float, float]


CAPACITY_AH = 4.7059
"""Charge to 2.8 V at 0.3 C and 25 °C (the measurement's own)."""


def predicted(fit: Fit, several: list[Pulse], curve: tuple[FloatArray, FloatArray]) -> FloatArray:
    """Voltages at the four moments of each pulse, the curve lifted to the voltage before it."""

    def along(values: FloatArray) -> FloatArray:
        return np.interp([pulse.soc for pulse in several], fit.soc, values)

    soc = np.array([pulse.soc for pulse in several])
    before = np.array([pulse.before_v for pulse in several])
    kind = CellKind(cell_tables(lambda grid: np.interp(grid, *curve)), fit.pair_s)
    cells = Cells(kind, np.full(len(several), CAPACITY_AH), along(fit.r0_ohm), np.stack([along(ohm) for ohm in fit.pair_ohm]))
    moving = MovingCells(cells, rested(cells, soc))
    lift = before - moving.rested_v
    current = np.array([pulse.current_a for pulse in several])
    first_s = np.mean([pulse.first_s for pulse in several])
    found = [moving.advance(current, float(first_s))]
    for until_s, amperes, done_s in ((2.0, current, first_s), (PULSE_S, current, 2.0), (PULSE_S + REST_S, 0.0 * current, PULSE_S)):
        pieces = round(np.ceil((until_s - done_s) / STEP_S))
        for _ in range(pieces):
            volts = moving.advance(amperes, float((until_s - done_s) / pieces))
        found.append(volts)
    return np.stack(found, axis=1) + lift[:, None]


def fitted(several: list[Pulse], curve: tuple[FloatArray, FloatArray]) -> Fit:
    """Resistances at each state of charge of the pulses and two time constants, by least squares."""
    soc = np.unique(np.round([pulse.soc for pulse in several], 3))
    measured = np.stack([pulse.volts for pulse in several])

    def unpacked(logs: FloatArray) -> Fit:
        ohm = np.exp(logs[2:]).reshape(3, -1)
        return Fit(soc, ohm[0], ohm[1:], (float(np.exp(logs[0])), float(np.exp(logs[1]))))

    def misses(logs: FloatArray) -> FloatArray:
        return np.asarray((predicted(unpacked(logs), several, curve) - measured).ravel())

    start = np.log(np.concatenate([[1.0, 20.0], np.repeat([1.2e-3, 1.8e-3, 1.5e-3], len(soc))]))
    return unpacked(least_squares(misses, start).x)


def rested_curve(temperature_c: str = "25") -> tuple[FloatArray, FloatArray]:
    """Rested voltages against the state of charge, rising."""
    table = sorted(
        (float(row["soc_of_measured"]), float(row["ocv_V"]))
        for row in rows("pouch_lipo_5ah/ocv_relaxed.csv")
        if row["temp_degC"] == temperature_c
    )
    return np.array([soc for soc, _ in table]), np.array([volts for _, volts in table])
