"""The state of a pack that its history teaches, how it drifts, and one row an outing that remembers both sides of it.

The state of a pack of n cells, d = n + K + 1 entries: logarithms of capacity over rated, coefficients of its own
voltage curve, and fade: how much the logarithm of capacity falls in one weighted full cycle. Beside it stand traits
that are learned one by one: logarithm of each cell's resistance, and the pack's relaxation over the typical one.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from tracker.domain.pack import Pack
from tracker.estimators.cell_family import CellFamily
from tracker.estimators.knowledge import PackKnowledge, typical
from tracker.physics.gaussian_chain import Belief, Message, joined

FloatArray = NDArray[np.float64]

FADE_PER_CYCLE = (0.0006, 0.0010)
"""Mean and spread of the fade of packs about which nothing is known, over a weighted full cycle: a fifth of the capacity
in some three hundred. From memory."""
COMMON_DRIFT = 0.004
CELL_DRIFT = 0.0015
"""How much the capacity of all cells, or of one against the others, wanders from one outing to the next beyond steady
fade: temperature, rest and what the charger calls full make it go up as well as down. From memory."""
COMMON_DRIFT_PER_DAY = 0.0006
CELL_DRIFT_PER_DAY = 0.0003
"""The same for a day that passes. From memory."""
CURVE_DRIFT = 0.03
"""How much the pack's own curve changes from outing to outing, over the spread between makes. From memory."""
FADE_DRIFT = 2e-6
RESISTANCE_DRIFT = 0.015
"""Relative change of resistance from outing to outing. From memory."""
RELAXATION_DRIFT = 0.04
SUMS = 5
"""Numbers kept a cell for the line of charge lost against time standing."""


@dataclass(frozen=True, slots=True)
class RowLayout:
    """Where everything lies in a row of numbers about one outing of a pack of n cells whose curve has K shapes."""

    cells: int
    shapes: int

    @property
    def state(self) -> int:
        """Entries d of the state."""
        return self.cells + self.shapes + 1

    @property
    def read(self) -> int:
        """Entries that readings speak of directly: all but the fade."""
        return self.cells + self.shapes

    @property
    def size(self) -> int:
        """Numbers in a row."""
        return int(_places(self.cells, self.shapes)["all"].stop)

    def at(self, part: str) -> slice:
        """Where a part of a row lies.

        What was known before the outing: mean, covariance, trait_mean, trait_variance; how it got there from the outing
        before: days, cycles, room; what the outing said: precision, vector, trait_precision, trait_vector; what was kept
        after it: sums, apart, seen, weighted, full, runs, cost.

        Parameters
        ----------
        part : str
            One of these [1]

        Returns
        -------
        slice
            Its place in a row [1]
        """
        return _places(self.cells, self.shapes)[part]


@cache
def _places(n: int, shapes: int) -> dict[str, slice]:
    d, k = n + shapes + 1, n + shapes
    sizes = {
        "mean": d, "covariance": d * (d + 1) // 2, "trait_mean": n + 1, "trait_variance": n + 1,
        "days": 1, "cycles": 1, "room": n,
        "precision": k * (k + 1) // 2, "vector": k, "trait_precision": n + 1, "trait_vector": n + 1,
        "sums": SUMS * n, "apart": n, "seen": 1, "weighted": 1, "full": 1, "runs": 1, "cost": 1,
    }  # fmt: skip
    places: dict[str, slice] = {}
    at = 0
    for name, size in sizes.items():
        places[name] = slice(at, at + size)
        at += size
    places["all"] = slice(0, at)
    return places


def packed(matrix: FloatArray) -> FloatArray:
    """Lower triangle of symmetric matrices, row by row.

    Parameters
    ----------
    matrix : FloatArray
        Shape (N, d, d) [any unit]

    Returns
    -------
    FloatArray
        Shape (N, d (d + 1) / 2) [same unit]

    References
    ----------
    .. [1] No source: bookkeeping.
    """
    rows, columns = np.tril_indices(matrix.shape[-1])
    return np.asarray(matrix[..., rows, columns], dtype=np.float64)


def unpacked(triangle: FloatArray, size: int) -> FloatArray:
    """Symmetric matrices from their lower triangles.

    Parameters
    ----------
    triangle : FloatArray
        Shape (N, d (d + 1) / 2) [any unit]
    size : int
        d [1]

    Returns
    -------
    FloatArray
        Shape (N, d, d) [same unit]

    References
    ----------
    .. [1] No source: bookkeeping.
    """
    rows, columns = np.tril_indices(size)
    matrix = np.empty((*triangle.shape[:-1], size, size))
    matrix[..., rows, columns] = triangle
    matrix[..., columns, rows] = triangle
    return matrix


@dataclass(frozen=True, slots=True, eq=False)
class PackStates:
    """What is known of N packs before their next outing.

    Attributes
    ----------
    belief : Belief
        Of the state, d entries [1]
    trait_mean, trait_variance : FloatArray
        Logarithm of each cell's resistance in ohm, then relaxation over typical, shape (N, n + 1) [1]
    sums : FloatArray
        Of the line of charge lost against time standing, shape (N, n, SUMS) [1], [month]
    apart : FloatArray
        How far each cell last read from where it was expected among its neighbours, shape (N, n) [1]
    seen : FloatArray
        Outings with a reading of each cell so far, shape (N,) [1]
    weighted, full, runs : FloatArray
        Weighted and plain full cycles and runs so far, shape (N,) [1]
    cost : FloatArray
        Weighted full cycles of the last outing, shape (N,) [1]
    """

    belief: Belief
    trait_mean: FloatArray
    trait_variance: FloatArray
    sums: FloatArray
    apart: FloatArray
    seen: FloatArray
    weighted: FloatArray
    full: FloatArray
    runs: FloatArray
    cost: FloatArray


def first_states(packs: list[Pack], cells: CellFamily) -> PackStates:
    """What is known of packs before anything was written down.

    Parameters
    ----------
    packs : list[Pack]
        Of one chemistry and number of cells, N of them [1]
    cells : CellFamily
        Their chemistry made ready [1]

    Returns
    -------
    PackStates
        From label and chemistry alone [1]

    References
    ----------
    .. [1] The chemistry file; spreads named in this file and in `knowledge`.
    """
    known = [typical(pack, cells) for pack in packs]
    n, shapes, count = packs[0].series, cells.curve.shape_count, len(packs)
    d = n + shapes + 1
    mean, covariance = np.zeros((count, d)), np.zeros((count, d, d))
    mean[:, :n] = [one.log_capacity for one in known]
    mean[:, n : n + shapes] = [one.deviation for one in known]
    mean[:, -1] = FADE_PER_CYCLE[0]
    covariance[:, :-1, :-1] = [one.covariance for one in known]
    covariance[:, -1, -1] = FADE_PER_CYCLE[1] ** 2
    trait_mean, trait_variance = np.zeros((count, n + 1)), np.zeros((count, n + 1))
    trait_mean[:, n] = [float(one.relaxation) for one in known]
    trait_mean[:, :n] = np.log([one.resistance_ohm for one in known])
    trait_variance[:, :n] = np.square([one.resistance_relative_sd for one in known])
    trait_variance[:, n] = [float(one.relaxation_sd) ** 2 for one in known]
    return PackStates(
        Belief(mean, covariance), trait_mean, trait_variance, np.zeros((count, n, SUMS)), np.zeros((count, n)),
        *(np.zeros(count) for _ in range(5)),  # five arrays, for each is written into
    )  # fmt: skip


def drift(layout: RowLayout, days: FloatArray, room: FloatArray) -> FloatArray:
    """Covariance of what changes in packs from one outing to the next.

    Parameters
    ----------
    layout : RowLayout
        Cells and shapes [1]
    days : FloatArray
        Between the outings, shape (N,) [day]
    room : FloatArray
        More for cells that read apart from the others, shape (N, n) [1]

    Returns
    -------
    FloatArray
        Shape (N, d, d) [1]

    References
    ----------
    .. [1] Spreads named in this file, from memory.
    """
    n, k, d = layout.cells, layout.read, layout.state
    noise = np.zeros((len(days), d, d))
    common = COMMON_DRIFT**2 + COMMON_DRIFT_PER_DAY**2 * days
    noise[:, :n, :n] = common[:, None, None]
    each = np.arange(n)
    noise[:, each, each] += (CELL_DRIFT**2 + CELL_DRIFT_PER_DAY**2 * days)[:, None] + room
    curve = np.arange(n, k)
    noise[:, curve, curve] = CURVE_DRIFT**2
    noise[:, k, k] = FADE_DRIFT**2
    return noise


def ageing(layout: RowLayout, cycles: FloatArray) -> FloatArray:
    """Transition of the state by so many weighted full cycles: capacity falls by the fade.

    Parameters
    ----------
    layout : RowLayout
        Cells and shapes [1]
    cycles : FloatArray
        Weighted full cycles between the outings, shape (N,) [1]

    Returns
    -------
    FloatArray
        Shape (N, d, d) [1]

    References
    ----------
    .. [1] No source: a straight line in the logarithm of capacity.
    """
    transition = np.zeros((len(cycles), layout.state, layout.state))
    transition[:] = np.eye(layout.state)
    transition[:, : layout.cells, -1] = -cycles[:, None]
    return transition


def trait_drift(cells: int) -> FloatArray:
    """Variance of what changes in each trait from one outing to the next.

    Parameters
    ----------
    cells : int
        Number n of cells [1]

    Returns
    -------
    FloatArray
        Shape (n + 1,) [1]

    References
    ----------
    .. [1] Spreads named in this file, from memory.
    """
    variance = np.full(cells + 1, RESISTANCE_DRIFT**2)
    variance[cells] = RELAXATION_DRIFT**2
    return variance


def knowledge_of(belief: Belief, trait_mean: FloatArray, trait_variance: FloatArray, excess_loss: FloatArray, n: int) -> PackKnowledge:
    """Beliefs in the form in which outings are estimated with them.

    Parameters
    ----------
    belief : Belief
        Of N packs [1]
    trait_mean, trait_variance : FloatArray
        Of the same, shape (N, n + 1) [1]
    excess_loss : FloatArray
        By standing, beyond the neighbours, shape (N, n) [1 / month]
    n : int
        Number of cells [1]

    Returns
    -------
    PackKnowledge
        Of N packs [1]

    References
    ----------
    .. [1] No source: bookkeeping.
    """
    return PackKnowledge(
        log_capacity=belief.mean[:, :n],
        deviation=belief.mean[:, n:-1],
        covariance=belief.covariance[:, :-1, :-1],
        resistance_ohm=np.exp(trait_mean[:, :n]),
        resistance_relative_sd=np.sqrt(trait_variance[:, :n]),
        relaxation=np.maximum(trait_mean[:, n], 0.1),
        relaxation_sd=np.sqrt(trait_variance[:, n]),
        excess_loss=excess_loss,
    )


def said(rows: FloatArray, layout: RowLayout) -> Message:
    """What each outing said of the state, from its row.

    Parameters
    ----------
    rows : FloatArray
        Shape (N, F) [1]
    layout : RowLayout
        Of the rows [1]

    Returns
    -------
    Message
        Of d entries [1]

    References
    ----------
    .. [1] No source: bookkeeping.
    """
    k, d = layout.read, layout.state
    precision, vector = np.zeros((len(rows), d, d)), np.zeros((len(rows), d))
    precision[:, :k, :k] = unpacked(rows[:, layout.at("precision")], k)
    vector[:, :k] = rows[:, layout.at("vector")]
    return Message(precision, vector)


def expected(rows: FloatArray, layout: RowLayout) -> Belief:
    """What was known of each pack before an outing, from its row.

    Parameters
    ----------
    rows : FloatArray
        Shape (N, F) [1]
    layout : RowLayout
        Of the rows [1]

    Returns
    -------
    Belief
        Of d entries [1]

    References
    ----------
    .. [1] No source: bookkeeping.
    """
    return Belief(rows[:, layout.at("mean")], unpacked(rows[:, layout.at("covariance")], layout.state))


def after(rows: FloatArray, layout: RowLayout) -> PackStates:
    """What is known of each pack after an outing, from its row.

    Parameters
    ----------
    rows : FloatArray
        Shape (N, F) [1]
    layout : RowLayout
        Of the rows [1]

    Returns
    -------
    PackStates
        Of N packs [1]

    References
    ----------
    .. [1] C. M. Bishop, Pattern Recognition and Machine Learning, Springer 2006, eq. (2.116), (2.117).
    """
    n = layout.cells
    mean, variance = rows[:, layout.at("trait_mean")], rows[:, layout.at("trait_variance")]
    trait_mean, trait_variance = trait_revised(mean, variance, rows[:, layout.at("trait_precision")], rows[:, layout.at("trait_vector")])
    return PackStates(
        joined(expected(rows, layout), said(rows, layout)),
        trait_mean,
        trait_variance,
        rows[:, layout.at("sums")].reshape(len(rows), n, SUMS),
        rows[:, layout.at("apart")],
        *(rows[:, layout.at(part)][:, 0] for part in ("seen", "weighted", "full", "runs", "cost")),
    )


def trait_revised(mean: FloatArray, variance: FloatArray, precision: FloatArray, vector: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Traits after readings.

    Parameters
    ----------
    mean, variance : FloatArray
        Before, any shape [1]
    precision, vector : FloatArray
        What the readings said: precision, and precision times value, same shape [1]

    Returns
    -------
    mean, variance : FloatArray
        After [1]

    References
    ----------
    .. [1] JCGM 100:2008, weighted mean.
    """
    now = variance / (1.0 + variance * precision)
    return now * (mean / np.maximum(variance, 1e-12) + vector), now
