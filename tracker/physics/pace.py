"""Stepping through a load that comes back again and again: as many of its periods at once as the charge of a pack allows.

Looked at where its last stretch ends, a periodic load does to a cell just what steady currents would: its mean to the charge,
and to each pair of resistor and capacitor the one steady current that leaves the pair the same voltage there. So a whole number of periods is one
exact step, long where a pack is half full and one period where its weakest cell comes to its knee. Every draw has a clock of its own.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from tracker.errors import InputError
from tracker.physics.cell_circuit import CellTables
from tracker.physics.cell_model import MovingCells
from tracker.physics.load_profile import LoadProfile

FloatArray = NDArray[np.float64]

LEAST_SOC = -0.1
"""A pack whose every cell has given so much more than it holds gives nothing any more."""
_STEPS_SOC, _FALL_V = (0.004, 0.01, 0.02, 0.05), 0.05
"""Charge of the weakest cell a step takes, over what it holds: the most of these over which its rested voltage falls no further than so much."""
_NODE_SOC, _EMPTY_SOC = 0.01, -0.02
"""How closely a curve is looked at for that; and below what charge nothing fine is looked for any more."""
_SECONDS_PER_HOUR = 3600.0


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """Part of a run, at the end of which voltages are looked at.

    Attributes
    ----------
    duration_s : float | FloatArray
        How long, one for all or shape (draws,) [s]
    current_a : FloatArray
        Current of all motors running at its end, shape () or (draws,) [A]
    mean_a : FloatArray, optional
        Its mean; the same throughout when left out [A]
    pair_a : tuple[FloatArray, ...], optional
        For each pair, the steady current that leaves it the same voltage, likewise [A]
    parts : FloatArray, optional
        How many equal parts it is made of, at the end of each of which a voltage is seen, shape (draws,); one when left out [1]
    """

    duration_s: float | FloatArray
    current_a: FloatArray
    mean_a: FloatArray | None = None
    pair_a: tuple[FloatArray, ...] | None = None
    parts: FloatArray | None = None


class Periods:
    """A periodic load taken in whole periods.

    Parameters
    ----------
    load : LoadProfile
        The load, repeated.
    cells : MovingCells
        What is run, shape (cells, draws).
    tables : CellTables
        Their tables.
    capacity_ah : FloatArray
        What the smallest cell of each draw holds, shape (draws,) [Ah].
    """

    def __init__(self, load: LoadProfile, cells: MovingCells, tables: CellTables, capacity_ah: FloatArray) -> None:
        if not load.repeated:
            raise InputError("A load that is taken in whole periods must come back again and again.")
        self.period_s = float(load.duration_s.sum())
        self.last_s = float(load.duration_s[-1])
        self.current_a, self.mean_a = np.asarray(load.current_a[-1]), load.mean_a
        self.before_a = self.current_a
        if len(load.duration_s) > 1:
            self.before_a = (self.mean_a * self.period_s - self.current_a * self.last_s) / (self.period_s - self.last_s)
        self.pair_a = tuple(_steady_for(load, tau) for tau in cells.pair_s)
        self._capacity_as = _SECONDS_PER_HOUR * capacity_ah
        self._steps_soc, self._low = _longest_steps(tables), tables.low

    def count(self, lowest_soc: FloatArray, drawn_a: FloatArray) -> FloatArray:
        """How many periods at once.

        Parameters
        ----------
        lowest_soc : FloatArray
            Charge of the lowest cell, shape (draws,) [1]
        drawn_a : FloatArray
            Mean current that flows, shape (draws,) [A]

        Returns
        -------
        FloatArray
            Whole numbers from 1, shape (draws,) [1]

        References
        ----------
        .. [1] No source: fine where a voltage falls fast.
        """
        nodes, curves = self._steps_soc.shape
        node = np.clip(np.ceil((lowest_soc - self._low) / _NODE_SOC - 1e-9), 0, nodes - 1).astype(np.intp)
        part = self._steps_soc.take(node * curves + (np.arange(len(node)) if curves > 1 else 0))
        part = np.where(lowest_soc < _EMPTY_SOC, np.maximum(part, _STEPS_SOC[1]), part)
        return self.taking(part, drawn_a)

    def taking(self, part: float | FloatArray, drawn_a: FloatArray) -> FloatArray:
        """How many periods take no more than a part of the charge.

        Parameters
        ----------
        part : float or FloatArray
            Of what the smallest cell holds, one for all or shape (draws,) [1]
        drawn_a : FloatArray
            Mean current that flows, shape () or (draws,) [A]

        Returns
        -------
        FloatArray
            Whole numbers from 1, shape (draws,) [1]

        References
        ----------
        .. [1] No source: a division.
        """
        return np.asarray(np.maximum(np.floor(part * self._capacity_as / (np.maximum(drawn_a, 1e-9) * self.period_s)), 1.0))

    def opening(self) -> list[Stretch]:
        """The first period apart: a voltage that is low from the start is seen before the last, hardest stretch.

        Returns
        -------
        list[Stretch]
            What comes before the last stretch, where there is such, and that [s]

        References
        ----------
        .. [1] No source: a definition.
        """
        if self.last_s == self.period_s:
            return [Stretch(self.last_s, self.current_a)]
        return [Stretch(self.period_s - self.last_s, self.before_a), Stretch(self.last_s, self.current_a)]

    def whole(self, count: FloatArray) -> Stretch:
        """So many periods in one.

        Parameters
        ----------
        count : FloatArray
            How many, shape (draws,) [1]

        Returns
        -------
        Stretch
            They end where the last stretch of the load ends [s]

        References
        ----------
        .. [1] No source: a definition.
        """
        return Stretch(count * self.period_s, self.current_a, self.mean_a, self.pair_a, count)


@lru_cache(maxsize=1)
def _longest_steps(tables: CellTables) -> FloatArray:
    """The longest step from each node of each curve down, and from anywhere down to the node below, shape (nodes, curves)."""
    points = tables.ocv_v.shape[-1]
    every = max(1, round(_NODE_SOC * (points - 1) / (tables.high - tables.low)))
    volts = tables.ocv_rows[0].reshape(points, -1)[::every]
    longest = np.full(volts.shape, _STEPS_SOC[0])
    for step_soc in _STEPS_SOC[1:]:
        nodes = round(step_soc / _NODE_SOC) + 1
        fall_v = volts - volts[np.maximum(np.arange(len(volts)) - nodes, 0)]
        longest[fall_v <= _FALL_V] = step_soc
    return longest


def _steady_for(load: LoadProfile, tau_s: FloatArray) -> FloatArray:
    """Steady current that leaves a pair the voltage the load leaves it where its last stretch ends, again and again."""
    kept = [np.exp(-duration_s / tau_s) for duration_s in load.duration_s]
    left, level_a = np.ones_like(kept[0]), np.zeros_like(load.current_a[0])
    for current_a, keeps in zip(load.current_a, kept, strict=True):
        level_a = level_a * keeps + current_a * (1.0 - keeps)
        left = left * keeps
    return np.asarray(level_a / (1.0 - left))
