"""What a pack's history has taught of it, in words a person can use: capacities, resistances, weak and restless cells, its curve."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from tracker.domain.health import CellHealth, CurveReading, HealthPoint, OwnCurve, PackHealth, PackLearning
from tracker.domain.pack import Pack
from tracker.domain.results import NotEnough, Quantity
from tracker.estimators import pack_state as ps
from tracker.estimators.ageing import Fade, Use, outlook
from tracker.estimators.cell_family import CellFamily, family
from tracker.estimators.intervals import estimate
from tracker.estimators.knowledge import PackKnowledge
from tracker.estimators.memory import Dot, Mark, Memory
from tracker.estimators.outing_fit import OutingFit
from tracker.estimators.outings import Outing
from tracker.estimators.pack_history import layout_of
from tracker.estimators.readings import Readings
from tracker.estimators.traits import excess_loss
from tracker.physics.uncertainty import COVERAGE_FACTOR_90

FloatArray = NDArray[np.float64]

GAIN_SD = 0.01
"""All counts come from one charger, whose gain nobody knows better than this. From memory."""
VAGUE_CAPACITY = 0.05
VAGUE_RESISTANCE = 0.35
VAGUE_LOSS = 0.025
"""Relative, relative and per month: less sure than this a capacity, resistance or loss says nothing a person could use."""
NAMED_PROBABILITY = 0.9
NAMED_RATIO = 0.97
"""A cell is named the weakest when it is so with this probability and holds less than this share of the others' mean."""
RESTLESS_PER_MONTH = 0.025
"""A cell is restless when it surely loses this much more than its neighbours in a month. From memory."""
LEARNED_SHARE = 0.6
"""A curve counts as the pack's own when its uncertainty fell below this share of the spread between makes."""
VAGUE_RATIO = 0.03
GROWTH_SD = 0.2

NO_CAPACITY = NotEnough("Not known closely yet: it takes a few runs down to the reserve, with what the charger put back after each.")
NO_RESISTANCE = NotEnough("Not seen yet: write down volts and amps under load, or each cell's resistance as the charger shows it.")
NO_LOSS = NotEnough("Not seen yet: it shows in readings of each cell before runs on days long after the charge.")
NO_RATIO = NotEnough("Not seen yet: it shows in readings of each cell after a few deep runs.")
NO_NEIGHBOURS = NotEnough("A pack of one cell has no neighbours to compare with.")
NO_GROWTH = NotEnough("Too early to say: it takes resistances from early and late in the pack's life.")


@dataclass(frozen=True, slots=True, eq=False)
class Learned:
    """A pack and what is kept of its learning."""

    pack: Pack
    memory: Memory

    def states(self) -> ps.PackStates:
        """What is known of the pack after its last outing."""
        if not self.memory.digests:
            return ps.first_states([self.pack], family(self.pack.chemistry))
        last = self.memory.rows[len(self.memory.digests) - 1]
        return ps.after(last[None, :], layout_of(self.pack))


def marks_of(outings: Sequence[Outing], fit: OutingFit, known: PackKnowledge, rows: FloatArray, layout: ps.RowLayout) -> list[Mark]:
    """Capacity and resistance after each outing, as known with what was known of its pack.

    Parameters
    ----------
    outings : Sequence[Outing]
        N of them [1]
    fit : OutingFit
        The answer [1]
    known : PackKnowledge
        What was known apart from them [1]
    rows : FloatArray
        Rows about them, shape (N, F) [1]
    layout : RowLayout
        Of the rows [1]

    Returns
    -------
    list[Mark]
        One an outing [1]

    References
    ----------
    .. [1] No source: bookkeeping.
    """
    n = layout.cells
    log_capacity = fit.expected_log_capacity + fit.x[:, :n]
    log_sd = np.sqrt(np.diagonal(fit.covariance, axis1=1, axis2=2)[:, :n])
    mean, variance = ps.trait_revised(
        np.log(known.resistance_ohm), np.square(known.resistance_relative_sd),
        rows[:, layout.at("trait_precision")][:, :n], rows[:, layout.at("trait_vector")][:, :n],
    )  # fmt: skip
    columns = [log_capacity, log_sd, mean, np.sqrt(variance)]
    a, b, c, d = ([tuple(row) for row in column.tolist()] for column in columns)
    runs, full = rows[:, layout.at("runs")][:, 0].tolist(), rows[:, layout.at("full")][:, 0].tolist()
    return [Mark(outing.runs[-1].started_at.timestamp(), runs[i], full[i], a[i], b[i], c[i], d[i]) for i, outing in enumerate(outings)]


def dots_of(outings: Sequence[Outing], readings: Readings, fit: OutingFit, wanted: Sequence[bool]) -> list[list[Dot]]:
    """Rested readings of some outings beside the states of charge they were taken at.

    Parameters
    ----------
    outings : Sequence[Outing]
        N of them [1]
    readings : Readings
        What was read [1]
    fit : OutingFit
        The answer [1]
    wanted : Sequence[bool]
        Of which outings, N of them [1]

    Returns
    -------
    list[list[Dot]]
        One list an outing, empty where not wanted [1], [V]

    References
    ----------
    .. [1] No source: bookkeeping.
    """
    curve = family(outings[0].pack.chemistry).curve
    found: list[list[Dot]] = [[] for _ in outings]
    chosen = np.flatnonzero(np.asarray(wanted))
    if not len(chosen):
        return found
    for when, boundary in (("before", 0), ("after", 1)):
        state = fit.state(boundary)[chosen]
        for kind, soc in ((when, state), (f"{when}_total", state.mean(axis=2))):
            here = ~np.isnan(fit.scaled[kind][chosen])
            volts = curve.voltage(np.nan_to_num(fit.read_soc[kind][chosen], nan=0.5))
            weight = np.clip(fit.weight[kind][chosen], 0.0, 1.0)
            for place in np.argwhere(here).tolist():
                i, j, cell = place[0], place[1], place[2] + 1 if len(place) > 2 else 0
                at = tuple(place)
                outing = int(chosen[i])
                started = outings[outing].runs[j].started_at.timestamp()
                found[outing].append(Dot(started, cell, float(soc[at]), float(volts[at]), float(weight[at])))
    return found


def pack_learning(learned: Learned, deep_runs: int) -> PackLearning:
    """What is known of a pack now, and how it got there.

    Parameters
    ----------
    learned : Learned
        From `assess_packs` or from memory [1]
    deep_runs : int
        Runs that took a cell deep or damaged it [1]

    Returns
    -------
    PackLearning
        Health, history of it, and the pack's own curve [Ah], [ohm], [V]

    References
    ----------
    .. [1] Each part's own module.
    """
    pack, states = learned.pack, learned.states()
    cells = family(pack.chemistry)
    marks = learned.memory.marks
    return PackLearning(
        health=pack_health(learned, deep_runs),
        points=tuple(_point(mark, pack.capacity_ah) for mark in marks),
        curve=_own_curve(pack, cells, states, learned.memory.dots),
    )


def learned_from(pack: Pack, memory: Memory | None) -> Learned:
    """What was learned of a pack, from what was kept of it.

    Parameters
    ----------
    pack : Pack
        The pack [1]
    memory : Memory or None
        What was kept; None when nothing was learned yet [1]

    Returns
    -------
    Learned
        Good for asking what is known, not for learning on [1]

    References
    ----------
    .. [1] No source: bookkeeping.
    """
    return Learned(pack, memory or Memory(digests=(), rows={}, drawn=[], marks=[], dots=[], dots_first=0))


def pack_health(learned: Learned, deep_runs: int) -> PackHealth:
    """How a pack stands now by what its history taught.

    Parameters
    ----------
    learned : Learned
        From `assess_packs` or from memory [1]
    deep_runs : int
        Runs that took a cell deep or damaged it [1]

    Returns
    -------
    PackHealth
        Without findings and what to do next [Ah], [ohm]

    References
    ----------
    .. [1] Each part's own module.
    """
    pack, states, marks = learned.pack, learned.states(), learned.memory.marks
    n, rated = pack.series, pack.capacity_ah
    mean, covariance = states.belief.mean[0], states.belief.covariance[0]
    sd = np.sqrt(np.diagonal(covariance))
    lowest = int(np.argmin(mean[:n]))
    capacity = [capacity_of(float(mean[i]), float(sd[i]), rated) for i in range(n)]
    weakest, ratio = _weakest(mean[:n], covariance[:n, :n])
    loss, loss_sd = excess_loss(states.sums[0])
    runs = int(states.runs[0])
    use = Use(
        runs=runs, full_cycles=float(states.full[0]), weighted_cycles=float(states.weighted[0]),
        cost_per_run=float(states.weighted[0]) / runs if runs else 0.0,
    )  # fmt: skip
    fade = Fade(
        log_capacity=float(mean[lowest]), log_capacity_sd=float(sd[lowest]), slope=-float(mean[-1]), slope_sd=float(sd[-1]),
        covariance=-float(covariance[lowest, -1]),
    )  # fmt: skip
    return PackHealth(
        pack=pack.name,
        chemistry=pack.chemistry,
        rated_ah=rated,
        runs=runs,
        deep_runs=deep_runs,
        capacity_ah=capacity[lowest],
        health=capacity_of(float(mean[lowest]), float(sd[lowest]), 1.0),
        cells=tuple(
            CellHealth(
                cell=i + 1,
                capacity_ah=capacity[i],
                resistance_ohm=_resistance(float(states.trait_mean[0, i]), float(np.sqrt(states.trait_variance[0, i]))),
                excess_loss_per_month=_loss(float(loss[i]), float(loss_sd[i]), n),
            )
            for i in range(n)
        ),
        weakest_cell=None if weakest is None else weakest + 1,
        weakest_ratio=ratio,
        restless_cells=tuple(
            i + 1 for i in range(n) if n > 1 and loss[i] - COVERAGE_FACTOR_90 * loss_sd[i] > RESTLESS_PER_MONTH and loss_sd[i] < VAGUE_LOSS
        ),
        outlook=outlook(rated, fade, use, _growth(marks)),
        next="",
    )


def capacity_of(log_capacity: float, sd: float, rated_ah: float) -> Quantity:
    """Capacity from its logarithm over rated.

    Parameters
    ----------
    log_capacity, sd : float
        Natural logarithm of capacity over rated, with its standard uncertainty [1]
    rated_ah : float
        Rated capacity [Ah]

    Returns
    -------
    Quantity
        Capacity, or in words why it cannot be said [Ah]

    References
    ----------
    .. [1] JCGM 100:2008, eq. (10).
    """
    relative = float(np.hypot(sd, GAIN_SD))
    if relative > VAGUE_CAPACITY:
        return NO_CAPACITY
    value = rated_ah * float(np.exp(log_capacity))
    return estimate(value, relative * value, low=0.0)


def _resistance(log_ohm: float, sd: float) -> Quantity:
    if sd > VAGUE_RESISTANCE:
        return NO_RESISTANCE
    value = float(np.exp(log_ohm))
    return estimate(value, sd * value, low=0.0)


def _loss(value: float, sd: float, n: int) -> Quantity:
    if n < 2:
        return NO_NEIGHBOURS
    return NO_LOSS if sd > VAGUE_LOSS else estimate(value, sd)


def _weakest(log_capacity: FloatArray, covariance: FloatArray) -> tuple[int | None, Quantity]:
    """The cell that surely holds least, and its capacity over the mean of the others."""
    n = len(log_capacity)
    if n < 2:
        return None, NO_NEIGHBOURS
    weak = int(np.argmin(log_capacity))
    others = [i for i in range(n) if i != weak]
    behind = log_capacity[others] - log_capacity[weak]
    spread = np.sqrt(covariance[weak, weak] + np.diagonal(covariance)[others] - 2.0 * covariance[weak, others])
    # The chances of being beaten by any of the others add up to no more than this.
    beaten = float(np.sum(ndtr(-behind / np.maximum(spread, 1e-9))))
    against = np.zeros(n)
    against[weak] = 1.0
    against[others] = -1.0 / (n - 1)
    sd = float(np.sqrt(against @ covariance @ against))
    ratio = float(np.exp(against @ log_capacity))
    named = beaten < 1.0 - NAMED_PROBABILITY and ratio < NAMED_RATIO
    if sd > VAGUE_RATIO and not named:
        return None, NO_RATIO
    return weak if named else None, estimate(ratio, sd * ratio, low=0.0)


def _growth(marks: Sequence[Mark]) -> Quantity:
    """Mean resistance now over what it was when it was first known."""
    known = [mark for mark in marks if max(mark.log_ohm_sd) <= VAGUE_RESISTANCE]
    if len(known) < 2:
        return NO_GROWTH
    early, late = known[0], known[-1]
    change = float(np.mean(late.log_ohm) - np.mean(early.log_ohm))
    sd = float(np.hypot(np.mean(late.log_ohm_sd), np.mean(early.log_ohm_sd)))
    if sd > GROWTH_SD:
        return NO_GROWTH
    return estimate(float(np.exp(change)), sd * float(np.exp(change)), low=0.0)


def _point(mark: Mark, rated_ah: float) -> HealthPoint:
    return HealthPoint(
        at=datetime.fromtimestamp(mark.at, UTC),
        runs=int(mark.runs),
        full_cycles=mark.full_cycles,
        capacity_ah=tuple(capacity_of(value, sd, rated_ah) for value, sd in zip(mark.log_capacity, mark.log_capacity_sd, strict=True)),
        resistance_ohm=tuple(_resistance(value, sd) for value, sd in zip(mark.log_ohm, mark.log_ohm_sd, strict=True)),
    )


def _own_curve(pack: Pack, cells: CellFamily, states: ps.PackStates, dots: Sequence[Sequence[Dot]]) -> OwnCurve:
    n, curve = pack.series, cells.curve
    deviation, spread = states.belief.mean[0, n:-1], states.belief.covariance[0, n:-1, n:-1]
    soc = np.linspace(0.0, 1.0, 51)
    shapes = curve.shape_values(soc)
    sd = np.sqrt(np.einsum("ik,kl,il->i", shapes, spread, shapes))
    typical = np.sqrt(np.sum(np.square(shapes), axis=1))
    half = COVERAGE_FACTOR_90 * sd
    return OwnCurve(
        soc=tuple(soc.tolist()),
        family_v=tuple(curve.voltage(soc).tolist()),
        own_v=tuple(curve.voltage(soc, deviation).tolist()),
        own_low_v=tuple(curve.voltage(soc - half, deviation).tolist()),
        own_high_v=tuple(curve.voltage(soc + half, deviation).tolist()),
        readings=tuple(
            CurveReading(
                at=datetime.fromtimestamp(dot.at, UTC), cell=dot.cell or None, soc=dot.soc, voltage_v=dot.voltage_v, weight=dot.weight
            )
            for each in dots
            for dot in each
        ),
        learned=bool(np.mean(sd) < LEARNED_SHARE * np.mean(typical)),
    )
