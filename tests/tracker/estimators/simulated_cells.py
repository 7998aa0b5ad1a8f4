"""Packs of two cells simulated by a physics-based cell library, written down as a person would.

Nothing of the project is used here but its records: the cells' physics is the library's single-particle model with
electrolyte, with the parameters of published cells, each charged to 4.2 V and taken as labelled with what it gives at C/20.
"""

from __future__ import annotations

import os

os.environ.setdefault("PYBAMM_DISABLE_TELEMETRY", "true")  # before the import, which would otherwise look for a network

import random
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import pybamm

from tracker.domain.pack import Pack
from tracker.domain.session import Charge, Run

FIRST_DAY = datetime(2024, 4, 6, 10, 0, tzinfo=UTC)
FULL_V = 4.2
METER_STEP_V = 0.010
METER_LIMIT_V = 0.005
"""A cell checker's step and how far its reading may lie off. Common practice, no source."""
CHARGER_LIMIT = 0.015
"""How far a hobby charger's count may lie off. Common practice, no source."""
STRONG, WEAK = 1.0, 0.95
"""Capacities of the two cells over the label."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Make:
    """A published cell: its parameters in the library, its chemistry here, and how hard its kind is driven."""

    parameters: str
    chemistry: str
    empty_v: float
    gentlest_c: float
    hardest_c: float


MAKES = (
    Make(parameters="Marquis2019", chemistry="lipo", empty_v=3.0, gentlest_c=1.0, hardest_c=3.0),
    Make(parameters="Mohtat2020", chemistry="lipo", empty_v=3.0, gentlest_c=1.0, hardest_c=3.0),
    Make(parameters="Ai2020", chemistry="lipo", empty_v=3.0, gentlest_c=1.0, hardest_c=3.0),
    Make(parameters="Ecker2015", chemistry="lipo", empty_v=3.0, gentlest_c=1.0, hardest_c=3.0),
    Make(parameters="Chen2020", chemistry="liion", empty_v=2.5, gentlest_c=0.7, hardest_c=1.5),
    Make(parameters="NCA_Kim2011", chemistry="liion", empty_v=2.7, gentlest_c=1.0, hardest_c=3.0),
)


@dataclass(frozen=True, kw_only=True, slots=True)
class SimulatedRun:
    """A run with the charge after it, and the truth about it."""

    make: Make
    pack: Pack
    run: Run
    charge_before: Charge
    charge: Charge
    used_ah: float
    soc_after: tuple[float, float]
    c_rate: float
    rest_s: float


class Cell:
    """One published cell, ready to be driven from full."""

    def __init__(self, make: Make) -> None:
        values = pybamm.ParameterValues(make.parameters)
        values.update(
            {
                "Open-circuit voltage at 100% SOC [V]": FULL_V,
                "Open-circuit voltage at 0% SOC [V]": make.empty_v,
                "Lower voltage cut-off [V]": make.empty_v,
                "Upper voltage cut-off [V]": FULL_V + 0.1,  # only stops a solution that starts right at it
            }
        )
        nominal_ah = float(values["Nominal cell capacity [A.h]"])
        values["Current function [A]"] = "[input]"
        self._simulation = pybamm.Simulation(pybamm.lithium_ion.SPMe(), parameter_values=values, solver=pybamm.IDAKLUSolver())
        slow = self._drive(nominal_ah / 20.0, 30.0 * 3600.0)
        self.capacity_ah = float(slow["Discharge capacity [A.h]"].entries[-1])

    def _drive(self, current_a: float, run_s: float) -> pybamm.Solution:
        return self._simulation.solve([0.0, run_s], inputs={"Current function [A]": current_a}, initial_soc=1.0)

    def drive(self, current_a: float, run_s: float, rest_s: float) -> tuple[float, float]:
        """Return the time driven [s], shorter when empty came first, and the voltage after the rest [V]."""
        driven = self._drive(current_a, run_s)
        rested = self._simulation.step(rest_s, starting_solution=driven, inputs={"Current function [A]": 0.0})
        return float(driven.t[-1]), float(rested["Terminal voltage [V]"].entries[-1])


def read_v(voltage_v: float, chance: random.Random) -> float:
    """Return a voltage as a person reads it off a cell checker."""
    return round(round((voltage_v + chance.uniform(-METER_LIMIT_V, METER_LIMIT_V)) / METER_STEP_V) * METER_STEP_V, 2)


def season(make: Make, count: int) -> list[SimulatedRun]:
    """Drive a make's packs, each once from full, to depths and at currents spread over what people do."""
    chance = random.Random(make.parameters)
    cell = Cell(make)
    rated_ah = round(cell.capacity_ah, 3)
    found: list[SimulatedRun] = []
    for number in range(count):
        c_rate = make.gentlest_c * (make.hardest_c / make.gentlest_c) ** chance.random()
        depth = 0.30 + 0.55 * (number + chance.random()) / count
        rest_s = 60.0 * chance.uniform(10.0, 60.0)
        current_a = c_rate * rated_ah
        weak_first = number % 2 == 0
        run_s, weak_v = cell.drive(current_a / WEAK, 3600.0 * depth / c_rate, rest_s)
        run_s, strong_v = cell.drive(current_a / STRONG, run_s, rest_s)
        used_ah = current_a * run_s / 3600.0
        after_v, sizes = ((weak_v, strong_v), (WEAK, STRONG)) if weak_first else ((strong_v, weak_v), (STRONG, WEAK))
        pack = Pack(name=f"{make.parameters} {number + 1}", chemistry=make.chemistry, series=2, capacity_ah=rated_ah)
        start = FIRST_DAY + timedelta(days=number)
        run = Run(
            pack=pack.name,
            started_at=start,
            run_s=run_s,
            rest_before_s=7200.0,
            before_v=(read_v(FULL_V, chance), read_v(FULL_V, chance)),
            after_v=(read_v(after_v[0], chance), read_v(after_v[1], chance)),
            rest_after_s=rest_s,
            pack_k=298.15,
        )
        counted_ah = round(used_ah * (1.0 + chance.uniform(-CHARGER_LIMIT, CHARGER_LIMIT)), 3)
        found.append(
            SimulatedRun(
                make=make,
                pack=pack,
                run=run,
                charge_before=Charge(pack=pack.name, finished_at=start - timedelta(hours=2), goal="full"),
                charge=Charge(pack=pack.name, finished_at=start + timedelta(hours=6), put_back_ah=counted_ah, goal="full"),
                used_ah=used_ah,
                soc_after=(1.0 - used_ah / (cell.capacity_ah * sizes[0]), 1.0 - used_ah / (cell.capacity_ah * sizes[1])),
                c_rate=c_rate,
                rest_s=rest_s,
            )
        )
    return found
