"""Learning packs from their histories: forward in time outing by outing, then backward so that later readings count too.

Forward, each outing is estimated with what was known before it and teaches what is known after it. Outings stand in blocks
of `BLOCK`; what is known of an outing "now" takes in everything up to the end of the block after its own. Adding a run thus
changes the answers of two blocks at most, and the answers do not depend on the order in which rows were written down.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tracker.domain.pack import Pack
from tracker.estimators import pack_state as ps
from tracker.estimators.ageing import depth_cost
from tracker.estimators.cell_family import CellFamily, family
from tracker.estimators.draws import DrawnCurrent, UsualDraws, drawn
from tracker.estimators.knowledge import PackKnowledge
from tracker.estimators.outing_fit import OutingFit
from tracker.estimators.outings import Outing
from tracker.estimators.readings import Draws, Readings, Setting, lay_out
from tracker.estimators.run_charge import fit_outings
from tracker.estimators.traits import standing_sums, sure_loss, traits_said
from tracker.physics.gaussian_chain import Belief, forward, told

FloatArray = NDArray[np.float64]

BLOCK = 12
"""Outings in a block; two blocks are some twenty charges, after which later ones teach little about an earlier one."""
APART_SOC = 0.25
"""A cell further than this from where it was expected among its neighbours is a slip of the pen, if it happens once."""
AGAIN_SOC = 0.07
"""Two odd readings of a cell this near each other are no slip of the pen."""
ODD_SOC = 0.03
ORDINARY_DEPTH = 0.6
"""Depth at which a difference of capacity is taken to show as a difference of charge."""
UNCOUNTED_SHARE = 0.05
"""What voltages alone say of capacity and curve counts only this much: what no curve follows is alike in every reading, and
would be taken for the pack's own."""
DAY_S = 86400.0


@dataclass(slots=True, eq=False)
class Course:
    """One pack's outings, and rows about those that were looked at.

    Attributes
    ----------
    pack : Pack
        The pack
    outings : list[Outing]
        All, in time order
    rows : FloatArray
        Rows about outings `first`, `first` + 1, …, shape (T - first, F) [1]
    first : int
        First outing with a row
    start : int
        First outing to look at anew
    changed : int
        First outing that differs from what was known before
    drawn : list[list[DrawnCurrent]]
        What each outing taught of its vehicles; of all outings before `start` when the learning begins
    """

    pack: Pack
    outings: list[Outing]
    rows: FloatArray
    first: int = 0
    start: int = 0
    changed: int = 0
    drawn: list[list[DrawnCurrent]] = field(default_factory=list)

    def row(self, place: int) -> FloatArray:
        """Row about an outing.

        Parameters
        ----------
        place : int
            Of the outing [1]

        Returns
        -------
        FloatArray
            Shape (F,) [1]
        """
        return np.asarray(self.rows[place - self.first], dtype=np.float64)

    @property
    def fresh(self) -> int:
        """First outing whose answer may be another than before."""
        return fresh_from(self.changed)


def fresh_from(changed: int) -> int:
    """First outing whose answer takes in an outing: the first of the block before that outing's.

    Parameters
    ----------
    changed : int
        Place of the outing [1]

    Returns
    -------
    int
        Place of the first one whose answer depends on it [1]

    References
    ----------
    .. [1] No source: bookkeeping.
    """
    return max(0, (changed // BLOCK - 1) * BLOCK)


def layout_of(pack: Pack) -> ps.RowLayout:
    """Layout of a pack's rows.

    Parameters
    ----------
    pack : Pack
        The pack [1]

    Returns
    -------
    RowLayout
        For its cells and chemistry [1]

    References
    ----------
    .. [1] No source: bookkeeping.
    """
    return ps.RowLayout(pack.series, family(pack.chemistry).curve.shape_count)


def learn(courses: Sequence[Course], typed: Draws, trips: Mapping[str, tuple[Setting, ...]]) -> None:
    """Go through outings in time order, and write rows about them.

    Parameters
    ----------
    courses : Sequence[Course]
        Packs with their outings, with rows up to those to look at; rows and currents are added to them [1]
    typed : Draws
        Usual currents as owners typed them [A]
    trips : Mapping[str, tuple[Setting, ...]]
        Cutoff of each controller of a vehicle as it stands, by vehicle [V]

    References
    ----------
    .. [1] D. C. Fraser, J. E. Potter, IEEE Trans. Autom. Control 14 (1969) 387-390, doi 10.1109/TAC.1969.1099196.
    """
    cohorts: dict[tuple[str, int], list[Course]] = defaultdict(list)
    for course in courses:
        cohorts[course.pack.chemistry, course.pack.series].append(course)
    for (chemistry, _), members in cohorts.items():
        members.sort(key=lambda course: course.start - len(course.outings))
        _Cohort(members, family(chemistry), typed, trips).go()


def _counted(readings: Readings) -> NDArray[np.bool_]:
    """Which outings have a count of what they took."""
    in_model = ~np.isnan(readings.meter_ah) | ~np.isnan(readings.trace_ah)
    return np.asarray(~np.isnan(readings.put_back_ah) | in_model.any(axis=1), dtype=np.bool_)


class _Cohort:
    """Packs of one chemistry and number of cells, taken forward together; those with most left to do come first."""

    def __init__(self, courses: list[Course], cells: CellFamily, typed: Draws, trips: Mapping[str, tuple[Setting, ...]]) -> None:
        self.courses, self.cells, self.typed, self.trips = courses, cells, typed, trips
        self.layout = layout_of(courses[0].pack)
        self.usual = [UsualDraws(current for each in course.drawn for current in each) for course in courses]
        self.states = ps.first_states([course.pack for course in courses], cells)
        for i, course in enumerate(courses):
            if course.start > 0:
                self._put(np.array([i]), ps.after(course.row(course.start - 1)[None, :], self.layout))
            left = len(course.outings) - course.start
            course.rows = np.concatenate([course.rows[: course.start - course.first], np.zeros((left, self.layout.size))])

    def go(self) -> None:
        """Take all packs to their last outing."""
        step = 0
        while active := [i for i, course in enumerate(self.courses) if course.start + step < len(course.outings)]:
            shapes: dict[int, list[int]] = defaultdict(list)
            for i in active:
                shapes[len(self._outing(i, step).runs)].append(i)
            for members in shapes.values():
                self._look(np.array(members), step)
            step += 1

    def _outing(self, i: int, step: int) -> Outing:
        return self.courses[i].outings[self.courses[i].start + step]

    def _look(self, who: NDArray[np.intp], step: int) -> None:
        """Estimate one outing of each of these packs and let it teach."""
        lay, n = self.layout, self.layout.cells
        outings = [self._outing(int(i), step) for i in who]
        before = self._states(who)
        rows = np.zeros((len(who), lay.size))
        belief, trait_variance = self._expect(who, step, before, rows)
        usual = [self.usual[int(i)].of(outing) for i, outing in zip(who, outings, strict=True)]
        readings = lay_out(outings, self.cells, usual, self.typed, self.trips)
        loss = sure_loss(before.sums)
        known = ps.knowledge_of(belief, before.trait_mean, trait_variance, loss, n)
        apart = cells_apart(readings, known, self.cells)
        room = room_for(apart, before.apart, before.seen)
        each = np.arange(n)
        belief.covariance[:, each, each] += room
        known = ps.knowledge_of(belief, before.trait_mean, trait_variance, loss, n)
        fit = fit_outings(readings, self.cells, known)
        mean = np.concatenate([fit.expected_log_capacity + fit.x[:, :n], fit.x[:, n : lay.read]], axis=1)
        said = told(belief, mean, fit.covariance[:, : lay.read, : lay.read])
        share = np.where(_counted(readings), 1.0, UNCOUNTED_SHARE)
        traits = traits_said(outings, readings, fit, self.cells, known)
        taken = np.maximum(fit.charge, 0.0).sum(axis=1)
        cost = depth_cost(taken / np.exp(mean[:, :n]).mean(axis=1), self.cells.chemistry)
        read = np.asarray(~np.isnan(readings.after_v).any(axis=(1, 2)), dtype=np.float64)
        sums = standing_sums(before.sums, outings, readings, self.cells, mean[:, n:])
        parts: dict[str, FloatArray] = {
            "mean": belief.mean, "covariance": ps.packed(belief.covariance), "trait_mean": before.trait_mean,
            "trait_variance": trait_variance, "room": room,
            "precision": ps.packed(said.precision[:, : lay.read, : lay.read]) * share[:, None],
            "vector": said.vector[:, : lay.read] * share[:, None],
            "trait_precision": traits.precision, "trait_vector": traits.vector,
            "sums": sums.reshape(len(who), -1), "apart": np.where(read[:, None] > 0, apart, before.apart),
            "seen": before.seen + read, "weighted": before.weighted + cost, "full": before.full + taken,
            "runs": before.runs + fit.layout.runs, "cost": cost,
        }  # fmt: skip
        for part, values in parts.items():
            rows[:, lay.at(part)] = values if values.ndim > 1 else values[:, None]
        # What goes on from here is what will be read from the row, to the last digit, when the history is taken up again.
        self._put(who, ps.after(rows, lay))
        for row, i in zip(rows, who, strict=True):
            course = self.courses[int(i)]
            course.rows[course.start + step - course.first] = row
        self._teach_draws(who, outings, fit)

    def _expect(self, who: NDArray[np.intp], step: int, before: ps.PackStates, rows: FloatArray) -> tuple[Belief, FloatArray]:
        """What is known of packs when their next outing begins, and into the rows how it came to that."""
        lay = self.layout
        days = np.array([self._days_since_last(int(i), step) for i in who])
        begun = before.runs > 0
        cycles = np.where(begun, before.cost, 0.0)
        rows[:, lay.at("days")], rows[:, lay.at("cycles")] = (days * begun)[:, None], cycles[:, None]
        noise = ps.drift(lay, days, np.zeros((len(who), lay.cells))) * begun[:, None, None]
        belief = forward(before.belief, ps.ageing(lay, cycles), noise)
        return belief, before.trait_variance + ps.trait_drift(lay.cells) * begun[:, None]

    def _teach_draws(self, who: NDArray[np.intp], outings: Sequence[Outing], fit: OutingFit) -> None:
        charge, charge_sd = fit.charge, fit.charge_sd
        for row, (i, outing) in enumerate(zip(who, outings, strict=True)):
            rated = outing.pack.capacity_ah
            found = drawn(outing, (charge[row] * rated).tolist(), (charge_sd[row] * rated).tolist())
            self.courses[int(i)].drawn.append(found)
            for current in found:
                self.usual[int(i)].add(current)

    def _days_since_last(self, i: int, step: int) -> float:
        course = self.courses[i]
        place = course.start + step
        if place == 0:
            return 0.0
        waited = course.outings[place].runs[0].started_at - course.outings[place - 1].runs[0].started_at
        return max(waited.total_seconds() / DAY_S, 0.0)

    def _states(self, who: NDArray[np.intp]) -> ps.PackStates:
        s = self.states
        return ps.PackStates(
            Belief(s.belief.mean[who], s.belief.covariance[who]), s.trait_mean[who], s.trait_variance[who], s.sums[who], s.apart[who],
            s.seen[who], s.weighted[who], s.full[who], s.runs[who], s.cost[who],
        )  # fmt: skip

    def _put(self, who: NDArray[np.intp], states: ps.PackStates) -> None:
        s = self.states
        s.belief.mean[who], s.belief.covariance[who] = states.belief.mean, states.belief.covariance
        for part in ("trait_mean", "trait_variance", "sums", "apart", "seen", "weighted", "full", "runs", "cost"):
            getattr(s, part)[who] = getattr(states, part)


def cells_apart(readings: Readings, known: PackKnowledge, cells: CellFamily) -> FloatArray:
    """How far each cell reads from where it is expected among its neighbours after a run, the farthest of an outing.

    Parameters
    ----------
    readings : Readings
        Of N outings [1]
    known : PackKnowledge
        Of their packs [1]
    cells : CellFamily
        Their chemistry made ready [1]

    Returns
    -------
    FloatArray
        State of charge beyond the expected one, 0 where not all cells were read, shape (N, n) [1]

    References
    ----------
    .. [1] No source: bookkeeping.
    """
    soc = cells.curve.soc(readings.after_v)
    all_read = ~np.isnan(soc).any(axis=2, keepdims=True)
    soc = np.where(all_read, soc, 0.0)
    inverse = np.exp(-known.log_capacity)[:, None, :]
    drawn_soc = np.maximum(readings.start_soc[:, None] - np.median(soc, axis=2), 0.0)
    expected = -drawn_soc[..., None] * (inverse / np.median(inverse, axis=2, keepdims=True) - 1.0)
    gap = np.where(all_read, soc - np.median(soc, axis=2, keepdims=True) - expected, 0.0)
    farthest = np.abs(gap).argmax(axis=1)[:, None, :]
    return np.asarray(np.take_along_axis(gap, farthest, axis=1)[:, 0, :], dtype=np.float64)


def room_for(apart: FloatArray, last_apart: FloatArray, seen: FloatArray) -> FloatArray:
    """More room for the capacity of a cell that reads apart from its neighbours.

    Weak cells are far more common than a normal spread about the mean allows, so the first reading apart from the others,
    unless so far that it must be a slip of the pen, is taken for a cell that differs. Later, a cell is believed to have
    changed when it reads apart twice running.

    Parameters
    ----------
    apart, last_apart : FloatArray
        How far each cell reads from where it was expected, now and the time before, shape (N, n) [1]
    seen : FloatArray
        Outings with a reading of each cell so far, shape (N,) [1]

    Returns
    -------
    FloatArray
        Variance of the logarithm of capacity, shape (N, n) [1]

    References
    ----------
    .. [1] No source: the tool's own rule.
    """
    first = np.where(np.abs(apart) > APART_SOC, 0.0, np.abs(apart))
    again = (np.abs(apart - last_apart) < AGAIN_SOC) & (np.minimum(np.abs(apart), np.abs(last_apart)) > ODD_SOC)
    later = np.where(again, np.minimum(np.abs(apart), np.abs(last_apart)), 0.0)
    return np.asarray(np.square(np.where(seen[:, None] == 0, first, later) / ORDINARY_DEPTH), dtype=np.float64)
