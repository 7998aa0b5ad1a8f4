"""What the runs of an outing took out: every reading, weighed against what is known of the pack.

Unknowns of one outing of m runs on n cells, in this order:

    a_i   logarithm of capacity over what was expected, n
    c_k   coefficients of the pack's own voltage curve, K
    s_i   state of charge at the start, n
    q_j   charge each run took, over rated, m
    e     what all cells of one reading have in common (meter, relaxation), before and after each run, 2 m
    f     state of charge after the next charge, 1

Cells in series pass the same charge: soc after run j is s_i - (q_1 + … + q_j) / C_i. Every reading is one row of a
least-squares problem with a Student-t loss; all outings of a shape are solved together.
"""

from __future__ import annotations

from dataclasses import fields, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from tracker.estimators.cell_family import CellFamily
from tracker.estimators.knowledge import PackKnowledge
from tracker.estimators.outing_fit import Layout, OutingFit, Relaxed
from tracker.estimators.readings import Readings
from tracker.physics.rest_voltage import taper
from tracker.physics.robust_fit import biweight, solve, student_weight

FloatArray = NDArray[np.float64]

CELL_READING_SD_V = 0.006
"""One cell on a cell checker: 10 mV step and a few millivolts of calibration. From memory."""
SHARED_READING_SD_V = 0.004
"""What all cells of one reading have in common: the meter's reference, temperature. From memory."""
TOTAL_READING_RELATIVE_SD = 0.002
"""A hand-held meter on the whole pack: 0.5 % and a digit as limits (JCGM 100:2008, 4.3.7), less the part of its gain that is
the same at every reading and so is learned with the pack's curve. Class from memory."""
CHARGER_RELATIVE_SD = 0.015
"""Count of a hobby charger. Common practice, no source."""
METER_RELATIVE_SD = 0.025
"""Count of a meter in a model. From memory."""
TRACE_RELATIVE_SD = 0.015
"""Charge by a recorded current: the gain of a hobby logger's sensor, 1 to 2 %, and its zero. From memory."""
MEAN_CURRENT_RELATIVE_SD = 0.08
"""A mean current read off and typed in. From memory."""
COUNT_STEP_OF_RATED = 0.002
"""What any count is uncertain by besides its gain: rounding and what a charger does at the end."""
UNKNOWN_REST_S = 1200.0
"""Rest before a reading where it was not written down."""
SETTLING_SD_V = 0.006
"""A pack just off the charger still comes down by some millivolts. From memory."""
LOAD_RELATIVE_SD = 0.4
"""How well the sag under load is known when a loaded voltage has to stand in for a rested one."""
WIDE_CHARGE = (0.6, 0.6)
"""Mean and spread of the charge of a run over rated when nothing is known."""
CELL_APART_SOC = 0.05
"""Cells of a pack ordinarily rest this near each other, by their readings. From memory."""
NEIGHBOUR_END = 5.0
"""A cell this many tolerances from its neighbours is a slip of the pen until another reading says otherwise."""
CELL_START_SD_SOC = 0.008
"""How unevenly a charge leaves the cells of a pack: within some 10 mV of each other, where a volt is a whole charge. From memory."""
CEILING_SD_SOC = 0.015
"""How far above full a cell may come out before it is pulled back: what readings of a full pack scatter by. From memory."""
ROUGHNESS = 0.3
"""Part of the spread between makes that is no smooth deviation: steps of a curve that no shape follows. From memory."""
ALIKE_SOC_SD = 0.03
"""Uncertainty that all voltages are given at first sight."""
FIRST_STEPS, ITERATIONS = 4, 8
CONVERGED = 1e-3
"""The last step below a tenth of a percent of the charge leaves far less than that undone, and nothing a person could read."""


def fit_outings(readings: Readings, cells: CellFamily, known: PackKnowledge) -> OutingFit:
    """Fit outings of one shape, each with what is known of its pack.

    Parameters
    ----------
    readings : Readings
        What was read of N outings [1]
    cells : CellFamily
        Their chemistry made ready [1]
    known : PackKnowledge
        What is known of each outing's pack, N of them [1]

    Returns
    -------
    OutingFit
        Unknowns with their covariance, and how each reading fared [1]

    References
    ----------
    .. [1] J. Nocedal, S. J. Wright, Numerical Optimization, 2nd ed., Springer 2006, section 10.3 (Gauss-Newton).
    .. [2] K. L. Lange et al., J. Am. Stat. Assoc. 84 (1989) 881-896, doi 10.1080/01621459.1989.10478852 (t loss).
    """
    problem = _Problem(readings, cells, known)
    x = problem.prior_mean.copy()
    going = problem.step(x, np.ones(len(x), dtype=bool), first=True)
    for _ in range(FIRST_STEPS - 1):
        going = problem.step(x, going)
    if going.any():
        # Most are done by now: what is left is cheaper to go on with by itself.
        left = np.flatnonzero(going)
        rest, own = _Problem(some_of(readings, left), cells, some_of(known, left)), x[left]
        unfinished = np.ones(len(left), dtype=bool)
        for _ in range(ITERATIONS - FIRST_STEPS):
            unfinished = rest.step(own, unfinished)
        x[left] = own
    residual, jacobian = problem.linearise(x)
    weight = problem.robust_weight(residual)
    # Weights above one of readings that fit make up for those below one of readings that fit less: on the whole they are one.
    weighted = jacobian * weight[..., None]
    precision = problem.prior_precision + np.swapaxes(weighted, 1, 2) @ jacobian
    covariance = np.asarray(np.linalg.inv(precision), dtype=np.float64)
    return OutingFit(
        layout=problem.layout,
        x=x,
        covariance=covariance,
        expected_log_capacity=problem.log_capacity,
        weight=problem.by_kind(weight),
        scaled=problem.by_kind(np.where(problem.present > 0, residual, np.nan)),
        row_sd=problem.row_sd,
        read_soc=problem.read_soc,
        relaxed=problem.relaxed,
        lost=problem.lost,
    )


_Arrays = TypeVar("_Arrays", Readings, PackKnowledge)


def some_of(record: _Arrays, which: NDArray[np.intp]) -> _Arrays:
    """Some of the outings of a record whose every array has one row an outing.

    Parameters
    ----------
    record : Readings or PackKnowledge
        Of N outings [1]
    which : NDArray[np.intp]
        Which of them [1]

    Returns
    -------
    Readings or PackKnowledge
        Of those [1]

    References
    ----------
    .. [1] No source: bookkeeping.
    """
    return replace(record, **{each.name: getattr(record, each.name)[which] for each in fields(record)})


class _Problem:
    """Residuals and their derivatives for N outings of one shape."""

    def __init__(self, readings: Readings, cells: CellFamily, known: PackKnowledge) -> None:
        self.r, self.cells = readings, cells
        count, runs, n = readings.before_v.shape
        self.count, self.runs, self.n = count, runs, n
        self.layout = Layout(n, cells.curve.shape_count, runs)
        self.known = known
        self.log_capacity = known.log_capacity
        self.acceptance = cells.chemistry["charge_acceptance"]
        self.acceptance_sd = cells.sd_of("charge_acceptance", 0.004)
        # A charger that balances gives until the neediest cell is full: the one that loses by standing, where there is one.
        own_loss = cells.chemistry["self_discharge_per_month"] + known.excess_loss
        self.lost = np.minimum(own_loss[:, None, :] * readings.since_months[..., None], 0.5)
        restless = known.excess_loss > 0.0
        alone = (known.excess_loss == known.excess_loss.max(axis=1, keepdims=True)) & restless
        self.neediest = np.where(restless.any(axis=1, keepdims=True), alone, 1.0 / n)
        self.factor = cells.slower(readings.pack_k)
        self.rows: dict[str, slice] = {}
        self.row_sd: dict[str, FloatArray] = {}
        self.read_soc: dict[str, FloatArray] = {}
        self._number_rows()
        self._set_prior(known)
        self.slope_v = cells.chemistry["temperature_slope"]
        self.present = self._presence()
        for when in ("before", "after", "load"):
            for kind, shape in ((when, (count, runs, n)), (f"{when}_total", (count, runs))):
                self.row_sd[kind], self.read_soc[kind] = np.ones(shape), np.full(shape, np.nan)
        self.used = {kind for kind, rows in self.rows.items() if self.present[:, rows].any()}
        self.beside_neighbours: dict[str, FloatArray] = {}
        self.relaxed = Relaxed(np.zeros((count, runs)), np.zeros((count, runs)), np.ones((count, runs)))

    def _number_rows(self) -> None:
        at = 0
        sizes = (
            ("before", self.runs * self.n), ("before_total", self.runs), ("after", self.runs * self.n), ("after_total", self.runs),
            ("load", self.runs * self.n), ("load_total", self.runs), ("meter", self.runs), ("trace", self.runs), ("mean_current", self.runs),
            ("usual", self.runs), ("charger", 1), ("ceiling", self.n + 1),
        )  # fmt: skip
        for kind, size in sizes:
            self.rows[kind] = slice(at, at + size)
            at += size
        self.row_count = at

    def _presence(self) -> FloatArray:
        r = self.r
        seen = np.zeros((self.count, self.row_count))
        no_after = np.isnan(r.after_v).all(axis=2) & np.isnan(r.after_mean_v)
        has_current = ~np.isnan(r.loaded_a) | ~np.isnan(r.mean_a)
        fallback = no_after & has_current
        loaded_total = ~np.isnan(r.loaded_mean_v) | ~np.isnan(r.cutoff_v)
        flags = {
            "before": ~np.isnan(r.before_v).reshape(self.count, -1),
            "before_total": ~np.isnan(r.before_mean_v),
            "after": ~np.isnan(r.after_v).reshape(self.count, -1),
            "after_total": ~np.isnan(r.after_mean_v),
            "load": (~np.isnan(r.loaded_v) & fallback[..., None]).reshape(self.count, -1),
            "load_total": loaded_total & np.isnan(r.loaded_v).all(axis=2) & fallback,
            "meter": ~np.isnan(r.meter_ah),
            "trace": ~np.isnan(r.trace_ah),
            "mean_current": ~np.isnan(r.mean_a) & np.isnan(r.meter_ah) & np.isnan(r.trace_ah),
            "usual": ~np.isnan(r.usual_ah),
            "charger": ~np.isnan(r.put_back_ah)[:, None],
            "ceiling": np.ones((self.count, self.n + 1), dtype=bool),
        }
        for kind, flag in flags.items():
            seen[:, self.rows[kind]] = flag
        return seen

    def first_look(self) -> FloatArray:
        """Weights before any answer is known.

        Voltages after a run wait where a count says what it took. Otherwise all count alike, however steep the curve
        there: the reading on the steep part is the surest of all if it is right, and would drag the others along if not.
        """
        look = self.present.copy()
        counts = [self.rows[kind] for kind in ("meter", "trace", "mean_current", "charger")]
        counted = np.any([self.present[:, rows].any(axis=1) for rows in counts], axis=0)[:, None]
        for kind in ("after", "after_total", "load", "load_total"):
            alike = np.square(np.minimum(1.0, self.row_sd[kind] / ALIKE_SOC_SD)).reshape(self.count, -1)
            look[:, self.rows[kind]] *= np.where(counted, 0.0, alike)
        return look

    def robust_weight(self, residual: FloatArray) -> FloatArray:
        """Weight of each reading: against the answer, and for a cell also against what its neighbours say.

        A cell's own capacity and charge bend to its reading; without the look at its neighbours, a slip of the pen
        would pass for a weak cell.
        """
        weight = student_weight(residual)
        weight[:, self.rows["ceiling"]] = 1.0
        for kind, gap in self.beside_neighbours.items():
            rows = self.rows[kind]
            weight[:, rows] = np.minimum(weight[:, rows], biweight(gap, NEIGHBOUR_END).reshape(self.count, -1))
        return self.present * weight

    def _set_prior(self, known: PackKnowledge) -> None:
        lay, n, k = self.layout, self.n, self.layout.shapes
        mean = np.zeros((self.count, lay.size))
        covariance = np.zeros((self.count, lay.size, lay.size))
        mean[:, n : n + k] = known.deviation
        covariance[:, : n + k, : n + k] = known.covariance
        start = slice(lay.start, lay.start + n)
        mean[:, start] = self.r.start_soc[:, None] - known.excess_loss * self.r.stood_months[:, None]
        # Cells of one pack stand within a percent or two of each other after a balanced charge.
        covariance[:, start, start] = np.square(self.r.start_sd)[:, None, None] + CELL_START_SD_SOC**2 * np.eye(n)
        for j in range(self.runs):
            q = lay.charge + j
            mean[:, q] = WIDE_CHARGE[0] / self.runs
            covariance[:, q, q] = WIDE_CHARGE[1] ** 2
        for e in range(lay.shared, lay.shared + 2 * self.runs):
            covariance[:, e, e] = 1.0
        mean[:, -1] = self.r.end_soc
        covariance[:, -1, -1] = np.square(self.r.end_sd)
        # Of what is counted in its own standard uncertainty, a hundredth is as little as a thousandth of the charge.
        self.small = np.full(lay.size, CONVERGED)
        self.small[n : n + k] = self.small[lay.shared : lay.shared + 2 * self.runs] = 10.0 * CONVERGED
        self.prior_mean, self.prior_precision = mean, np.asarray(np.linalg.inv(covariance), dtype=np.float64)

    def step(self, x: FloatArray, going: NDArray[np.bool_], *, first: bool = False) -> NDArray[np.bool_]:
        """Take one step where outings are still going, and tell which still are after it.

        An outing stops by itself, so that its answer does not hang on which others are looked at together with it.
        """
        residual, jacobian = self.linearise(x)
        # The first step looks at counts where there are any, so that a slip in a voltage is seen against them.
        weight = self.first_look() if first else self.robust_weight(residual)
        pull = np.einsum("nij,nj->ni", self.prior_precision, self.prior_mean - x)
        change, _ = solve(jacobian, residual, weight, self.prior_precision, pull)
        x += np.where(going[:, None], change, 0.0)
        return np.asarray(going & (np.abs(change) > self.small).any(axis=1), dtype=np.bool_) | first

    def by_kind(self, rows: FloatArray) -> dict[str, FloatArray]:
        """Rows cut by kind, shaped (N, m, n) for cells, (N, m) for the rest."""
        cut: dict[str, FloatArray] = {}
        for kind, where in self.rows.items():
            shape = (self.count, self.runs, self.n) if kind in ("before", "after", "load") else (self.count, -1)
            cut[kind] = rows[:, where].reshape(shape)
        return cut

    def linearise(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Scaled residuals (N, M) and their derivatives (N, M, P) at `x`."""
        lay, n = self.layout, self.n
        residual = np.zeros((self.count, self.row_count))
        jacobian = np.zeros((self.count, self.row_count, lay.size))
        charge = x[:, lay.charge : lay.charge + self.runs]
        start = x[:, lay.start : lay.start + n]
        inverse = np.exp(-np.clip(self.log_capacity + x[:, :n], -3.0, 1.0))
        drawn = np.concatenate([np.zeros((self.count, 1)), np.cumsum(charge, axis=1)], axis=1)
        state = start[:, None, :] - drawn[:, :, None] * inverse[:, None, :]
        c_rate = self._c_rate(charge, inverse)
        for when, boundary in (("before", 0), ("after", 1), ("load", 1)):
            if self.used.isdisjoint({when, f"{when}_total"}):
                continue
            self._voltage_rows(when, boundary, x, state, drawn, inverse, c_rate, residual, jacobian)
        self._count_rows(x, charge, start, inverse, residual, jacobian)
        self._ceiling_rows(x, residual, jacobian)
        return residual, jacobian

    def _ceiling_rows(self, x: FloatArray, residual: FloatArray, jacobian: FloatArray) -> None:
        """No cell is fuller than full, before the runs or after the charge: a one-sided pull back."""
        columns = [*range(self.layout.start, self.layout.start + self.n), self.layout.size - 1]
        above = x[:, columns] - 1.0
        rows = self.rows["ceiling"]
        residual[:, rows] = np.maximum(above, 0.0) / CEILING_SD_SOC
        jacobian[:, np.arange(rows.start, rows.stop), columns] = np.where(above > 0.0, 1.0 / CEILING_SD_SOC, 0.0)

    def _c_rate(self, charge: FloatArray, inverse: FloatArray) -> FloatArray:
        """Mean C rate of each run, from its current where it is known, else from charge and time."""
        with np.errstate(invalid="ignore"):
            told = self.r.mean_a / self.r.rated_ah[:, None]
            found = np.clip(charge, 0.0, 1.5) * 3600.0 / np.maximum(self.r.run_s, 30.0)
        return np.asarray(np.where(np.isnan(told), found, told) * inverse.mean(axis=1, keepdims=True), dtype=np.float64)

    def _voltage_rows(
        self, when: str, boundary: int, x: FloatArray, state: FloatArray, drawn: FloatArray, inverse: FloatArray,
        c_rate: FloatArray, residual: FloatArray, jacobian: FloatArray,
    ) -> None:  # fmt: skip
        lay, n, k = self.layout, self.n, self.layout.shapes
        moment = np.arange(self.runs) + boundary
        now = state[:, moment, :] - self.lost
        for kind, volts, sd_v, shared_v in self._voltage_readings(when, now, c_rate):
            total = kind.endswith("_total")
            if kind not in self.used:
                continue
            seen = np.where(np.isnan(volts), self.cells.chemistry["nominal_v"], volts)
            both_v = np.sqrt(np.square(sd_v) + np.square(shared_v))
            soc, soc_sd = self.cells.curve.soc_with_sd(seen, both_v)
            shape = self.cells.curve.shape_values(soc)
            coefficients = x[:, None, None, n : n + k] if not total else x[:, None, n : n + k]
            own = soc + np.sum(shape * coefficients, axis=-1)
            # A reading cannot be surer than the smallest change of charge that matters.
            sd = np.maximum(soc_sd * sd_v / both_v, 0.002)
            common = np.hypot(soc_sd * shared_v / both_v, ROUGHNESS * self.cells.chemistry["curve_spread_soc"] * taper(soc))
            self.row_sd[kind], self.read_soc[kind] = np.hypot(sd, common), soc
            rows = self.rows[kind]
            target = now.mean(axis=2) if total else now
            slot = lay.shared + 2 * np.arange(self.runs) + (0 if when == "before" else 1)
            error = x[:, slot] if total else x[:, slot][..., None]
            residual[:, rows] = ((own - target - common * error) / sd).reshape(self.count, -1)
            if not total and n > 1:
                # Three cells can outvote one; of two, only the answer from everything else can tell which is wrong.
                gap = soc - np.median(soc, axis=2, keepdims=True) if n > 2 else own - now.mean(axis=2, keepdims=True)
                gap = gap - self._known_gap(drawn[:, moment])
                self.beside_neighbours[kind] = gap / np.sqrt(CELL_APART_SOC**2 + np.square(sd) + np.square(common))
            block = np.zeros((self.count, *own.shape[1:], lay.size))
            block[..., n : n + k] = shape
            for j in range(self.runs):
                until = j + boundary
                gain = drawn[:, until, None] * inverse  # d(-q/C)/da = +q/C, and the state enters with a minus sign
                if total:
                    block[:, j, :n] = -gain / n
                    block[:, j, lay.start : lay.start + n] = -1.0 / n
                    block[:, j, lay.charge : lay.charge + until] = inverse.mean(axis=1)[:, None]
                    block[:, j, slot[j]] = -common[:, j]
                else:
                    for i in range(n):
                        block[:, j, i, i] = -gain[:, i]
                        block[:, j, i, lay.start + i] = -1.0
                        block[:, j, i, lay.charge : lay.charge + until] = inverse[:, i, None]
                    block[:, j, :, slot[j]] = -common[:, j]
            jacobian[:, rows] = (block / sd[..., None]).reshape(self.count, -1, lay.size)

    def _known_gap(self, drawn: FloatArray) -> FloatArray:
        """How far apart cells should read for what is known of their capacities, shape (N, m, n)."""
        inverse = np.exp(-self.known.log_capacity)
        middle = np.median(inverse, axis=1, keepdims=True) if self.n > 2 else inverse.mean(axis=1, keepdims=True)
        return np.asarray(-drawn[:, :, None] * (inverse - middle)[:, None, :], dtype=np.float64)

    def _voltage_readings(self, when: str, now: FloatArray, c_rate: FloatArray) -> list[tuple[str, FloatArray, FloatArray, FloatArray]]:
        """Voltages brought to 25 °C and rest, with the uncertainty of each cell and the one all share."""
        r = self.r
        warmer = (self.slope_v * (r.pack_k - 298.15))[..., None]
        # Just above empty the slope is so steep that a small error of the state would make the correction anything.
        slope = self.cells.curve.slope(np.clip(now, 0.04, 1.0))
        hysteresis = self.cells.chemistry["hysteresis_v"] / np.sqrt(3.0)
        if when == "before":
            shared = np.hypot(SHARED_READING_SD_V, hysteresis) + np.where(r.rest_before_s < 1800.0, SETTLING_SD_V, 0.0)
            deficit = np.zeros_like(now)
            volts, totals = r.before_v, r.before_mean_v
        elif when == "after":
            rest = np.where(np.isnan(r.rest_after_s), UNKNOWN_REST_S, r.rest_after_s)
            deficit = self.cells.relaxation.deficit(rest[..., None], c_rate[..., None], slope, self.factor[..., None])
            deficit = np.minimum(self.known.relaxation[:, None, None] * deficit, 0.5)
            relative = (self.known.relaxation_sd / self.known.relaxation)[:, None]
            doubt = np.where(np.isnan(r.rest_after_s), 1.0, relative) * deficit.mean(axis=2)
            shared = np.sqrt(SHARED_READING_SD_V**2 + hysteresis**2 + doubt**2)
            self.relaxed = Relaxed(deficit.mean(axis=2), doubt, shared)
            volts, totals = r.after_v, r.after_mean_v
        else:
            current = np.where(np.isnan(r.loaded_a), np.where(np.isnan(r.mean_a), 0.0, r.mean_a), r.loaded_a)
            ohm = self.known.resistance_ohm[:, None, :] * self.cells.resistance_factor(np.clip(now, 0.05, 1.0), r.pack_k[..., None])
            slow = self.cells.relaxation.deficit(0.0, c_rate[..., None], slope, self.factor[..., None])
            deficit = np.minimum(current[..., None] * ohm + slow, 1.0)
            shared = np.hypot(0.02, LOAD_RELATIVE_SD * deficit.mean(axis=2))
            volts, totals = r.loaded_v, np.where(np.isnan(r.loaded_mean_v), r.cutoff_v, r.loaded_mean_v)
        each = np.full(now.shape, 0.02 if when == "load" else CELL_READING_SD_V)
        total_sd = TOTAL_READING_RELATIVE_SD * np.where(np.isnan(totals), 1.0, totals)
        pack_shift = (deficit - warmer).mean(axis=2)
        return [
            (when, volts + deficit - warmer, each, np.broadcast_to(shared[..., None], now.shape)),
            (f"{when}_total", totals + pack_shift, total_sd, np.broadcast_to(shared, totals.shape)),
        ]

    def _count_rows(
        self, x: FloatArray, charge: FloatArray, start: FloatArray, inverse: FloatArray, residual: FloatArray, jacobian: FloatArray
    ) -> None:
        r, lay, n = self.r, self.layout, self.n
        rated = r.rated_ah[:, None]
        usual_sd = np.where(np.isnan(r.usual_sd_ah), 1.0, r.usual_sd_ah) / rated
        hours = r.run_s / 3600.0
        for kind, counted, sd in (
            ("meter", r.meter_ah / rated, METER_RELATIVE_SD * r.meter_ah / rated),
            ("trace", r.trace_ah / rated, np.hypot(TRACE_RELATIVE_SD * r.trace_ah, r.trace_sd_ah) / rated),
            ("mean_current", r.mean_a * hours / rated, MEAN_CURRENT_RELATIVE_SD * r.mean_a * hours / rated),
            ("usual", r.usual_ah / rated, usual_sd),
        ):
            spread = np.hypot(np.nan_to_num(sd, nan=1.0), COUNT_STEP_OF_RATED)
            rows = self.rows[kind]
            self.row_sd[kind] = spread
            residual[:, rows] = (charge - np.nan_to_num(counted)) / spread
            for j in range(self.runs):
                jacobian[:, rows.start + j, lay.charge + j] = 1.0 / spread[:, j]
        capacity = 1.0 / inverse
        returned = self.acceptance * np.nan_to_num(r.put_back_ah) / r.rated_ah
        relative = np.hypot(CHARGER_RELATIVE_SD, self.acceptance_sd / self.acceptance)
        idle = r.idle_soc + np.maximum(self.known.excess_loss.max(axis=1), 0.0) * r.idle_months
        idle_sd = 0.5 * idle
        spread = np.sqrt(np.square(relative * returned) + COUNT_STEP_OF_RATED**2 + np.square(idle_sd) + np.square(r.joined_sd))
        self.row_sd["charger"] = spread[:, None]
        end = x[:, -1]
        missing = self.neediest * capacity * (end[:, None] - start)
        row = self.rows["charger"].start
        residual[:, row] = (missing.sum(axis=1) + charge.sum(axis=1) + idle - returned) / spread
        jacobian[:, row, :n] = missing / spread[:, None]
        jacobian[:, row, lay.start : lay.start + n] = -self.neediest * capacity / spread[:, None]
        jacobian[:, row, lay.charge : lay.charge + self.runs] = 1.0 / spread[:, None]
        jacobian[:, row, -1] = (self.neediest * capacity).sum(axis=1) / spread
