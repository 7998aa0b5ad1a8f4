"""A run of a pack with several controllers on it: who lets go when, and how low each cell goes.

Every controller sees the pack's voltage less the drop in the leads, and lets go by itself. The pack goes on being discharged
until the last one has let go, and again when it recovers and the driver goes on. Many drawn versions run at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tracker.errors import InputError
from tracker.physics.load_profile import LoadProfile
from tracker.physics.pace import LEAST_SOC, Periods, Stretch
from tracker.physics.pack_draws import ControllerDraws, PackDraws

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

_SECONDS_PER_HOUR = 3600.0
_CLIFF_SOC, _CLIFF_STEP_SOC = 0.04, 0.002
"""Below this charge of its lowest cell a pack is near its cliff, and goes on in steps that take no more than so much of it.
No source: fine enough that steps of two seconds give the same risk."""
_ROUNDING_S = 1e-9


@dataclass(frozen=True, slots=True)
class Driver:
    """What the driver does when a controller has let go.

    Attributes
    ----------
    restarts : int
        How often each controller that runs again is used again [1]
    pause_s : float
        How long a controller stays off at least [s]
    patience_s : float
        How long the driver waits for the pack to recover once nothing runs any more [s]
    """

    restarts: int = 0
    pause_s: float = 5.0
    patience_s: float = 60.0


@dataclass(frozen=True, slots=True, eq=False)
class Discharge:
    """How each drawn run went.

    Attributes
    ----------
    first_let_go_s, last_let_go_s : FloatArray
        When each controller let go for the first and the last time, NaN where it never did, shape (draws, controllers) [s]
    restarts : NDArray
        How often each ran again, shape (draws, controllers) [1]
    lowest_cell_v : FloatArray
        Lowest voltage of each cell, looked at the end of every step, shape (draws, cells) [V]
    soc, rested_v : FloatArray
        Charge of each cell at the end, and where it will rest, shape (draws, cells) [1], [V]
    charge_before_ah, charge_after_ah : FloatArray
        Charge taken until the first controller let go, and from then on, shape (draws,) [Ah]
    run_s : FloatArray
        When something ran last, shape (draws,) [s]
    timed_out, dead : NDArray
        Whether the given end came first, and whether the pack gave no voltage any more, shape (draws,) [1]
    """

    first_let_go_s: FloatArray
    last_let_go_s: FloatArray
    restarts: NDArray[np.int_]
    lowest_cell_v: FloatArray
    soc: FloatArray
    rested_v: FloatArray
    charge_before_ah: FloatArray
    charge_after_ah: FloatArray
    run_s: FloatArray
    timed_out: BoolArray
    dead: BoolArray


def discharge(
    pack: PackDraws,
    controllers: Sequence[ControllerDraws],
    load: LoadProfile,
    *,
    end_s: float,
    receiver_a: float = 0.0,
    driver: Driver | None = None,
    dead_v: float = 0.0,
    longest_step_s: float = 1.0,
) -> Discharge:
    """Run drawn packs until the last controller lets go, the load ends or the time is up.

    Parameters
    ----------
    pack : PackDraws
        The pack's versions [1]
    controllers : Sequence[ControllerDraws]
        What hangs on it [1]
    load : LoadProfile
        Current with every controller running; one that has let go takes its share of it away [A]
    end_s : float
        When the run ends in any case [s]
    receiver_a : float
        Current of receiver and servos, where a controller feeds them [A]
    driver : Driver, optional
        What the driver does after a controller has let go; gives up when left out [1]
    dead_v : float
        Voltage of the pack at or below which nothing runs any more [V]
    longest_step_s : float
        Longest step: voltages are looked at its end [s]

    Returns
    -------
    Discharge
        How each run went [V]

    Raises
    ------
    InputError
        When there is no controller, or their shares of the load are more than all of it.

    References
    ----------
    .. [1] No source: the circuit of `cell_model` in series with the leads; how controllers behave is common practice.
    """
    run = _Run(pack, controllers, receiver_a, driver or Driver(), dead_v)
    for duration_s, current_a in load.steps(longest_step_s, end_s):
        if not run.go_on(Stretch(duration_s, current_a)):
            break
    return run.outcome()


def discharge_by_periods(
    pack: PackDraws, controllers: Sequence[ControllerDraws], load: LoadProfile, *, receiver_a: float = 0.0, driver: Driver | None = None,
    until_cell_v: float = -np.inf,
) -> Discharge:  # fmt: skip
    """Run drawn packs until the last controller lets go or the cells have nothing left, the load in whole periods at once.

    Parameters
    ----------
    pack : PackDraws
        The pack's versions [1]
    controllers : Sequence[ControllerDraws]
        What hangs on it; none waits before it lets go [1]
    load : LoadProfile
        Current with every controller running, over and over, hardest in its last stretch [A]
    receiver_a : float
        Current of receiver and servos, where a controller feeds them [A]
    driver : Driver, optional
        What the driver does after a controller has let go; gives up when left out [1]
    until_cell_v : float
        Where it is enough to know that a cell goes below this: such a run is not followed further [V]

    Returns
    -------
    Discharge
        How each run went: as `discharge` says, in a small part of its time [V]

    References
    ----------
    .. [1] As in `discharge`.
    """
    run = _Run(pack, controllers, receiver_a, driver or Driver(), 0.0)
    periods = Periods(load, run.cells, pack.kind.tables, pack.capacity_ah.min(axis=1))
    for stretch in periods.opening():
        run.go_on(stretch)
    pace = _Pace(run, periods)
    while run.go_on(pace.stretch()):
        run.dead |= run.going & (run.cells.highest_soc <= LEAST_SOC)
        run.going &= ~run.dead & (run.lowest_v.min(axis=0) >= until_cell_v)
    return run.outcome()


def standing_current(controllers: Sequence[ControllerDraws], receiver_a: float) -> float:
    """Current that flows as long as the pack is connected.

    Parameters
    ----------
    controllers : Sequence[ControllerDraws]
        What hangs on the pack [1]
    receiver_a : float
        Current of receiver and servos; counts where a controller feeds them [A]

    Returns
    -------
    float
        Standby of all controllers and what the receiver takes [A]

    References
    ----------
    .. [1] No source: a sum.
    """
    return float(_standing_a(controllers, receiver_a).sum())


def _standing_a(controllers: Sequence[ControllerDraws], receiver_a: float) -> FloatArray:
    """Current each controller draws with its motor off; those that feed the receiver share it."""
    if not (np.isfinite(receiver_a) and receiver_a >= 0):
        raise InputError(f"The receiver's current is {receiver_a:g} A; it must be 0 or more.")
    feeding = sum(controller.powers_receiver for controller in controllers)
    return np.array(
        [controller.standby_a + (receiver_a / feeding if controller.powers_receiver else 0.0) for controller in controllers],
        dtype=np.float64,
    )


class _Run:
    """The state of all drawn runs; arrays are (controllers, draws), (cells, draws) or (draws,)."""

    def __init__(self, pack: PackDraws, controllers: Sequence[ControllerDraws], receiver_a: float, driver: Driver, dead_v: float) -> None:
        if not controllers:
            raise InputError("No controller hangs on the pack; give at least one, if need be one that never lets go.")
        share = np.array([controller.load_share for controller in controllers])
        if share.sum() > 1.0 + 1e-6:
            raise InputError(f"The controllers' shares of the load add up to {share.sum():g}; they must not be more than 1 together.")
        count, draws = len(controllers), pack.draws
        self.driver, self.dead_v, self.lead_ohm = driver, dead_v, np.asarray(pack.lead_ohm, dtype=np.float64)
        self.share, self.standing_a = share[:, None], _standing_a(controllers, receiver_a)[:, None]
        self.own_ohm = np.array([[controller.own_lead_ohm] for controller in controllers])
        self.delay_s = np.array([[controller.delay_s - _ROUNDING_S] for controller in controllers])
        self.waits = any(controller.delay_s > 0 for controller in controllers)
        self.trip_v = np.stack([controller.trips_at(pack) for controller in controllers])
        self.restart_v = np.stack([controller.restarts_at(pack) for controller in controllers])
        self.cells = pack.moving()
        self.volts = np.asarray(self.cells.rested_v)
        self.time_s = np.zeros(draws)
        self.seen_v = np.full((count, draws), np.inf)
        self.running: BoolArray = np.ones((count, draws), dtype=np.bool_)
        self.was_below: BoolArray = np.zeros((count, draws), dtype=np.bool_)
        self.never: BoolArray = np.zeros((count, draws), dtype=np.bool_)
        self.below_s = np.zeros((count, draws))
        self.first_s, self.last_s = np.full((count, draws), np.nan), np.full((count, draws), np.nan)
        self.restarts = np.zeros((count, draws), dtype=np.int_)
        self.lowest_v = np.full((pack.series, draws), np.inf)
        self.charge_as, self.charge_first_as = np.zeros(draws), np.full(draws, np.nan)
        self.run_s, self.idle_s = np.zeros(draws), np.zeros(draws)
        self.going: BoolArray = np.ones(draws, dtype=np.bool_)
        self.dead: BoolArray = np.zeros(draws, dtype=np.bool_)

    def go_on(self, stretch: Stretch) -> bool:
        """Go through one stretch; whether any run still goes on after it."""
        running, duration_s = np.where(self.running, self.share, 0.0), stretch.duration_s
        own_a = self._drawn(running, stretch.current_a)
        total_a = own_a.sum(axis=0)
        mean_a = total_a if stretch.mean_a is None else self._drawn(running, stretch.mean_a).sum(axis=0)
        pair_a = None if stretch.pair_a is None else [self._drawn(running, each_a).sum(axis=0) for each_a in stretch.pair_a]
        volts = self.cells.advance(total_a, duration_s, mean_a=None if stretch.mean_a is None else mean_a, pair_a=pair_a)
        self.time_s += duration_s
        self.charge_as += mean_a * duration_s
        pack_v = volts.sum(axis=0)
        self.run_s = np.where(self.going & self.running.any(axis=0), self.time_s, self.run_s)
        before_v, self.seen_v = self.seen_v, pack_v - total_a * self.lead_ohm - own_a * self.own_ohm
        lets_go = self._switch(self.seen_v, duration_s)
        until = volts if stretch.parts is None else self._when_seen(volts, before_v, lets_go, stretch.parts)
        np.minimum(self.lowest_v, until, out=self.lowest_v)
        self.volts = volts
        self._end(pack_v, duration_s)
        return bool(self.going.any())

    def _drawn(self, running: FloatArray, current_a: FloatArray) -> FloatArray:
        """What each controller draws of a current, and by itself."""
        return np.asarray((running * current_a + self.standing_a) * self.going)

    def _when_seen(self, volts: FloatArray, before_v: FloatArray, lets_go: BoolArray, parts: FloatArray) -> FloatArray:
        """Cells at the end of the part in which a controller let go, as if they fell evenly; else at the end of them all."""
        if not lets_go.any():
            return volts
        fallen = (before_v - self.trip_v) / np.maximum(before_v - self.seen_v, 1e-12)
        part = np.clip(np.floor(fallen * parts) + 1.0, 1.0, parts) / parts
        # What is seen first, at the very start, is seen at the end.
        part = np.where(lets_go & np.isfinite(before_v), part, 0.0).max(axis=0)
        part = np.where(part > 0.0, part, 1.0)
        return np.asarray(self.volts + part * (volts - self.volts))

    def _switch(self, seen_v: FloatArray, duration_s: float | FloatArray) -> BoolArray:
        """Let each controller go or run again by what it sees; which have let go."""
        below = seen_v < self.trip_v
        lets_go = self.running & below & self.going
        if self.waits:
            self.below_s = np.where(below & self.was_below, self.below_s + duration_s, 0.0)
            self.was_below = below
            lets_go &= self.below_s >= self.delay_s
        comes_back = self.may_come_back()
        if self.driver.restarts:
            comes_back = comes_back & (seen_v > self.restart_v) & (self.time_s - self.last_s >= self.driver.pause_s - _ROUNDING_S)
        if lets_go.any():
            first = lets_go.any(axis=0) & np.isnan(self.charge_first_as)
            self.charge_first_as[first] = self.charge_as[first]
            self.first_s = np.where(lets_go & np.isnan(self.first_s), self.time_s, self.first_s)
            self.last_s = np.where(lets_go, self.time_s, self.last_s)
            self.running &= ~lets_go
        if comes_back.any():
            self.running |= comes_back
            self.restarts += comes_back
            self.was_below &= ~comes_back
        return np.asarray(lets_go)

    def may_come_back(self) -> BoolArray:
        """Controllers that have let go and may run again."""
        if not self.driver.restarts:
            return self.never
        return np.asarray(~self.running & (self.restarts < self.driver.restarts) & np.isfinite(self.restart_v) & self.going)

    def _end(self, pack_v: FloatArray, duration_s: float | FloatArray) -> None:
        """End the runs in which nothing runs or will run again."""
        any_running = self.running.any(axis=0)
        self.idle_s = np.where(any_running, 0.0, self.idle_s + duration_s)
        waiting = self.may_come_back().any(axis=0) & (self.idle_s <= self.driver.patience_s)
        self.dead |= self.going & (pack_v <= self.dead_v)
        self.going &= ~self.dead & (any_running | waiting)

    def outcome(self) -> Discharge:
        first_as = np.where(np.isnan(self.charge_first_as), self.charge_as, self.charge_first_as)
        return Discharge(
            first_let_go_s=self.first_s.T.copy(),
            last_let_go_s=self.last_s.T.copy(),
            restarts=self.restarts.T.copy(),
            lowest_cell_v=self.lowest_v.T.copy(),
            soc=self.cells.soc.T.copy(),
            rested_v=self.cells.rested_v.T.copy(),
            charge_before_ah=first_as / _SECONDS_PER_HOUR,
            charge_after_ah=(self.charge_as - first_as) / _SECONDS_PER_HOUR,
            run_s=self.run_s,
            timed_out=self.going & self.running.any(axis=0),
            dead=self.dead,
        )


class _Pace:
    """How long a stretch each draw goes on for: by its charge, by the trip it comes near, and by the pauses of its driver."""

    def __init__(self, run: _Run, periods: Periods) -> None:
        self.run, self.periods = run, periods
        self.in_last: BoolArray = np.ones(len(run.going), dtype=np.bool_)
        """Whether a draw stands where the last stretch of the load ends."""
        self.before_v, self.count = run.seen_v, np.ones(len(run.going))

    def stretch(self) -> Stretch:
        run, periods = self.run, self.periods
        running = np.where(run.running, run.share, 0.0).sum(axis=0)
        count = periods.count(run.cells.lowest_soc, running * periods.mean_a + run.standing_a.sum())
        above_v = np.where(run.running, run.seen_v - run.trip_v, np.inf).min(axis=0)
        fell_v = (self.before_v - run.seen_v).max(axis=0) / self.count
        # A cell that comes over its cliff takes the pack along far faster than it fell before: there a trip is come to in small steps.
        count = np.where(run.cells.lowest_soc < _CLIFF_SOC, np.minimum(count, periods.taking(_CLIFF_STEP_SOC, periods.mean_a)), count)
        # No more than half the way to the next trip at once, as it fell before: who lets go does so within a period.
        count = np.maximum(np.minimum(count, np.floor(0.5 * above_v / np.maximum(fell_v, 1e-9))), 1.0)
        self.before_v, self.count = run.seen_v, count
        stretch = periods.whole(count)
        back = np.any(run.may_come_back(), axis=0, keepdims=True)[0]
        idle = ~np.any(run.running, axis=0, keepdims=True)[0]
        if not back.any() and not idle.any() and self.in_last.all():
            return stretch
        return self._with_pauses(stretch, count, back, idle)

    def _with_pauses(self, stretch: Stretch, count: FloatArray, back: BoolArray, idle: BoolArray) -> Stretch:
        """Who waits for a controller looks before each last stretch as well, where voltages are highest, and where nothing runs at each pause."""
        periods, last_s = self.periods, self.periods.last_s
        apart = ((back & (periods.period_s > last_s)) | ~self.in_last) & ~idle
        first = apart & self.in_last
        # Who waits for a pause is not made to wait for many periods.
        count = np.where(apart, np.minimum(count, max(1.0, self.run.driver.pause_s // periods.period_s)), count)
        now_a = np.where(first, periods.before_a, periods.current_a)
        duration_s = np.where(apart, count * np.where(first, periods.period_s - last_s, last_s), stretch.duration_s)
        duration_s = np.where(idle, max(self.run.driver.pause_s, 1.0), duration_s)
        self.in_last = ~first
        mean_a = np.where(apart, now_a, periods.mean_a)
        pair_a = tuple(np.where(apart, now_a, each_a) for each_a in periods.pair_a)
        return Stretch(duration_s, now_a, mean_a, pair_a, np.where(apart | idle, 1.0, count))
