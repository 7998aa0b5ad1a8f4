"""Packs of which everything can be written down, driven on their chemistry's own physics, so that the truth is known exactly."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from tracker.domain.pack import Pack
from tracker.domain.session import Charge, Run
from tracker.estimators.cell_family import family
from tracker.estimators.history import PackHistory

FloatArray = NDArray[np.float64]

START = datetime(2025, 3, 1, 9, 0, tzinfo=UTC)
MONTH = timedelta(days=30)


@dataclass(frozen=True, kw_only=True)
class Driven:
    """How a pack is made, driven and written down; by default everything goes as its chemistry has it, and is read without noise."""

    name: str = "Pond 1"
    chemistry: str = "lipo"
    rated_ah: float = 5.0
    capacity: Sequence[float] = (0.98, 0.98, 0.98)
    """Of each cell over rated."""
    outings: int = 12
    runs_each: int = 1
    depths: Sequence[float] = (0.45, 0.8, 0.6, 0.85, 0.5, 0.75)
    """Charge an outing takes over rated, in turn."""
    deviation: Sequence[float] = ()
    """Coefficients of the pack's own curve."""
    resistance: Sequence[float] = ()
    """Of each cell over what is typical; none when no loaded voltage is written down."""
    growth: float = 0.0
    """How much resistance rises from outing to outing."""
    relaxation: float = 1.0
    rest_s: Sequence[float] = (7200.0,)
    current_a: float = 15.0
    pack_k: float | None = None
    shown_ohm: bool = False
    """Whether the charger shows the resistance of each cell."""
    counted: bool = True
    excess_loss: Sequence[float] = ()
    """Of each cell by standing beyond the others, a month."""
    offset: Sequence[float] = ()
    """Of each cell when the charger calls the pack full."""
    idle: Sequence[timedelta] = (timedelta(hours=2),)
    """Between charge and run, in turn."""
    vehicle: str | None = "Tug"
    noise_v: float = 0.0
    seed: int = 1
    steps: dict[int, Sequence[float]] = field(default_factory=dict)
    """Other capacities from an outing on."""


@dataclass(frozen=True)
class Written:
    """A history, and the state of charge of each cell after each run."""

    history: PackHistory
    soc_after: list[FloatArray]
    used_ah: list[float]


def driven(how: Driven) -> Written:
    """Drive a pack and write it down."""
    cells, n = family(how.chemistry), len(how.capacity)
    rng = np.random.default_rng(how.seed)
    pack = Pack(name=how.name, chemistry=how.chemistry, series=n, capacity_ah=how.rated_ah)
    capacity = np.asarray(how.capacity, dtype=np.float64)
    deviation = np.asarray(how.deviation if len(how.deviation) else np.zeros(cells.curve.shape_count))
    kelvin = 298.15 if how.pack_k is None else how.pack_k
    typical_ohm = cells.chemistry["resistance_capacity"] / how.rated_ah
    moment = START
    runs: list[Run] = []
    charges = [Charge(pack=pack.name, finished_at=moment, goal="full")]
    truth: list[FloatArray] = []
    used: list[float] = []

    def read(volts: FloatArray) -> tuple[float, ...]:
        return tuple(float(v) for v in volts + rng.normal(0.0, how.noise_v, n)) if how.noise_v else tuple(volts.tolist())

    def rested(soc: FloatArray) -> FloatArray:
        warmer = cells.chemistry["temperature_slope"] * (kelvin - 298.15)
        return np.asarray(cells.curve.voltage(soc, deviation) + warmer, dtype=np.float64)

    def lost(waited: timedelta) -> FloatArray:
        excess = np.asarray(how.excess_loss if len(how.excess_loss) else np.zeros(n))
        return (cells.chemistry["self_discharge_per_month"] + excess) * (waited / MONTH)

    for number in range(how.outings):
        capacity = np.asarray(how.steps.get(number, capacity), dtype=np.float64)
        full = 1.0 + np.asarray(how.offset if len(how.offset) else np.zeros(n))
        idle = how.idle[number % len(how.idle)]
        moment += idle
        soc = full - lost(idle)
        share = how.depths[number % len(how.depths)] / how.runs_each
        for _ in range(how.runs_each):
            before, soc = soc, soc - share / capacity
            run_s = share * how.rated_ah / how.current_a * 3600.0
            rest_s = how.rest_s[len(runs) % len(how.rest_s)]
            rate = how.current_a / how.rated_ah / capacity
            slope = cells.curve.slope(np.clip(soc, 0.04, 1.0))
            lag = how.relaxation * cells.relaxation.deficit(rest_s, rate, slope, cells.slower(kelvin))
            run = Run(
                pack=pack.name, started_at=moment, run_s=run_s, vehicle=how.vehicle, rest_before_s=3600.0, before_v=read(rested(before)),
                after_v=read(rested(soc) - lag), rest_after_s=rest_s, pack_k=how.pack_k,
            )  # fmt: skip
            if len(how.resistance):
                worse = np.asarray(how.resistance) * (1.0 + how.growth * number) * typical_ohm
                sag = how.current_a * worse * cells.resistance_factor(np.clip(soc, 0.02, 1.0), kelvin)
                slow = how.relaxation * np.minimum(cells.relaxation.deficit(0.0, rate, cells.curve.slope(soc), cells.slower(kelvin)), 0.5)
                run = replace(run, loaded_v=read(rested(soc) - sag - slow), loaded_a=how.current_a)
            runs.append(run)
            truth.append(soc)
            used.append(share * how.rated_ah)
            moment += timedelta(seconds=run_s) + timedelta(hours=3)
        moment += timedelta(hours=3)
        returned = float(np.max((full - soc) * capacity)) * how.rated_ah / cells.chemistry["charge_acceptance"]
        shown: tuple[float, ...] = ()
        if how.shown_ohm:
            worse = np.asarray(how.resistance) * (1.0 + how.growth * number) * typical_ohm
            shown = tuple((worse * cells.resistance_factor(0.9, kelvin)).tolist())
        charges.append(
            Charge(
                pack=pack.name, finished_at=moment, put_back_ah=returned if how.counted else None, goal="full", cell_ohm=shown,
                pack_k=how.pack_k if how.shown_ohm else None,
            )
        )  # fmt: skip
    return Written(PackHistory(pack=pack, runs=tuple(runs), charges=tuple(charges)), truth, used)
