"""Resistance from how the voltages of a recording answer to changes of its current."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tracker.physics.recording import PEAK_PERCENTILE, without_glitches

FloatArray = NDArray[np.float64]

AFTER_S = 2.0
"""The resistance is that of a step of current that has lasted so long."""
WINDOW_S = 4.0
"""Changes are looked at over so long: longer than a sensor lags, shorter than a cell's charge changes."""
MEMORY_S = 5.0
"""Time constant of what builds up behind a change: between those of a cell's pairs. Common practice."""
STEP_SHARE = 0.15
"""Changes of less than this share of the highest current say little."""
LEAST_STEPS = 5
BLOCKS = 20
"""Parts of a recording whose changes are taken as independent of one another."""
ALIKE = 0.995
"""From this correlation on, a change and what builds up behind it are not told apart."""


@dataclass(frozen=True, slots=True, eq=False)
class StepResistance:
    """Resistance from steps of current.

    Attributes
    ----------
    ohm, sd_ohm : FloatArray
        Of each column of voltages, NaN where steps are too few [ohm]
    steps : int
        How many went into it
    """

    ohm: FloatArray
    sd_ohm: FloatArray
    steps: int


def step_resistance(time_s: FloatArray, volts: FloatArray, current_a: FloatArray) -> StepResistance:
    """Resistance of each column of voltages from how it answers to changes of current.

    Parameters
    ----------
    time_s : FloatArray
        Rising, shape (n,) [s]
    volts : FloatArray
        Shape (n, columns) [V]
    current_a : FloatArray
        Discharge positive, NaN where not recorded, shape (n,) [A]

    Returns
    -------
    StepResistance
        After AFTER_S of a step; NaN where there are too few changes [ohm]

    Notes
    -----
    With ``w`` the current behind a first-order lag of MEMORY_S, changes over WINDOW_S follow ``-dV = R0 dI + R1 dw``, fitted by
    least squares, and ``R = R0 + R1 (1 - exp(-AFTER_S / MEMORY_S))``. Over so short a time the charge hardly changes the voltage.
    The uncertainty is got by leaving out one block of the recording at a time (jackknife), since neighbouring changes overlap and
    share their errors.

    References
    ----------
    .. [1] IEC 61960-3, resistance by direct current: change of voltage over change of current.
    .. [2] G. L. Plett, Battery Management Systems, Vol. I, Artech House 2015, chapter 2: equivalent circuit with one pair.
    .. [3] B. Efron, C. Stein, Ann. Stat. 9 (1981) 586-596, doi:10.1214/aos/1176345462 (jackknife estimate of variance).
    """
    columns = volts.shape[1]
    nothing = StepResistance(np.full(columns, np.nan), np.full(columns, np.nan), 0)
    here = np.isfinite(current_a)
    time, current = time_s[here], current_a[here]
    if len(time) < LEAST_STEPS + 1:
        return nothing
    start, later = _windows(time, current)
    # Changes within one window of each other are the same step.
    steps = 1 + int(np.sum(np.diff(time[start]) > WINDOW_S)) if len(start) else 0
    steps = max(steps, int((time[start[-1]] - time[start[0]]) / WINDOW_S)) if len(start) else 0
    if steps < LEAST_STEPS:
        return nothing
    slow = lagged(time, current, MEMORY_S)
    change_a, change_w = current[later] - current[start], slow[later] - slow[start]
    if abs(_correlation(change_a, change_w)) > ALIKE:
        change_w = np.zeros_like(change_w)
    clean = without_glitches(volts)[here]
    found = [_fitted(change_a, change_w, -(column[later] - column[start]), min(BLOCKS, steps)) for column in clean.T]
    ohm, sd = (np.array(values, dtype=np.float64) for values in zip(*found, strict=True))
    return StepResistance(ohm, sd, steps)


def lagged(time_s: FloatArray, current_a: FloatArray, memory_s: float) -> FloatArray:
    """Current behind a first-order lag, exact for a current that runs straight from reading to reading.

    Parameters
    ----------
    time_s : FloatArray
        Rising, shape (n,) [s]
    current_a : FloatArray
        Shape (n,) [A]
    memory_s : float
        Time constant [s]

    Returns
    -------
    FloatArray
        Shape (n,), beginning at the first current [A]

    Notes
    -----
    Each step maps ``w`` to ``a w + b``; steps are joined in pairs, the pairs in pairs, and so on, until what lies before is forgotten.

    References
    ----------
    .. [1] G. E. Blelloch, Prefix sums and their applications, CMU-CS-90-190, 1990 (recurrences by joining).
    """
    width = np.diff(time_s)
    keep = np.exp(-width / memory_s)
    ramp = (1.0 - keep) * memory_s / width
    decay = np.concatenate([[0.0], keep])
    value = np.concatenate([current_a[:1], (1.0 - ramp) * current_a[1:] + (ramp - keep) * current_a[:-1]])
    reach = 1
    while reach < len(value) and decay[reach:].max(initial=0.0) > 1e-12:
        value[reach:] = value[reach:] + decay[reach:] * value[:-reach]
        decay[reach:] = decay[reach:] * decay[:-reach]
        reach *= 2
    return np.asarray(value, dtype=np.float64)


def _windows(time: FloatArray, current: FloatArray) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Readings at the start and the end of each window with a large enough change of current in or before it."""
    # A window later, or at the next reading where readings are rarer.
    later = np.maximum(np.searchsorted(time, time + WINDOW_S * (1.0 - 1e-9)), np.arange(len(time)) + 1)
    start = np.flatnonzero(later < len(time))
    later = later[start]
    near = time[later] - time[start] <= 5.0 * WINDOW_S
    start, later = start[near], later[near]
    large = np.abs(current[later] - current[start]) > STEP_SHARE * float(np.percentile(np.abs(current), PEAK_PERCENTILE))
    return start[large], later[large]


def _correlation(one: FloatArray, other: FloatArray) -> float:
    scale = float(np.sqrt(np.sum(one**2) * np.sum(other**2)))
    return float(np.sum(one * other)) / scale if scale > 0 else 1.0


def _fitted(change_a: FloatArray, change_w: FloatArray, drop_v: FloatArray, blocks: int) -> tuple[float, float]:
    """Resistance and its standard uncertainty, NaN where they cannot be told."""
    known = np.isfinite(drop_v)
    if known.sum() < LEAST_STEPS:
        return np.nan, np.nan
    a, w, v = change_a[known], change_w[known], drop_v[known]
    cut = np.unique(np.linspace(0, len(a), min(blocks, len(a)) + 1).astype(int)[:-1])
    sums = np.stack([np.add.reduceat(product, cut) for product in (a * a, a * w, w * w, a * v, w * v)])
    whole = sums.sum(axis=1)
    ohm = float(_solved(whole))
    count = len(cut)
    if count < 2 or not np.isfinite(ohm) or ohm <= 0:
        return np.nan, np.nan
    without = _solved(whole[:, None] - sums)
    sd = float(np.sqrt((count - 1) / count * np.sum(np.square(without - without.mean()))))
    return (ohm, sd) if np.isfinite(sd) else (np.nan, np.nan)


def _solved(sums: FloatArray) -> FloatArray:
    aa, aw, ww, av, wv = sums
    alone = ww <= 1e-12 * aa
    determinant = np.where(alone, 1.0, aa * ww - aw * aw)
    with np.errstate(divide="ignore", invalid="ignore"):
        direct = np.where(alone, av / aa, (ww * av - aw * wv) / determinant)
        behind = np.where(alone, 0.0, (aa * wv - aw * av) / determinant)
    return np.asarray(direct + behind * (1.0 - np.exp(-AFTER_S / MEMORY_S)), dtype=np.float64)
