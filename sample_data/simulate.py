"""Cells in series while they are driven, rested, charged and grow old.

A plain equivalent circuit, stepped in time; discharge current is positive.

- Every cell has its own capacity, resistance at 25 °C, voltage curve and self-discharge.
- Cells in series pass the same charge: ``soc_i = 1 - drawn_ah_i / capacity_ah_i``.
- Voltage of a cell: ``v = ocv(soc - ks p) + h hysteresis - kv p - i R``. ``p`` is the rate (in multiples of the
  capacity an hour) seen through two first-order lags, so ``kv p`` and ``ks p`` stay behind after load and die away
  with the chemistry's two relaxation times. Near empty ``ocv`` is steep, and the same ``ks p`` becomes a large recovery.
- ``R``, ``kv`` and ``ks`` grow in the cold as ``exp(E / Rg (1/T - 1/298.15 K))`` with the chemistry's energy ``E``.
- A pack warms by its own losses and cools to the air with one time constant.
- Ageing: capacity falls with each run by a share that follows the chemistry's cost of depth, and with time, faster
  when warm and much faster when standing full. A lithium cell taken under its floor loses capacity at once.

Curves, resistances, energies, relaxation and self-discharge come from ``tracker.chemistry``; the rates of ageing and of
harm are invented, chosen so that one season shows them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tracker.chemistry import Chemistry
from tracker.units import STANDARD_TEMPERATURE_K, celsius_from_kelvin

FloatArray = NDArray[np.float64]

GAS_CONSTANT = 8.314462618
"""J/(mol K), exact by definition (BIPM SI Brochure, 9th edition, 2019: product of two defining constants)."""
SOC_GRID: FloatArray = np.linspace(0.0, 1.0, 201)
STEP_S = 4.0
BELOW_EMPTY_V = 15.0
"""Slope of the voltage below a state of charge of 0 [V per unit]; of the size the lithium curves have just above it."""
ABOVE_FULL_V = 1.0
"""Slope above a state of charge of 1 [V per unit]; about that of the lithium curves just under it."""
HEAT_CAPACITY_J_PER_K_AH = 25.0
"""Of one cell: about 25 g an ampere-hour at 1 J/(g K); from memory."""
COOLING_S = 1500.0
DAY_S = 86400.0
MONTH_DAYS = 30.4

# Invented rates of ageing and harm.
RUN_FADE = 0.0012
"""Capacity lost in a run from full to empty."""
RUN_RESISTANCE_GROWTH = 0.0025
YEAR_FADE = 0.015
FULL_STANDING = 14.0
"""How many times faster a lithium cell ages in store at full charge than at or below 80 %."""
STORE_ENERGY = 50_000.0
"""J/mol, for ageing in store."""
HARM_PER_V = 0.04
"""Capacity lost for each volt a lithium cell goes under its floor under load."""
HARM_RESISTANCE_PER_V = 0.10
OVERCHARGE_HARM_PER_V = 0.25
COLD_CHARGE_HARM = 0.008
"""Capacity lost by a charge of a lithium cell below its charging window."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Trip:
    """A controller as the pack sees it: where it lets go, and its share of the current."""

    trip_v: float | None
    share: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Drive:
    """What one run did."""

    run_s: float
    used_ah: float
    mean_a: float
    lowest_cell_v: FloatArray
    lowest_pack_v: float
    lowest_at_a: float
    let_go: int
    """How many controllers had let go by the end."""


@dataclass(kw_only=True, slots=True)
class SimulatedPack:
    """A pack's true state."""

    chemistry: Chemistry
    rated_ah: float
    capacity_ah: FloatArray
    resistance_ohm: FloatArray
    """Of each cell at 25 °C and half charge."""
    curve_v: FloatArray
    """Rested voltage, cells x `SOC_GRID`."""
    leak_per_day: FloatArray
    """Share of each cell's capacity that it loses by itself in a day at 25 °C."""
    drawn_ah: FloatArray
    """Missing from full, of each cell."""
    store_factor: float = 1.0
    temperature_k: float = STANDARD_TEMPERATURE_K
    hysteresis: float = 0.0
    """-1 after discharge … 1 after charge."""
    lag_fast: float = 0.0
    lag_slow: float = 0.0
    leaked_ah: FloatArray = field(default_factory=lambda: np.zeros(0))

    def __post_init__(self) -> None:
        self.leaked_ah = np.zeros_like(self.drawn_ah)

    @property
    def series(self) -> int:
        """Cells in series."""
        return len(self.capacity_ah)

    @property
    def soc(self) -> FloatArray:
        """State of charge of each cell."""
        return 1.0 - self.drawn_ah / self.capacity_ah

    def cell_v(self, current_a: float = 0.0) -> FloatArray:
        """Voltage of each cell now, with `current_a` drawn."""
        chemistry, cold, soc = self.chemistry, self.cold_factor(), self.soc
        share = chemistry["relaxation_fast_share"]
        lag = (share * self.lag_fast + (1.0 - share) * self.lag_slow) * cold
        rested_v = self.rested_v(soc - chemistry["relaxation_soc_per_c"] * lag)
        by_soc = np.interp(soc, chemistry.resistance_soc.soc, chemistry.resistance_soc.factor)
        sag_v = current_a * self.resistance_ohm * cold * by_soc + chemistry["relaxation_v_per_c"] * lag
        return np.maximum(rested_v + self.hysteresis * chemistry["hysteresis_v"] - sag_v, 0.0)

    def rested_v(self, soc: FloatArray) -> FloatArray:
        """Voltage of each cell at rest at these states of charge, past both ends of its curve too."""
        place = np.clip(soc, 0.0, 1.0) * (len(SOC_GRID) - 1)
        left = np.minimum(place.astype(int), len(SOC_GRID) - 2)
        rows = np.arange(self.series)
        low_v, high_v = self.curve_v[rows, left], self.curve_v[rows, left + 1]
        inside_v = low_v + (place - left) * (high_v - low_v)
        return np.asarray(inside_v + np.minimum(soc, 0.0) * BELOW_EMPTY_V + np.maximum(soc - 1.0, 0.0) * ABOVE_FULL_V)

    def cold_factor(self) -> float:
        """Resistance at the pack's temperature over that at 25 °C."""
        return math.exp(self.chemistry["resistance_energy"] / GAS_CONSTANT * (1.0 / self.temperature_k - 1.0 / STANDARD_TEMPERATURE_K))

    def drive(self, load_a: FloatArray, trips: tuple[Trip, ...], *, lead_ohm: float, air_k: float, stop_at_first: bool) -> Drive:
        """Drive through `load_a`, one current a step, until it ends or the controllers let go."""
        live = [True] * len(trips)
        lowest_cell_v, lowest_pack_v, lowest_at_a = np.full(self.series, np.inf), math.inf, 0.0
        used_ah = 0.0
        steps = 0
        for wanted_a in load_a:
            current_a = float(wanted_a) * sum(trip.share for trip, lives in zip(trips, live, strict=True) if lives)
            self._pass(current_a, STEP_S, air_k)
            used_ah += current_a * STEP_S / 3600.0
            steps += 1
            cells_v = self.cell_v(current_a)
            pack_v = float(cells_v.sum())
            lowest_cell_v = np.minimum(lowest_cell_v, cells_v)
            if pack_v < lowest_pack_v:
                lowest_pack_v, lowest_at_a = pack_v, current_a
            at_controller_v = pack_v - current_a * lead_ohm
            live = [lives and not _lets_go(trip, at_controller_v) for trip, lives in zip(trips, live, strict=True)]
            if not any(live) or (stop_at_first and not all(live)):
                break
        run_s = steps * STEP_S
        return Drive(
            run_s=run_s,
            used_ah=used_ah,
            mean_a=used_ah * 3600.0 / run_s,
            lowest_cell_v=lowest_cell_v,
            lowest_pack_v=lowest_pack_v,
            lowest_at_a=lowest_at_a,
            let_go=live.count(False),
        )

    def rest(self, rest_s: float, air_k: float, standby_a: float = 0.0) -> None:
        """Let time pass: relaxation, self-discharge and ageing in store, with `standby_a` drawn."""
        while rest_s > 0.0:
            part_s = min(rest_s, DAY_S)
            self._pass(standby_a, part_s, air_k)
            days = part_s / DAY_S
            # Self-discharge roughly doubles with every 10 K (common practice, no source).
            leak_ah = self.leak_per_day * days * 2.0 ** ((self.temperature_k - STANDARD_TEMPERATURE_K) / 10.0) * self.capacity_ah
            self.drawn_ah = self.drawn_ah + leak_ah
            self.leaked_ah = self.leaked_ah + leak_ah
            self._age_in_store(days)
            rest_s -= part_s

    def charge(self, target_soc: float, *, balanced: bool, pack_k: float = STANDARD_TEMPERATURE_K) -> float:
        """Charge to `target_soc` and return the charge sent through the pack [Ah].

        Balanced, every cell ends at the target and the emptiest decides how much is sent; otherwise all cells get the
        same charge, as much as the mean cell needs.
        """
        missing_ah = self.drawn_ah - (1.0 - target_soc) * self.capacity_ah
        sent_ah = float(missing_ah.max() if balanced else missing_ah.mean())
        self.drawn_ah = self.drawn_ah - (missing_ah if balanced else sent_ah)
        self.hysteresis, self.lag_fast, self.lag_slow = 1.0, 0.0, 0.0
        if self.chemistry.family == "lithium":
            over_v = np.maximum(self.rested_v(self.soc) - self.chemistry["full_v"] - 0.02, 0.0)
            plated = COLD_CHARGE_HARM if celsius_from_kelvin(pack_k) < self.chemistry["charge_low"] else 0.0
            self._lose(OVERCHARGE_HARM_PER_V * over_v + plated, OVERCHARGE_HARM_PER_V * over_v)
        return sent_ah / self.chemistry["charge_acceptance"]

    def wear(self, drive: Drive) -> None:
        """Grow older by one run, and be harmed when a cell went under its floor."""
        depth = drive.used_ah / self.capacity_ah
        # The cost of half depth fixes the power law between depth and wear.
        cost = depth ** (math.log(self.chemistry["depth_half_cost"]) / math.log(0.5))
        self._lose(RUN_FADE * cost, RUN_RESISTANCE_GROWTH * cost)
        if self.chemistry.family == "lithium":
            short_v = np.maximum(self.chemistry["floor_v"] - drive.lowest_cell_v, 0.0)
            self._lose(HARM_PER_V * short_v, HARM_RESISTANCE_PER_V * short_v)

    def _pass(self, current_a: float, time_s: float, air_k: float) -> None:
        """Draw a steady current for a time: charge, lags, hysteresis and warmth."""
        chemistry, rate = self.chemistry, current_a / self.rated_ah
        heat_w = current_a**2 * float(self.resistance_ohm.sum()) * self.cold_factor()
        self.drawn_ah = self.drawn_ah + current_a * time_s / 3600.0
        self.lag_fast = rate + (self.lag_fast - rate) * math.exp(-time_s / chemistry["relaxation_fast"])
        self.lag_slow = rate + (self.lag_slow - rate) * math.exp(-time_s / chemistry["relaxation_slow"])
        if current_a > 0.0:
            # Hysteresis turns over within about a twentieth of the capacity.
            self.hysteresis = -1.0 + (self.hysteresis + 1.0) * math.exp(-20.0 * rate * time_s / 3600.0)
        steady_k = air_k + heat_w * COOLING_S / (HEAT_CAPACITY_J_PER_K_AH * self.rated_ah * self.series)
        self.temperature_k = steady_k + (self.temperature_k - steady_k) * math.exp(-time_s / COOLING_S)

    def _age_in_store(self, days: float) -> None:
        warm = math.exp(STORE_ENERGY / GAS_CONSTANT * (1.0 / STANDARD_TEMPERATURE_K - 1.0 / self.temperature_k))
        lithium = self.chemistry.family == "lithium"
        standing = 1.0 + (FULL_STANDING - 1.0) * np.clip((self.soc - 0.8) / 0.2, 0.0, 1.0) if lithium else np.ones(self.series)
        lost = YEAR_FADE * self.store_factor * warm * standing * days / 365.0
        self._lose(lost, 1.5 * lost)

    def _lose(self, capacity_share: FloatArray, resistance_share: FloatArray) -> None:
        """Lose capacity and gain resistance; the state of charge stays what it is."""
        keep = 1.0 - capacity_share
        self.capacity_ah = self.capacity_ah * keep
        self.drawn_ah = self.drawn_ah * keep
        self.resistance_ohm = self.resistance_ohm * (1.0 + resistance_share)


def _lets_go(trip: Trip, at_controller_v: float) -> bool:
    return trip.trip_v is not None and at_controller_v < trip.trip_v


def new_pack(
    chemistry: Chemistry,
    *,
    rated_ah: float,
    cell_capacity: tuple[float, ...],
    resistance_factor: float,
    leak_factor: tuple[float, ...],
    store_factor: float,
    scatter: np.random.Generator,
) -> SimulatedPack:
    """A pack of one make of cell: a mix of the chemistry's makes plus a small deviation, the same in all cells but for 2 mV.

    `cell_capacity` are shares of rated; `resistance_factor` and `leak_factor` multiply what is typical of the chemistry.
    """
    series = len(cell_capacity)
    weights = scatter.dirichlet(np.full(len(chemistry.makes), 2.0))
    common_v = sum(
        (weight * _whole_curve(make.soc, make.voltage_v) for weight, make in zip(weights, chemistry.makes, strict=True)), np.zeros(201)
    )
    wave = np.sin(np.pi * SOC_GRID * scatter.uniform(1.5, 3.5) + scatter.uniform(0.0, 2.0 * np.pi)) * np.sin(np.pi * SOC_GRID)
    size_v = 0.004 if chemistry.family == "lithium" else 0.002
    cell_offset_v = scatter.normal(0.0, 0.3 * size_v, (series, 1)) * np.sin(np.pi * SOC_GRID)
    curve_v = np.maximum.accumulate(common_v + size_v * wave + cell_offset_v, axis=1)
    resistance = chemistry["resistance_capacity"] / rated_ah * resistance_factor
    return SimulatedPack(
        chemistry=chemistry,
        rated_ah=rated_ah,
        capacity_ah=rated_ah * np.array(cell_capacity),
        resistance_ohm=resistance * (1.0 + scatter.normal(0.0, 0.03, series)),
        curve_v=curve_v,
        leak_per_day=chemistry["self_discharge_per_month"] / MONTH_DAYS * np.array(leak_factor) * scatter.uniform(0.9, 1.1, series),
        drawn_ah=0.5 * rated_ah * np.array(cell_capacity),
        store_factor=store_factor,
    )


def _whole_curve(soc: FloatArray, voltage_v: FloatArray) -> FloatArray:
    """A make's curve on the grid, carried on straight where it does not reach the ends."""
    inside_v = np.interp(SOC_GRID, soc, voltage_v)
    first = (voltage_v[1] - voltage_v[0]) / (soc[1] - soc[0])
    last = (voltage_v[-1] - voltage_v[-2]) / (soc[-1] - soc[-2])
    return np.asarray(inside_v + np.minimum(SOC_GRID - soc[0], 0.0) * first + np.maximum(SOC_GRID - soc[-1], 0.0) * last)


def load_profile(mean_a: float, run_s: float, *, burst: float, scatter: np.random.Generator) -> FloatArray:
    """Currents a step: a wandering steady part and bursts of up to `burst` times the mean, with the mean asked for."""
    steps = max(1, round(run_s / STEP_S))
    wander = 1.0 + 0.25 * np.sin(2.0 * np.pi * np.arange(steps) * STEP_S / 75.0 + scatter.uniform(0.0, 6.28))
    steady = wander * scatter.uniform(0.6, 1.1, steps)
    shape = np.where(scatter.random(steps) < 0.12, scatter.uniform(0.75, 1.0, steps) * burst, steady)
    return np.asarray(mean_a * shape / shape.mean())
