"""Whole histories of packs made of published cells, written down as a person would, with the truth beside them.

Nothing of the project is used but its records: the cells are tables from a physics-based library (see `cell_tables`),
and each cell of a pack differs from its neighbours.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np

from tests.tracker.estimators.cell_tables import CELSIUS_K, LOWEST_V, FloatArray, table
from tracker.domain.pack import Pack
from tracker.domain.session import Charge, Run
from tracker.estimators.history import PackHistory

FIRST_DAY = datetime(2024, 4, 6, 10, 0, tzinfo=UTC)
METER_STEP_V = 0.010
METER_LIMIT_V = 0.005
"""A cell checker's step; how far all cells of one session, and besides each single reading, may lie off. Common practice, no source."""
CHARGER_ALWAYS_SD, CHARGER_EACH_SD = 0.009, 0.012
"""A hobby charger's count is 1.5 % unsure: part of it is the charger's own, part differs from charge to charge. Common practice, no source."""
CELL_SD = 0.03
ALIKE_SD = 0.01
"""Spread of the cells of an ordinary pack, and of the neighbours of a weak cell, over their mean."""
WEAK = 0.88
LABEL_SD = 0.05
ACCEPTANCE = 0.998
SELF_LOSS_PER_MONTH = 0.02
MONTH = timedelta(days=30)
FULL_SD_SOC, CELL_FULL_SD_SOC = 0.004, 0.002
"""How far below full a charge ends, for all cells and for each."""
CAR_SLOW_V = {"lipo": 3.15, "liion": 2.8}
SPENT_SOC = 0.15
"""A driver whose car is this slow, by mean loaded cell voltage, with more than this left takes it more gently. It keeps cells
that were not made for such currents out of the cold in which their electrolyte starves: no pack is driven on like that, and
the tables are coarse there."""
TELEMETRY_STEP_V = 0.1
TELEMETRY_LIMIT_V = 0.02
"""Lowest voltage of the pack as a receiver shows it: its step, and how far a cell's share of it may lie off. From memory."""

Pattern = Callable[[int], bool]
"""Whether the charge after the run of this number, from 0, was counted."""


def always(_: int) -> bool:
    """Count every charge."""
    return True


def never(_: int) -> bool:
    """Count no charge."""
    return False


def first(count: int) -> Pattern:
    """Count the charges after the first `count` runs and none after that."""
    return lambda number: number < count


@dataclass(frozen=True, kw_only=True, slots=True)
class Habits:
    """How a pack was made, driven and written down."""

    cells: int = 3
    runs: int = 10
    counted: Pattern = always
    uncounted_written: bool = True
    """Whether a charge that was not counted is written down as a full one all the same."""
    totals_only: bool = False
    shallowest: float = 0.35
    deepest: float = 0.90
    """Depth of the mean cell."""
    deep_share: float = 0.0
    """Share of the runs that are driven until the weakest cell is all but empty."""
    weak_cell: bool = False
    alike: bool = False
    """No cell differs much from its neighbours."""
    weather: bool = True
    """10 to 35 °C rather than 25 °C throughout."""
    fade_per_run: float = 0.0003
    growth_per_run: float = 0.001
    loaded_every: int = 0
    """Write down the pack's lowest voltage under load after every run whose number is a multiple of this; 0 never."""
    restless_per_month: float = 0.0
    """What one cell loses in a month beyond what its neighbours lose."""
    longest_idle: timedelta = timedelta(days=3)


@dataclass(frozen=True, kw_only=True, slots=True)
class RunTruth:
    """What really happened in one run."""

    started_at: datetime
    used_ah: float
    soc_before: tuple[float, ...]
    soc_after: tuple[float, ...]
    lowest_v: tuple[float, ...]
    c_rate: float
    pack_k: float
    counted: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class SimulatedPack:
    """A history as written down, and the truth."""

    make: str
    history: PackHistory
    runs: tuple[RunTruth, ...]
    capacity_ah: tuple[float, ...]
    """Of each cell at the last run."""
    weak_cell: int | None
    restless_cell: int | None
    """From 1."""
    slips: dict[datetime, tuple[str, ...]]
    """What was written down wrongly, by the start of the run whose answer it touches."""

    @property
    def rated_ah(self) -> float:
        """Capacity on the label."""
        return self.history.pack.capacity_ah


def history(make: str, number: int, habits: Habits | None = None) -> SimulatedPack:
    """Make a pack of a published cell, drive it and write it down; the same `number` gives the same pack again."""
    return _Season(make, number, habits or Habits()).driven()


class _Season:
    """One pack through its season."""

    def __init__(self, make: str, pack_number: int, habits: Habits) -> None:
        self.make, self.habits, self.table = make, habits, table(make)
        self.rng = np.random.default_rng([pack_number, *make.encode()])
        n = habits.cells
        self.weak = int(self.rng.integers(n)) if habits.weak_cell else None
        self.restless = int(self.rng.integers(n)) if habits.restless_per_month else None
        size = 1.0 + self.rng.normal(0.0, ALIKE_SD if habits.alike or habits.weak_cell else CELL_SD, n)
        if self.weak is not None:
            others = np.delete(size, self.weak)
            size[self.weak] = WEAK * (others.mean() if n > 1 else 1.0)
        mean_ah = float(self.rng.choice([2.2, 3.3, 5.0]))
        self.capacity_ah = mean_ah * size
        rated_ah = round(mean_ah * (1.0 + self.rng.normal(0.0, LABEL_SD)), 2)
        self.pack = Pack(name=f"{make} {pack_number}", chemistry=self.table.cell.chemistry, series=n, capacity_ah=rated_ah)
        self.charger = 1.0 + self.rng.normal(0.0, CHARGER_ALWAYS_SD)
        self.burst = self.rng.uniform(1.2, 2.0)
        self.runs: list[Run] = []
        self.charges: list[Charge] = []
        self.truth: list[RunTruth] = []

    def driven(self) -> SimulatedPack:
        moment, soc = FIRST_DAY, self._filled()
        if self.habits.uncounted_written or self.habits.counted(0):
            self.charges.append(Charge(pack=self.pack.name, finished_at=moment, goal="full"))
        for number in range(self.habits.runs):
            idle = timedelta(hours=1) + self.rng.random() * self.habits.longest_idle
            moment += idle
            run_s, after = self._run(number, moment, soc - self._lost(idle))
            waiting = timedelta(seconds=run_s) + timedelta(hours=self.rng.uniform(1.5, 24.0))
            moment += waiting
            soc = self._charge(number, moment, after - self._lost(waiting))
        return SimulatedPack(
            make=self.make,
            history=PackHistory(pack=self.pack, runs=tuple(self.runs), charges=tuple(self.charges)),
            runs=tuple(self.truth),
            capacity_ah=tuple(map(float, self._capacity(self.habits.runs - 1))),
            weak_cell=None if self.weak is None else self.weak + 1,
            restless_cell=None if self.restless is None else self.restless + 1,
            slips={},
        )

    def _capacity(self, number: int) -> FloatArray:
        return self.capacity_ah * (1.0 - self.habits.fade_per_run * number)

    def _filled(self) -> FloatArray:
        n = self.habits.cells
        return np.minimum(1.0, 1.0 - abs(self.rng.normal(0.0, FULL_SD_SOC)) + self.rng.normal(0.0, CELL_FULL_SD_SOC, n))

    def _lost(self, standing: timedelta) -> FloatArray:
        lost = np.full(self.habits.cells, SELF_LOSS_PER_MONTH)
        if self.restless is not None:
            lost[self.restless] += self.habits.restless_per_month
        return lost * (standing / MONTH)

    def _run(self, number: int, start: datetime, before: FloatArray) -> tuple[float, FloatArray]:
        cell, rng, capacity = self.table.cell, self.rng, self._capacity(number)
        pack_k = CELSIUS_K + (rng.uniform(10.0, 35.0) if self.habits.weather else 25.0)
        worse = 1.0 + self.habits.growth_per_run * number
        c_rate = cell.gentlest_c * (cell.hardest_c / cell.gentlest_c) ** rng.random()
        deep = rng.random() < self.habits.deep_share
        depth = float(rng.uniform(self.habits.shallowest, self.habits.deepest))
        used_ah = capacity.mean() * depth
        if deep:
            used_ah = float(np.min(capacity * (before - rng.uniform(-0.02, 0.10))))
        used_ah = min(used_ah, float(np.min(capacity * (before + 0.02))))
        while c_rate > 0.5 * cell.gentlest_c and self._slow(c_rate, before, used_ah / capacity, pack_k, worse):
            c_rate *= 0.9
        # The driver gives up, or the table ends: nothing is claimed of cells driven beyond what the library solved.
        while (lowest := self._loaded(c_rate, before - used_ah / capacity, pack_k, worse))[
            0
        ].min() < LOWEST_V + 0.1 and used_ah > 0.1 * capacity.mean():
            used_ah *= 0.97
        after = before - used_ah / capacity
        run_s = 3600.0 * used_ah / (c_rate * capacity.mean())
        rest_s = 60.0 * round(rng.uniform(10.0, 60.0))
        rest_before_s = 60.0 * round(rng.uniform(30.0, 600.0))
        own_rate = c_rate * capacity.mean() / capacity
        full_v = self.table.open_v(before, pack_k)
        open_v = self.table.open_v(after, pack_k)
        rested_v = open_v - worse * (open_v - self.table.rested_v(own_rate, after, pack_k, rest_s))
        shared_v = rng.uniform(-METER_LIMIT_V, METER_LIMIT_V)
        self.runs.append(
            Run(
                pack=self.pack.name,
                started_at=start,
                run_s=round(run_s),
                rest_before_s=rest_before_s,
                before_v=self._read(full_v + shared_v),
                after_v=self._read(rested_v + shared_v),
                rest_after_s=rest_s,
                loaded_v=self._telemetry(lowest[1]) if self.habits.loaded_every and number % self.habits.loaded_every == 0 else (),
                pack_k=round(pack_k - CELSIUS_K) + CELSIUS_K if self.habits.weather else None,
            )
        )
        self.truth.append(
            RunTruth(
                started_at=start,
                used_ah=float(used_ah),
                soc_before=tuple(map(float, before)),
                soc_after=tuple(map(float, after)),
                lowest_v=tuple(map(float, lowest[1])),
                c_rate=c_rate,
                pack_k=pack_k,
                counted=self.habits.counted(number),
            )
        )
        return run_s, after

    def _slow(self, c_rate: float, before: FloatArray, depth: FloatArray, pack_k: float, worse: float) -> bool:
        """Whether the car hardly moves while there is charge left, at the end or before."""
        slow_v = CAR_SLOW_V[self.table.cell.chemistry]
        states = np.maximum(before - np.array([[0.3], [0.5], [0.7], [0.85], [1.0]]) * depth, SPENT_SOC)
        return bool(np.any(self._steady(c_rate, states, pack_k, worse)[0].mean(axis=1) < slow_v))

    def _steady(self, c_rate: float, after: FloatArray, pack_k: float, worse: float) -> tuple[FloatArray, FloatArray]:
        """Loaded voltage of each cell at the end of a steady run, and what it would be of a cell that has not grown worse [V]."""
        own_rate = c_rate * self.capacity_ah.mean() / self.capacity_ah
        open_v, loaded_v = self.table.open_v(after, pack_k), self.table.loaded_v(own_rate, after, pack_k)
        return open_v - worse * (open_v - loaded_v), loaded_v

    def _loaded(self, c_rate: float, after: FloatArray, pack_k: float, worse: float) -> tuple[FloatArray, FloatArray]:
        """Loaded voltage of each cell at the end of a run, steady and in a last burst of throttle [V]."""
        own_rate = c_rate * self.capacity_ah.mean() / self.capacity_ah
        steady_v, loaded_v = self._steady(c_rate, after, pack_k, worse)
        at_once_v = worse * np.maximum(self.table.rested_v(own_rate, after, pack_k, 1.0) - loaded_v, 0.0)
        return steady_v, steady_v - (self.burst - 1.0) * at_once_v

    def _read(self, volts: FloatArray) -> tuple[float, ...]:
        """Voltages as a person reads them off a cell checker, or their sum."""
        shown = volts + self.rng.uniform(-METER_LIMIT_V, METER_LIMIT_V, len(volts))
        steps = np.round(shown / METER_STEP_V)
        if self.habits.totals_only:
            return (round(float(steps.sum()) * METER_STEP_V, 2),)
        return tuple(round(float(step) * METER_STEP_V, 2) for step in steps)

    def _telemetry(self, lowest_v: FloatArray) -> tuple[float, ...]:
        shown = lowest_v.sum() + len(lowest_v) * self.rng.uniform(-TELEMETRY_LIMIT_V, TELEMETRY_LIMIT_V)
        return (round(round(float(shown) / TELEMETRY_STEP_V) * TELEMETRY_STEP_V, 1),)

    def _charge(self, number: int, finished: datetime, after: FloatArray) -> FloatArray:
        """Charge to full, bleeding the fuller cells, so that the neediest cell says how much goes in."""
        filled = self._filled()
        given_ah = float(np.max((filled - after) * self._capacity(number))) / ACCEPTANCE
        counted = self.habits.counted(number)
        if counted or self.habits.uncounted_written:
            shown_ah = given_ah * self.charger * (1.0 + self.rng.normal(0.0, CHARGER_EACH_SD))
            charge = Charge(
                pack=self.pack.name, finished_at=finished, put_back_ah=round(float(shown_ah), 3) if counted else None, goal="full"
            )
            self.charges.append(charge)
        return filled
