"""What a recording of current and voltage shows by itself: charge, resistance from steps, rest before and after, load."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

GAP_TIMES = 20.0
"""A gap is a pause this many times as long as the usual step."""
GAP_S = 5.0
"""and at the least this long."""
IDLE_SHARE = 0.02
"""Less current than this share of the highest is no load: receiver, servos and the sensor's own zero. From memory."""
PEAK_PERCENTILE = 99.0
SETTLED_S = 5.0
"""A rested voltage is the mean over this long, at most."""
GLITCH = 0.3
"""A single reading this share below both its neighbours is a fault of the sensor: no cell comes back within one reading."""


@dataclass(frozen=True, slots=True)
class ChargeUsed:
    """Charge that flowed out.

    Attributes
    ----------
    used_ah : float
        Net, discharge positive; NaN where no current was recorded [Ah]
    gap_ah : float
        What lies in gaps, where it was taken straight across [Ah]
    gap_sd_ah : float
        Standard uncertainty of that part [Ah]
    gap_s : float
        Length of all gaps [s]
    """

    used_ah: float
    gap_ah: float
    gap_sd_ah: float
    gap_s: float


@dataclass(frozen=True, slots=True)
class Span:
    """When load began and ended, as places of readings; and the shortest current that counts as load [A]."""

    first: int
    last: int
    idle_a: float


def charge_used(time_s: FloatArray, current_a: FloatArray) -> ChargeUsed:
    """Charge by the trapezoid rule.

    Parameters
    ----------
    time_s : FloatArray
        Rising, shape (n,) [s]
    current_a : FloatArray
        Discharge positive, NaN where not recorded, shape (n,) [A]

    Returns
    -------
    ChargeUsed
        With what lies in gaps told apart [Ah]

    Notes
    -----
    A gap counts with its whole mean current, uncertain by the spread of the current of the whole recording.

    References
    ----------
    .. [1] P. J. Davis, P. Rabinowitz, Methods of Numerical Integration, 2nd ed., Academic Press 1984, section 2.1.
    """
    here = np.isfinite(current_a)
    time, current = time_s[here], current_a[here]
    if len(time) < 2:
        return ChargeUsed(float("nan"), 0.0, 0.0, 0.0)
    width = np.diff(time)
    each = width * (current[1:] + current[:-1]) / 2.0
    gap = width > np.maximum(GAP_S, GAP_TIMES * np.median(width))
    spread_a = float(current.std())
    gap_sd = float(np.sqrt(np.sum(np.square(width[gap] * spread_a)))) / 3600.0
    return ChargeUsed(float(each.sum()) / 3600.0, float(each[gap].sum()) / 3600.0, gap_sd, float(width[gap].sum()))


def load_span(current_a: FloatArray) -> Span | None:
    """From the first reading under load to the last.

    Parameters
    ----------
    current_a : FloatArray
        Discharge positive, shape (n,) [A]

    Returns
    -------
    Span or None
        None where nothing is drawn [1]

    References
    ----------
    .. [1] No source: a definition.
    """
    here = np.flatnonzero(np.isfinite(current_a))
    if len(here) == 0:
        return None
    peak = float(np.percentile(current_a[here], PEAK_PERCENTILE))
    peak = peak if peak > 0 else float(current_a[here].max())
    idle = IDLE_SHARE * peak
    loaded = here[current_a[here] > idle]
    return Span(int(loaded[0]), int(loaded[-1]), idle) if peak > 0 and len(loaded) else None


def without_glitches(volts: FloatArray) -> FloatArray:
    """Voltages with single readings that cannot be taken out.

    Parameters
    ----------
    volts : FloatArray
        Shape (n, columns) [V]

    Returns
    -------
    FloatArray
        NaN in their place [V]

    References
    ----------
    .. [1] No source: GLITCH in this file.
    """
    clean = np.where(volts > 0.0, volts, np.nan)
    if len(volts) > 2:
        low = np.fmin(clean[:-2], clean[2:]) * (1.0 - GLITCH)
        with np.errstate(invalid="ignore"):
            clean[1:-1] = np.where(clean[1:-1] < low, np.nan, clean[1:-1])
    return np.asarray(clean)


def lowest_loaded(volts: FloatArray, current_a: FloatArray, span: Span) -> tuple[FloatArray, FloatArray]:
    """Lowest voltage under load of each column, and the current at that moment.

    Parameters
    ----------
    volts : FloatArray
        Shape (n, columns) [V]
    current_a : FloatArray
        Shape (n,) [A]
    span : Span
        When load was on [1]

    Returns
    -------
    lowest_v, current_a : FloatArray
        Shape (columns,), NaN where nothing was read under load [V], [A]

    References
    ----------
    .. [1] No source: a definition.
    """
    within = slice(span.first, span.last + 1)
    with np.errstate(invalid="ignore"):
        loaded = current_a[within] > span.idle_a
    seen = np.where(loaded[:, None], without_glitches(volts)[within], np.inf)
    seen = np.where(np.isnan(seen), np.inf, seen)
    place = seen.argmin(axis=0)
    lowest = seen[place, np.arange(volts.shape[1])]
    found = np.isfinite(lowest)
    return np.where(found, lowest, np.nan), np.where(found, current_a[within][place], np.nan)


def rested(time_s: FloatArray, volts: FloatArray, span: Span) -> tuple[tuple[FloatArray, float], tuple[FloatArray, float]]:
    """Voltages just before load began and at the end of the rest after it, and how long each rest was recorded.

    Parameters
    ----------
    time_s : FloatArray
        Shape (n,) [s]
    volts : FloatArray
        Shape (n, columns) [V]
    span : Span
        When load was on [1]

    Returns
    -------
    before, after : tuple[FloatArray, float]
        Voltages of shape (columns,), NaN where there was no rest; and its length [V], [s]

    References
    ----------
    .. [1] No source: a definition.
    """
    clean = without_glitches(volts)
    before_s = float(time_s[span.first - 1] - time_s[0]) if span.first > 0 else 0.0
    after_s = float(time_s[-1] - time_s[span.last])
    before = _mean_of(clean[: span.first], time_s[: span.first])
    after = _mean_of(clean[span.last + 1 :], time_s[span.last + 1 :])
    return (before, before_s), (after, after_s)


def _mean_of(volts: FloatArray, time_s: FloatArray) -> FloatArray:
    """Mean over the last seconds, shape (columns,)."""
    if len(time_s) == 0:
        return np.full(volts.shape[1], np.nan)
    # A rest that is short is averaged over less: its voltage is still on the move.
    long = min(SETTLED_S, 0.2 * float(time_s[-1] - time_s[0]))
    latest = volts[time_s >= time_s[-1] - long]
    number = np.isfinite(latest).sum(axis=0)
    return np.where(number > 0, np.nansum(latest, axis=0) / np.maximum(number, 1), np.nan)
