"""What is known of each outing's pack from all the other outings: then, from those before it, or now, from later ones too."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tracker.estimators import pack_state as ps
from tracker.estimators.draws import UsualDraws
from tracker.estimators.pack_history import BLOCK, Course, layout_of
from tracker.estimators.readings import Draws
from tracker.estimators.traits import sure_loss
from tracker.physics.gaussian_chain import Belief, backward, joined, silence, together

FloatArray = NDArray[np.float64]

WINDOWS_AT_ONCE = 1500
"""Windows looked back over at once: enough to be quick, few enough for a hundred megabytes."""


@dataclass(frozen=True, slots=True, eq=False)
class Hindsight:
    """What is known of outings `first`… of one pack from everything but each outing itself.

    Attributes
    ----------
    first : int
        The first of them
    belief : Belief
        One a outing [1]
    trait_mean, trait_variance : FloatArray
        Shape (N, n + 1) [1]
    excess_loss : FloatArray
        Shape (N, n) [1 / month]
    """

    first: int
    belief: Belief
    trait_mean: FloatArray
    trait_variance: FloatArray
    excess_loss: FloatArray


def usual_draws(course: Course, *, hindsight: bool) -> list[Draws]:
    """What vehicles are known to draw from a pack, for its outings from `Course.fresh` on.

    Parameters
    ----------
    course : Course
        Learned [1]
    hindsight : bool
        With what is known now, to the end of the block after an outing's own; else with what was known before it [1]

    Returns
    -------
    list[Draws]
        One an outing [A]

    References
    ----------
    .. [1] No source: bookkeeping.
    """
    usual = UsualDraws()
    taken = 0
    found: list[Draws] = []
    for place in range(course.fresh if hindsight else 0, len(course.outings)):
        until = min((place // BLOCK + 2) * BLOCK, len(course.outings)) if hindsight else place
        for currents in course.drawn[taken:until]:
            for current in currents:
                usual.add(current)
        taken = max(taken, until)
        found.append(usual.of(course.outings[place]))
    return found


def as_known_then(course: Course) -> Hindsight:
    """What was known of a pack before each of its outings.

    Parameters
    ----------
    course : Course
        Learned from its first outing on [1]

    Returns
    -------
    Hindsight
        Without any hindsight: from the outings before each one alone [1]

    References
    ----------
    .. [1] No source: bookkeeping.
    """
    lay = layout_of(course.pack)
    rows = course.rows
    sums = np.concatenate([np.zeros((1, lay.at("sums").stop - lay.at("sums").start)), rows[:-1, lay.at("sums")]])
    loss = sure_loss(sums.reshape(len(rows), lay.cells, ps.SUMS))
    return Hindsight(course.first, ps.expected(rows, lay), rows[:, lay.at("trait_mean")], rows[:, lay.at("trait_variance")], loss)


def as_known_now(courses: Sequence[Course]) -> list[Hindsight]:
    """What is known now of the outings of packs of one chemistry and number of cells, from `Course.fresh` on.

    Parameters
    ----------
    courses : Sequence[Course]
        Learned packs [1]

    Returns
    -------
    list[Hindsight]
        In their order [1]

    References
    ----------
    .. [1] D. C. Fraser, J. E. Potter, IEEE Trans. Autom. Control 14 (1969) 387-390, doi 10.1109/TAC.1969.1099196.
    """
    lay = layout_of(courses[0].pack)
    windows = [(i, first) for i, course in enumerate(courses) for first in range(course.fresh, len(course.outings), BLOCK)]
    parts: dict[int, list[Hindsight]] = defaultdict(list)
    for begin in range(0, len(windows), WINDOWS_AT_ONCE):
        some = windows[begin : begin + WINDOWS_AT_ONCE]
        rows = np.zeros((len(some), 2 * BLOCK, lay.size))
        for w, (i, first) in enumerate(some):
            course = courses[i]
            piece = course.rows[first - course.first : first - course.first + 2 * BLOCK]
            rows[w, : len(piece)] = piece
        for w, found in enumerate(_looked_back(rows, lay)):
            i, first = some[w]
            count = min(BLOCK, len(courses[i].outings) - first)
            part = Hindsight(
                first, Belief(found.belief.mean[:count], found.belief.covariance[:count]),
                found.trait_mean[:count], found.trait_variance[:count], found.excess_loss[:count],
            )  # fmt: skip
            parts[i].append(part)
    return [_whole(parts[i], course.fresh, lay) for i, course in enumerate(courses)]


def _looked_back(rows: FloatArray, lay: ps.RowLayout) -> list[Hindsight]:
    """Of the first block of each window, shape (W, 2 BLOCK, F), what everything but each outing itself says."""
    count, n, d = len(rows), lay.cells, lay.state
    message = silence(count, d)
    trait_precision, trait_vector = np.zeros((count, n + 1)), np.zeros((count, n + 1))
    mean, covariance = np.empty((count, BLOCK, d)), np.empty((count, BLOCK, d, d))
    trait_mean, trait_variance = np.empty((count, BLOCK, n + 1)), np.empty((count, BLOCK, n + 1))
    wander = ps.trait_drift(n)
    for place in range(2 * BLOCK - 1, -1, -1):
        here = rows[:, place]
        if place < BLOCK:
            belief = joined(ps.expected(here, lay), message)
            mean[:, place], covariance[:, place] = belief.mean, belief.covariance
            trait_mean[:, place], trait_variance[:, place] = ps.trait_revised(
                here[:, lay.at("trait_mean")], here[:, lay.at("trait_variance")], trait_precision, trait_vector
            )
        if place == 0:
            break
        noise = ps.drift(lay, here[:, lay.at("days")][:, 0], here[:, lay.at("room")])
        message = backward(together(ps.said(here, lay), message), ps.ageing(lay, here[:, lay.at("cycles")][:, 0]), noise)
        precision = trait_precision + here[:, lay.at("trait_precision")]
        vector = trait_vector + here[:, lay.at("trait_vector")]
        trait_precision, trait_vector = precision / (1.0 + precision * wander), vector / (1.0 + precision * wander)
    # Standings are summed up over the history; the end of the window knows most of them.
    runs = rows[:, :, lay.at("runs")][:, :, 0]
    last = runs.argmax(axis=1)
    sums = rows[np.arange(count), last][:, lay.at("sums")].reshape(count, n, ps.SUMS)
    loss = sure_loss(sums)
    return [
        Hindsight(0, Belief(mean[w], covariance[w]), trait_mean[w], trait_variance[w], np.broadcast_to(loss[w], (BLOCK, n)))
        for w in range(count)
    ]


def _whole(parts: Sequence[Hindsight], first: int, lay: ps.RowLayout) -> Hindsight:
    if not parts:
        n, d = lay.cells, lay.state
        nothing = np.empty((0, n + 1))
        return Hindsight(first, Belief(np.empty((0, d)), np.empty((0, d, d))), nothing, nothing, np.empty((0, n)))
    return Hindsight(
        first,
        Belief(np.concatenate([part.belief.mean for part in parts]), np.concatenate([part.belief.covariance for part in parts])),
        np.concatenate([part.trait_mean for part in parts]),
        np.concatenate([part.trait_variance for part in parts]),
        np.concatenate([part.excess_loss for part in parts]),
    )
