"""A whole row of cutoffs from one run without any: a higher cutoff only stops earlier on the same way down.

So the lowest voltage can only fall and the charge only grow as the cutoff goes down, in every single draw.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tracker.errors import InputError
from tracker.physics.cell_circuit import settled_voltage
from tracker.physics.load_profile import LoadProfile
from tracker.physics.pack_discharge import standing_current
from tracker.physics.pack_draws import ControllerDraws, PackDraws

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

_SECONDS_PER_HOUR = 3600.0
_ROUNDING_S = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class CutoffSweep:
    """What each drawn run would have come to at each cutoff.

    Attributes
    ----------
    cutoffs_v : FloatArray
        The cutoffs, rising, of the pack or of one cell as the controller's mode says, shape (cutoffs,) [V]
    tripped : NDArray
        Whether the controller let go before the end, shape (cutoffs, draws) [1]
    run_s : FloatArray
        When the run ended, shape (cutoffs, draws) [s]
    charge_ah : FloatArray
        Charge taken until then, shape (cutoffs, draws) [Ah]
    lowest_cell_v : FloatArray
        Lowest voltage of each cell until then, shape (cutoffs, draws, cells) [V]
    soc, rested_v : FloatArray
        Charge of each cell then, and where it will rest, shape (cutoffs, draws, cells) [1], [V]
    """

    cutoffs_v: FloatArray
    tripped: BoolArray
    run_s: FloatArray
    charge_ah: FloatArray
    lowest_cell_v: FloatArray
    soc: FloatArray
    rested_v: FloatArray


def cutoff_sweep(
    pack: PackDraws,
    controller: ControllerDraws,
    load: LoadProfile,
    cutoffs_v: ArrayLike,
    *,
    end_s: float,
    trip_error_v: ArrayLike = 0.0,
    receiver_a: float = 0.0,
    dead_v: float = 0.0,
    longest_step_s: float = 1.0,
) -> CutoffSweep:
    """Run drawn packs once and read off what each of many cutoffs would have come to.

    Parameters
    ----------
    pack : PackDraws
        The pack's versions [1]
    controller : ControllerDraws
        The one controller that hangs on it; its trip and restart are not looked at [1]
    load : LoadProfile
        What the model draws; the controller takes its share of it [A]
    cutoffs_v : ArrayLike
        Cutoffs to try, rising, shape (cutoffs,) [V]
    end_s : float
        When the run ends in any case [s]
    trip_error_v : ArrayLike
        By how much each draw's controller lets go above its setting, one for all or shape (draws,) [V]
    receiver_a : float
        Current of receiver and servos, where the controller feeds them [A]
    dead_v : float
        Voltage of the pack at or below which nothing runs any more [V]
    longest_step_s : float
        Longest step: voltages are looked at its end [s]

    Returns
    -------
    CutoffSweep
        What each run would have come to at each cutoff [V]

    Notes
    -----
    With a delay the controller lets go where the highest voltage over the delay falls below the cutoff.
    One cutoff alone gives what `discharge` gives for a controller set to it that stays off.

    References
    ----------
    .. [1] No source: first passages of one path.
    """
    cutoffs = np.asarray(cutoffs_v, dtype=np.float64)
    if cutoffs.ndim != 1 or len(cutoffs) == 0 or not np.all(np.isfinite(cutoffs)) or np.any(np.diff(cutoffs) <= 0):
        raise InputError("The cutoffs to try must be rising voltages, at least one.")
    if np.shape(trip_error_v) not in ((), (pack.draws,)):
        raise InputError(
            f"The errors of the trip have shape {np.shape(trip_error_v)}; give one for all or one for each of {pack.draws} draws."
        )
    falling = cutoffs[::-1, None] + np.asarray(trip_error_v, dtype=np.float64)
    passes = _Passes(pack, np.broadcast_to(controller.of_the_pack(falling, pack), (len(cutoffs), pack.draws)))
    cells, standing_a = pack.moving(), standing_current([controller], receiver_a)
    lead_ohm = np.asarray(pack.lead_ohm, dtype=np.float64) + controller.own_lead_ohm
    highest = _Highest(controller.delay_s)
    time_s, charge_as, lowest_v = 0.0, np.zeros(pack.draws), np.full((pack.series, pack.draws), np.inf)
    for duration_s, current_a in load.steps(longest_step_s, end_s):
        total_a = (controller.load_share * current_a + standing_a) * passes.going
        volts = cells.advance(total_a, duration_s)
        time_s += duration_s
        charge_as += total_a * duration_s
        np.minimum(lowest_v, volts, out=lowest_v)
        pack_v = volts.sum(axis=0)
        held_v = highest.since_the_delay(time_s, pack_v - total_a * lead_ohm)
        if held_v is not None:
            passes.note(held_v, time_s, charge_as, lowest_v, cells.soc)
        dead = passes.going & (pack_v <= dead_v)
        if dead.any():
            passes.finish(dead, time_s, charge_as, lowest_v, cells.soc)
        if not passes.going.any():
            break
    passes.finish(passes.going.copy(), time_s, charge_as, lowest_v, cells.soc)
    return passes.sweep(cutoffs)


class _Highest:
    """Highest voltage over the delay up to now."""

    def __init__(self, delay_s: float) -> None:
        self.delay_s = delay_s - _ROUNDING_S
        self.seen: deque[tuple[float, FloatArray]] = deque()

    def since_the_delay(self, time_s: float, seen_v: FloatArray) -> FloatArray | None:
        """Highest voltage looked at since the delay began, or nothing as long as not so much time has passed."""
        if self.delay_s <= 0:
            return seen_v
        self.seen.append((time_s, seen_v))
        while len(self.seen) > 1 and self.seen[1][0] <= time_s - self.delay_s:
            self.seen.popleft()
        if self.seen[0][0] > time_s - self.delay_s:
            return None
        return np.asarray(np.max([volts for _, volts in self.seen], axis=0))


class _Passes:
    """Each draw's way down through the cutoffs, the highest first."""

    def __init__(self, pack: PackDraws, falling_v: FloatArray) -> None:
        count, draws = falling_v.shape
        self.tables = pack.kind.tables
        self.falling_v, self.next, self.draw = falling_v, np.zeros(draws, dtype=np.intp), np.arange(draws)
        self.going: BoolArray = np.ones(draws, dtype=np.bool_)
        self.tripped: BoolArray = np.zeros((count, draws), dtype=np.bool_)
        self.run_s, self.charge_ah = np.empty((count, draws)), np.empty((count, draws))
        self.lowest_v, self.soc = np.empty((count, draws, pack.series)), np.empty((count, draws, pack.series))
        self.next_v = falling_v[0].copy()

    def note(self, held_v: FloatArray, time_s: float, charge_as: FloatArray, lowest_v: FloatArray, soc: FloatArray) -> None:
        """Write down the cutoffs the voltage has fallen below."""
        at = np.flatnonzero(held_v < self.next_v)
        while len(at):
            self.tripped[self.next[at], at] = True
            self._write(at, time_s, charge_as, lowest_v, soc)
            self.next[at] += 1
            left = self.next[at] < len(self.falling_v)
            done, at = at[~left], at[left]
            self.going[done], self.next_v[done] = False, -np.inf
            self.next_v[at] = self.falling_v[self.next[at], at]
            at = at[held_v[at] < self.next_v[at]]

    def finish(self, which: BoolArray, time_s: float, charge_as: FloatArray, lowest_v: FloatArray, soc: FloatArray) -> None:
        """End runs before they came to the cutoffs that are left."""
        at = np.flatnonzero(which)
        while len(at):
            self._write(at, time_s, charge_as, lowest_v, soc)
            self.next[at] += 1
            self.going[at], self.next_v[at] = False, -np.inf
            at = at[self.next[at] < len(self.falling_v)]

    def _write(self, at: NDArray[np.intp], time_s: float, charge_as: FloatArray, lowest_v: FloatArray, soc: FloatArray) -> None:
        place = self.next[at]
        self.run_s[place, at] = time_s
        self.charge_ah[place, at] = charge_as[at] / _SECONDS_PER_HOUR
        self.lowest_v[place, at] = lowest_v[:, at].T
        self.soc[place, at] = soc[:, at].T

    def sweep(self, cutoffs_v: FloatArray) -> CutoffSweep:
        soc = self.soc[::-1]
        rested_v = np.swapaxes(settled_voltage(self.tables, np.swapaxes(soc, 1, 2)), 1, 2)
        return CutoffSweep(cutoffs_v, self.tripped[::-1], self.run_s[::-1], self.charge_ah[::-1], self.lowest_v[::-1], soc, rested_v)
