"""A whole row of cutoffs from one run without any: a higher cutoff only stops earlier on the same way down.

So the lowest voltage can only fall and the charge only grow as the cutoff goes down, in every single draw.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tracker.errors import InputError
from tracker.physics.load_profile import LoadProfile
from tracker.physics.pace import LEAST_SOC, Periods, Stretch
from tracker.physics.pack_discharge import standing_current
from tracker.physics.pack_draws import ControllerDraws, PackDraws

FloatArray = NDArray[np.float64]

_SECONDS_PER_HOUR = 3600.0


@dataclass(frozen=True, slots=True, eq=False)
class CutoffSweep:
    """What each drawn run would have come to at each cutoff.

    Attributes
    ----------
    cutoffs_v : FloatArray
        The cutoffs, rising, of the pack or of one cell as the controller's mode says, shape (cutoffs,) [V]
    run_s : FloatArray
        When the run ended, shape (cutoffs, draws) [s]
    charge_ah : FloatArray
        Charge taken until then, shape (cutoffs, draws) [Ah]
    lowest_v : FloatArray
        Lowest voltage of any cell until then, shape (cutoffs, draws) [V]
    """

    cutoffs_v: FloatArray
    run_s: FloatArray
    charge_ah: FloatArray
    lowest_v: FloatArray


def cutoff_sweep(
    pack: PackDraws,
    controller: ControllerDraws,
    load: LoadProfile,
    cutoffs_v: ArrayLike,
    *,
    trip_error_v: ArrayLike = 0.0,
    receiver_a: float = 0.0,
    until_cell_v: float = -np.inf,
) -> CutoffSweep:
    """Run drawn packs once and read off what each of many cutoffs would have come to.

    Parameters
    ----------
    pack : PackDraws
        The pack's versions [1]
    controller : ControllerDraws
        The one controller that hangs on it, which lets go at once; its trip and restart are not looked at [1]
    load : LoadProfile
        What the model draws over and over, hardest in its last stretch; the controller takes its share of it [A]
    cutoffs_v : ArrayLike
        Cutoffs to try, rising, shape (cutoffs,) [V]
    trip_error_v : ArrayLike
        By how much each draw's controller lets go above its setting, one for all or shape (draws,) [V]
    receiver_a : float
        Current of receiver and servos, where the controller feeds them [A]
    until_cell_v : float
        Where it is enough to know that a cell goes below this: such a run is not followed further [V]

    Returns
    -------
    CutoffSweep
        What each run would have come to at each cutoff [V]

    Notes
    -----
    Voltages are looked at where the last stretch of the load ends. Several periods in one step are read off in between as if the voltage fell
    evenly, at the end of the period in which it falls below. A pack that gives no voltage any more ends its run there.
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
    settings = cutoffs[:, None] + np.asarray(trip_error_v, dtype=np.float64)
    levels_v = np.broadcast_to(controller.of_the_pack(settings, pack), (len(cutoffs), pack.draws))
    return _Path(pack, controller, load, receiver_a, levels_v[0], until_cell_v).sweep(cutoffs, levels_v)


class _Path:
    """The way down of every draw: rows of what was looked at, one a step, the first before anything was drawn."""

    def __init__(
        self, pack: PackDraws, controller: ControllerDraws, load: LoadProfile, receiver_a: float, last_v: FloatArray, until_cell_v: float
    ) -> None:  # fmt: skip
        self.cells, self.last_v, self.until_cell_v = pack.moving(), last_v, until_cell_v
        self.share, self.standing_a = controller.load_share, standing_current([controller], receiver_a)
        self.lead_ohm = np.asarray(pack.lead_ohm, dtype=np.float64) + controller.own_lead_ohm
        self.going = np.ones(pack.draws, dtype=np.bool_)
        none, volts = np.zeros(pack.draws), self.cells.rested_v
        self.seen_v, self.lowest_v = [volts.sum(axis=0)], [volts.min(axis=0)]
        self.time_s, self.charge_as, self.periods = [none], [none], [np.ones(pack.draws)]
        periods = Periods(load, self.cells, pack.kind.tables, pack.capacity_ah.min(axis=1))
        for stretch in periods.opening():
            self._go_on(stretch, np.ones(pack.draws))
        mean_a = self._drawn(periods.mean_a)
        while self.going.any():
            count = periods.count(self.cells.lowest_soc, mean_a)
            self._go_on(periods.whole(count), count)

    def _drawn(self, current_a: FloatArray) -> FloatArray:
        return np.asarray(self.share * current_a + self.standing_a)

    def _go_on(self, stretch: Stretch, count: FloatArray) -> None:
        going, now_a = self.going, self._drawn(stretch.current_a) * self.going
        mean_a = now_a if stretch.mean_a is None else self._drawn(stretch.mean_a) * going
        pair_a = None if stretch.pair_a is None else [self._drawn(each_a) * going for each_a in stretch.pair_a]
        volts = self.cells.advance(now_a, stretch.duration_s, mean_a=mean_a, pair_a=pair_a)
        total_v = volts.sum(axis=0)
        # Who has stopped recovers; what is seen then is of no run.
        self.seen_v.append(np.where(going, np.minimum(total_v - now_a * self.lead_ohm, self.seen_v[-1]), self.seen_v[-1]))
        self.lowest_v.append(np.where(going, np.minimum(volts.min(axis=0), self.lowest_v[-1]), self.lowest_v[-1]))
        self.time_s.append(self.time_s[-1] + stretch.duration_s * going)
        self.charge_as.append(self.charge_as[-1] + mean_a * stretch.duration_s)
        self.periods.append(count)
        wanted = (self.seen_v[-1] >= self.last_v) & (self.lowest_v[-1] >= self.until_cell_v)
        self.going = going & wanted & (total_v > 0.0) & (self.cells.highest_soc > LEAST_SOC)

    def sweep(self, cutoffs_v: FloatArray, levels_v: FloatArray) -> CutoffSweep:
        """Read off where each draw passes each level."""
        seen_v = np.array(self.seen_v)
        draws = seen_v.shape[1]
        after = np.maximum(_first_below(seen_v, levels_v), 1) * draws + np.arange(draws)
        before = after - draws
        before_v, after_v = seen_v.take(before), seen_v.take(after)
        count = np.array(self.periods).take(after)
        fallen = (before_v - levels_v) / np.maximum(before_v - after_v, 1e-12)
        part = np.where(after_v < levels_v, np.clip(np.floor(fallen * count) + 1.0, 1.0, count) / count, 1.0)

        def at(rows: list[FloatArray]) -> FloatArray:
            values = np.array(rows)
            early = values.take(before)
            return np.asarray(early + part * (values.take(after) - early))

        return CutoffSweep(cutoffs_v, at(self.time_s), at(self.charge_as) / _SECONDS_PER_HOUR, at(self.lowest_v))


def _first_below(falling_v: FloatArray, levels_v: FloatArray) -> NDArray[np.intp]:
    """First row of a falling path below each level, the last row where there is none; shape of the levels."""
    rows, draws = falling_v.shape
    low, high = np.zeros(levels_v.shape, dtype=np.intp), np.full(levels_v.shape, rows - 1, dtype=np.intp)
    columns = np.arange(draws)
    for _ in range(int(rows).bit_length()):
        middle = (low + high) // 2
        below = falling_v.take(middle * draws + columns) < levels_v
        high = np.where(below, middle, high)
        low = np.where(below, low, np.minimum(middle + 1, high))
    return low
