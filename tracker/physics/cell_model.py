"""A cell as an equivalent circuit, stepped through time: rested voltage, a series resistance and pairs of resistor and capacitor.

    v = ocv(soc) - i r0 - sum_p u_p,        du_p/dt = (i r_p - u_p) / tau_p,        dsoc/dt = -i / capacity

Any number of cells at once. While the current stays the same a step of any length is exact, as long as the resistances
run straight over the charge it takes: the pairs' voltages are the solution of their equation, not an approximation in the step.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tracker.errors import InputError
from tracker.physics.cell_circuit import Cells, CellState, with_rises
from tracker.physics.load_voltage import arrhenius_factor

FloatArray = NDArray[np.float64]

_SECONDS_PER_HOUR = 3600.0


def step(cells: Cells, state: CellState, current_a: ArrayLike, duration_s: float) -> tuple[CellState, FloatArray]:
    """State and voltage after a stretch of one current.

    Parameters
    ----------
    cells : Cells
        The cells [1]
    state : CellState
        Where they stand; stays as it is [1]
    current_a : ArrayLike
        Current, discharge positive, a shape that broadcasts with the cells [A]
    duration_s : float
        How long [s]

    Returns
    -------
    state : CellState
        Where they stand after it [1]
    voltage_v : FloatArray
        Voltage at its end, the current still flowing [V]

    Notes
    -----
    With ``a = exp(-dt/tau)`` and ``k = 1 - tau (1 - a) / dt`` the pairs' voltages become
    ``a u + i (r_start (1 - a - k) + r_end k)``: exact for a resistance that runs straight in time.

    References
    ----------
    .. [1] G. L. Plett, Battery Management Systems, vol. 1, Artech House 2015, chapter 2: the discrete equations of the
       circuit. Theirs take the resistance at the start of the step; here it runs from start to end.
    """
    if not (np.isfinite(duration_s) and duration_s > 0):
        raise InputError(f"The step is {duration_s:g} s long; it must be above 0.")
    moving = MovingCells(cells, state)
    voltage_v = moving.advance(np.asarray(current_a, dtype=np.float64), duration_s)
    return moving.state, voltage_v


class MovingCells:
    """Cells on their way through a load: the same as `step`, in place, for many steps in a row.

    Parameters
    ----------
    cells : Cells
        The cells.
    state : CellState
        Where they start; stays as it is.
    """

    def __init__(self, cells: Cells, state: CellState) -> None:
        kind, tables = cells.kind, cells.kind.tables
        points = tables.ocv_v.shape[-1]
        shape = np.shape(cells.capacity_ah)
        self._cells, self._shape, self._low = cells, shape, tables.low
        self._places_per_soc = (points - 1) / (tables.high - tables.low)
        self._last = points - 2
        self._per_as = self._places_per_soc / (_SECONDS_PER_HOUR * np.asarray(cells.capacity_ah, dtype=np.float64))
        self._ocv, self._ocv_rise = tables.ocv_rows
        self._curves = np.arange(len(tables.ocv_v)) if tables.ocv_v.ndim > 1 else None
        self._r0_table = _unless_even(tables.r0_factor)
        self._pair_tables = [_unless_even(factor) for factor in tables.pair_factor]
        for pair, factor in enumerate(tables.pair_factor[1:], start=1):
            if np.array_equal(factor, tables.pair_factor[0]):
                self._pair_tables[pair] = self._pair_tables[0]
        self._place = (np.broadcast_to(state.soc, shape) - self._low) * self._places_per_soc
        self._pair_v = [np.array(np.broadcast_to(volts, shape)) for volts in state.pair_v]
        self._kelvin = np.array(state.temperature_k if cells.heating is None else np.broadcast_to(state.temperature_k, shape))
        self._pair_count = len(kind.pair_s)
        self._index, self._curve_index = np.empty(shape, dtype=np.intp), np.empty(shape, dtype=np.intp)
        self._part, self._work, self._more = np.empty(shape), np.empty(shape), np.empty(shape)
        self._ocv_now, self._r0_now, self._factor = np.empty(shape), np.empty(shape), np.empty(shape)
        self._pair_now = [np.empty(shape) for _ in kind.pair_s]
        self._pair_before = [np.empty(shape) for _ in kind.pair_s]
        self._weights: dict[float, list[tuple[FloatArray, FloatArray, FloatArray]]] = {}
        self._warm()
        self._look_up()

    @property
    def state(self) -> CellState:
        """Where the cells stand now, as a copy."""
        pair_v = np.array(self._pair_v).reshape(self._pair_count, *self._shape)
        return CellState(self.soc, pair_v, self._kelvin.copy())

    @property
    def soc(self) -> FloatArray:
        """State of charge now, as a copy [1]."""
        return np.asarray(self._place / self._places_per_soc + self._low)

    @property
    def rested_v(self) -> FloatArray:
        """Rested voltage at the present charge, as a copy [V]."""
        return self._ocv_now.copy()

    @property
    def lowest_soc(self) -> FloatArray:
        """State of charge of the lowest along the first axis [1]."""
        return np.asarray(self._place.min(axis=0) / self._places_per_soc + self._low)

    @property
    def highest_soc(self) -> FloatArray:
        """State of charge of the highest along the first axis [1]."""
        return np.asarray(self._place.max(axis=0) / self._places_per_soc + self._low)

    @property
    def pair_s(self) -> tuple[FloatArray, ...]:
        """Time constant of each pair at the present temperature [s]."""
        return tuple(self._tau)

    def advance(
        self,
        current_a: FloatArray,
        duration_s: float | FloatArray,
        *,
        mean_a: FloatArray | None = None,
        pair_a: Sequence[FloatArray] | None = None,
    ) -> FloatArray:
        """Go on under one current, or under one that comes and goes.

        Parameters
        ----------
        current_a : FloatArray
            Current, discharge positive, a shape that broadcasts with the cells; of one that comes and goes, that at the end [A]
        duration_s : float | FloatArray
            How long, above 0, a shape that broadcasts with the cells [s]
        mean_a : FloatArray, optional
            Its mean; as at the end when left out [A]
        pair_a : Sequence[FloatArray], optional
            For each pair, the steady current that would leave it the same voltage; as at the end when left out [A]

        Returns
        -------
        FloatArray
            Voltage at the end, the current still flowing [V]

        References
        ----------
        .. [1] As in `step`.
        """
        work, more = self._work, self._more
        weights = self._weights_for(duration_s)
        if self._cells.heating is not None:
            if mean_a is not None or np.ndim(duration_s):
                raise InputError("Cells that warm go on under one current and for one time only.")
            self._heat(current_a, float(duration_s))
        np.multiply(self._per_as, (current_a if mean_a is None else mean_a) * duration_s, out=work)
        self._place -= work
        self._pair_before, self._pair_now = self._pair_now, self._pair_before
        self._look_up()
        volts = self._ocv_now - np.multiply(self._r0_now, current_a, out=work)
        for pair, (kept, start, end) in enumerate(weights):
            over, through_a = self._pair_v[pair], current_a if pair_a is None else pair_a[pair]
            np.multiply(self._pair_before[pair], start * through_a, out=work)
            work += np.multiply(self._pair_now[pair], end * through_a, out=more)
            over *= kept
            over += work
            volts -= over
        return np.asarray(volts)

    def _look_up(self) -> None:
        """Rested voltage and resistances at the present charge."""
        part, work = self._part, self._work
        np.maximum(self._place, 0.0, out=part)
        np.minimum(part, self._last, out=part)
        np.copyto(self._index, part, casting="unsafe")
        np.subtract(self._place, self._index, out=part)  # beyond the ends it leaves 0…1: the outermost stretch goes straight on
        index = self._index
        if self._curves is not None:
            index = np.multiply(index, len(self._curves), out=self._curve_index)
            index += self._curves
        self._ocv_rise.take(index, out=work, mode="clip")
        work *= part
        self._ocv.take(index, out=self._ocv_now, mode="clip")
        self._ocv_now += work
        self._factor_on(self._r0_table, self._r0_now)
        self._r0_now *= self._r0_warm
        for pair, (table, base, now) in enumerate(zip(self._pair_tables, self._pair_warm, self._pair_now, strict=True)):
            if pair and table is self._pair_tables[0]:
                np.multiply(self._factor, base, out=now)  # the same factor as on the first
                continue
            self._factor_on(table, now)
            if pair == 0:
                np.copyto(self._factor, now)
            now *= base

    def _factor_on(self, table: tuple[FloatArray, FloatArray] | None, out: FloatArray) -> None:
        """Factor on a resistance at the present charge."""
        if table is None:
            out.fill(1.0)
            return
        values, rises = table
        rises.take(self._index, out=self._work, mode="clip")
        self._work *= self._part
        values.take(self._index, out=out, mode="clip")
        out += self._work

    def _warm(self) -> None:
        """Take what depends on the temperature at the present one."""
        cells, kind = self._cells, self._cells.kind
        none = (0.0,) * self._pair_count
        of_pairs, slower = kind.pair_energy_j_mol or none, kind.pair_time_energy_j_mol or none
        colder = {energy: arrhenius_factor(self._kelvin, energy) for energy in {kind.r0_energy_j_mol, *of_pairs, *slower}}
        self._r0_warm = np.asarray(cells.r0_ohm * colder[kind.r0_energy_j_mol])
        self._pair_warm = [np.asarray(ohm * colder[energy]) for ohm, energy in zip(cells.pair_ohm, of_pairs, strict=True)]
        self._tau = [np.asarray(second * (colder[energy] if energy else 1.0)) for second, energy in zip(kind.pair_s, slower, strict=True)]
        if any(slower):
            self._weights.clear()

    def _weights_for(self, duration_s: float | FloatArray) -> list[tuple[FloatArray, FloatArray, FloatArray]]:
        """For each pair, what counts its voltage, its resistance at the start and its resistance at the end."""
        kept = duration_s if isinstance(duration_s, float) else None
        found = self._weights.get(kept) if kept is not None else None
        if found is None:
            found = []
            for tau in self._tau:
                lost = -np.expm1(-duration_s / tau)
                end = 1.0 - tau / duration_s * lost
                found.append((np.asarray(1.0 - lost), np.asarray(lost - end), np.asarray(end)))
            if kept is not None and len(self._weights) < 1000:  # a recording may hold as many lengths of step as steps
                self._weights[kept] = found
        return found

    def _heat(self, current_a: FloatArray, duration_s: float) -> None:
        """Warm by what the current loses, less what goes to the air; the loss as in the middle of the step."""
        heating = self._cells.heating
        if heating is None:
            return
        sag = self._r0_now * current_a
        for over, ohm, (left, start, end) in zip(self._pair_v, self._pair_now, self._weights_for(duration_s), strict=True):
            sag += 0.5 * ((1.0 + left) * over + (start + end) * ohm * current_a)
        steady = heating.air_k + sag * current_a / heating.cooling_w_k
        kept = np.exp(-duration_s * heating.cooling_w_k / heating.heat_capacity_j_k)
        self._kelvin = steady + (self._kelvin - steady) * kept
        self._warm()


def _unless_even(factor: FloatArray) -> tuple[FloatArray, FloatArray] | None:
    """Values and rises of a factor, or nothing where it is 1 throughout."""
    return None if np.all(factor == 1.0) else with_rises(factor)
