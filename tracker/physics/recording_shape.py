"""A recording in fewer numbers: its current as stretches, and the readings that stand for all when it is looked at."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def stretches(time_s: FloatArray, current_a: FloatArray, most: int, shortest_s: float = 0.5) -> tuple[FloatArray, FloatArray]:
    """Recorded current as a few stretches of one current each, of the same charge.

    Parameters
    ----------
    time_s : FloatArray
        Rising, shape (n,) [s]
    current_a : FloatArray
        Shape (n,), NaN where not recorded [A]
    most : int
        How many stretches at most [1]
    shortest_s : float
        Nothing shorter is told apart [s]

    Returns
    -------
    duration_s, current_a : FloatArray
        Of each stretch, in order [s], [A]

    Notes
    -----
    Neighbours that differ least are joined, round by round, by the least increase of the sum of squares.

    References
    ----------
    .. [1] J. H. Ward, J. Am. Stat. Assoc. 58 (1963) 236-244, doi:10.1080/01621459.1963.10500845, between neighbours alone.
    """
    here = np.isfinite(current_a)
    time, current = time_s[here], current_a[here]
    if len(time) < 2:
        return np.zeros(0), np.zeros(0)
    width = np.diff(time)
    charge = width * (current[1:] + current[:-1]) / 2.0
    piece = np.maximum(shortest_s, (time[-1] - time[0]) / 20_000.0)
    starts = np.flatnonzero(np.diff(np.floor((time[:-1] - time[0]) / piece), prepend=-1.0))
    duration, charge = np.add.reduceat(width, starts), np.add.reduceat(charge, starts)
    duration, charge = joined(duration, charge, most)
    return duration, charge / duration


def joined(duration_s: FloatArray, charge: FloatArray, most: int) -> tuple[FloatArray, FloatArray]:
    """Stretches with neighbours that differ least joined until there are few.

    Parameters
    ----------
    duration_s : FloatArray
        Shape (n,) [s]
    charge : FloatArray
        Current times duration of each, in any unit [1]
    most : int
        How many stretches at most [1]

    Returns
    -------
    duration_s, charge : FloatArray
        Of each stretch left [s], [1]

    References
    ----------
    .. [1] As in `stretches`.
    """
    duration = duration_s
    while len(duration) > most:
        level = charge / duration
        cost = duration[1:] * duration[:-1] / (duration[1:] + duration[:-1]) * np.square(np.diff(level))
        wanted = min(len(duration) - most, max(1, len(duration) // 4))
        order = np.argsort(cost, kind="stable")[: 2 * wanted]
        joined = np.zeros(len(duration), dtype=bool)  # whether a stretch is joined to the one before it
        busy = np.zeros(len(duration), dtype=bool)
        for place in order:
            if wanted and not busy[place] and not busy[place + 1]:
                joined[place + 1] = busy[place] = busy[place + 1] = True
                wanted -= 1
        starts = np.flatnonzero(~joined)
        duration, charge = np.add.reduceat(duration, starts), np.add.reduceat(charge, starts)
    return duration, charge


def thinned(
    time_s: FloatArray,
    pack_v: FloatArray,
    current_a: FloatArray,
    cell_v: FloatArray,
    low_s: float | None,
    high_s: float | None,
    points: int,
) -> NDArray[np.intp]:
    """Places of readings that stand for all of them when they are looked at.

    Parameters
    ----------
    time_s, pack_v, current_a : FloatArray
        Shape (n,) [s], [V], [A]
    cell_v : FloatArray
        Shape (n, cells) [V]
    low_s, high_s : float or None
        Part of the recording; None to its end [s]
    points : int
        How many readings at most [1]

    Returns
    -------
    NDArray[np.intp]
        Rising [1]

    Notes
    -----
    The recording is cut into equal parts; of each stay its first reading and those of the lowest voltage of any cell, the
    lowest and the highest current, so that no sag and no burst is lost to the eye.

    References
    ----------
    .. [1] No source: bookkeeping.
    """
    first = 0 if low_s is None else int(np.searchsorted(time_s, low_s, side="left"))
    last = len(time_s) if high_s is None else int(np.searchsorted(time_s, high_s, side="right"))
    every = np.arange(first, max(first, last))
    if len(every) <= points:
        return every
    parts = max(1, (points - 1) // 4)
    cut = np.linspace(0, len(every), parts + 1).astype(int)
    lowest = cell_v.min(axis=1) if cell_v.shape[1] else pack_v
    kept = [every[:1], every[-1:], every[cut[:-1]]]
    for values in (lowest[every], current_a[every], -current_a[every]):
        held = np.where(np.isnan(values), np.inf, values)
        kept.append(np.array([every[start + int(np.argmin(held[start:end]))] for start, end in pairwise(cut)]))
    return np.asarray(np.unique(np.concatenate(kept)), dtype=np.intp)
