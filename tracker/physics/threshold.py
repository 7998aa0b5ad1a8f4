"""How well a controller's threshold is known: the steps it was approached in, its scatter, a moving supply, the meter."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtrit

from tracker.physics.uncertainty import from_limits, from_resolution

FloatArray = NDArray[np.float64]


class Threshold(NamedTuple):
    """The mean of a threshold over its repeats."""

    value_v: float
    step_sd_v: float
    """Standard uncertainty from the steps of the readings."""
    repeat_sd_v: float
    """Standard uncertainty of the mean from the scatter of the repeats; 0 where there is one only."""
    freedom: float
    """Degrees of freedom of that scatter."""
    spread_v: float | None
    """Standard deviation of one crossing; None where there is one only."""


class Drift(NamedTuple):
    """How far a threshold wanders from the first repeat to the last, along a straight line."""

    change_v: float
    sd_v: float
    freedom: float


def threshold(low_v: ArrayLike, high_v: ArrayLike, least_width_v: float) -> Threshold:
    """Mean of a threshold over its repeats.

    Parameters
    ----------
    low_v, high_v : ArrayLike
        What encloses it, one entry a repeat, shape (n,) with n at least 1 [V]
    least_width_v : float
        No two voltages closer than this can be told apart, above 0 [V]

    Returns
    -------
    Threshold
        The mean with what makes it uncertain [V]

    Notes
    -----
    Each repeat counts by the inverse square of its width, so that a coarse approach does not spoil fine ones. The
    steps are no noise that repeats would average out: five times the same two readings enclose a threshold no better
    than once.

    References
    ----------
    .. [1] JCGM 100:2008, eqs. (5) and (7), clauses 4.2.3 and F.2.2.1.
    """
    low, high = np.asarray(low_v, dtype=np.float64), np.asarray(high_v, dtype=np.float64)
    middle, width = (low + high) / 2.0, np.maximum(high - low, least_width_v)
    weight = np.square(width.min() / width)
    weight = weight / weight.sum()
    mean = float(weight @ middle)
    step_sd = float(weight @ from_resolution(width))
    squares = float(np.sum(np.square(weight)))
    if len(middle) < 2:
        return Threshold(mean, step_sd, 0.0, float("inf"), None)
    variance = float(weight @ np.square(middle - mean)) / (1.0 - squares)
    return Threshold(mean, step_sd, float(np.sqrt(variance * squares)), 1.0 / squares - 1.0, float(np.sqrt(variance)))


def drift(value_v: ArrayLike, width_v: ArrayLike) -> Drift | None:
    """How far a threshold wanders over its repeats.

    Parameters
    ----------
    value_v : ArrayLike
        The threshold each time, in order, shape (n,) [V]
    width_v : ArrayLike
        Width of what encloses it each time, shape (n,) [V]

    Returns
    -------
    Drift or None
        From the first repeat to the last; None for fewer than three [V]

    References
    ----------
    .. [1] JCGM 100:2008, clause H.3 (straight line by least squares) and clause F.2.2.1 for the steps.
    """
    values, widths = np.asarray(value_v, dtype=np.float64), np.asarray(width_v, dtype=np.float64)
    count = len(values)
    if count < 3:
        return None
    place = np.arange(count) - (count - 1) / 2.0
    squares = float(np.sum(np.square(place)))
    slope = float(place @ values) / squares
    left_over = values - values.mean() - slope * place
    scatter = np.sqrt(float(np.sum(np.square(left_over))) / (count - 2) / squares)
    steps = np.sqrt(float(np.mean(np.square(from_resolution(widths)))) / squares)
    sd = float(np.hypot(scatter, steps))
    return Drift(slope * (count - 1), sd * (count - 1), effective_freedom([float(scatter), float(steps)], [count - 2, float("inf")]))


def effective_freedom(sd: Sequence[float], freedom: Sequence[float]) -> float:
    """Degrees of freedom of a sum of contributions.

    Parameters
    ----------
    sd : sequence of float
        Standard uncertainty of each contribution [same unit]
    freedom : sequence of float
        Degrees of freedom of each; infinite where it was not found from repeats [1]

    Returns
    -------
    float
        Of the combined uncertainty; infinite when nothing in it was found from repeats [1]

    References
    ----------
    .. [1] JCGM 100:2008, eq. (G.2b), Welch and Satterthwaite.
    """
    total = sum(part**2 for part in sd) ** 2
    share = sum(part**4 / count for part, count in zip(sd, freedom, strict=True))
    return float("inf") if share == 0.0 else total / share


def coverage_factor(freedom: float, coverage: float = 0.9) -> float:
    """Half width of an interval in standard uncertainties.

    Parameters
    ----------
    freedom : float
        Degrees of freedom, from 1 up to infinite [1]
    coverage : float
        Probability that the interval holds the value [1]

    Returns
    -------
    float
        From Student's distribution [1]

    References
    ----------
    .. [1] JCGM 100:2008, clause G.3 and Table G.2.
    """
    return float(stdtrit(max(min(freedom, 1e9), 1.0), (1.0 + coverage) / 2.0))


def meter_uncertainty(reading_v: ArrayLike, gain: float, step_v: float) -> FloatArray:
    """Standard uncertainty of a meter said to be right within a share of the reading and one digit.

    Parameters
    ----------
    reading_v : ArrayLike
        What it shows, any shape [V]
    gain : float
        Share of the reading [1]
    step_v : float
        One digit [V]

    Returns
    -------
    FloatArray
        Of the rectangular distribution between these limits [V]

    References
    ----------
    .. [1] JCGM 100:2008, clause 4.3.7, eq. (7).
    """
    return from_limits(gain * np.abs(np.asarray(reading_v, dtype=np.float64)) + step_v)


def ramp_rate(time_s: ArrayLike, supply_v: ArrayLike) -> float:
    """How fast a supply is turned.

    Parameters
    ----------
    time_s : ArrayLike
        Times of a stretch of readings, not all the same, shape (n,) [s]
    supply_v : ArrayLike
        Supply voltages, shape (n,) [V]

    Returns
    -------
    float
        Slope of the straight line through them, negative downwards [V/s]

    References
    ----------
    .. [1] Straight line by least squares, JCGM 100:2008, clause H.3.
    """
    time, volts = np.asarray(time_s, dtype=np.float64), np.asarray(supply_v, dtype=np.float64)
    from_middle = time - time.mean()
    return float(from_middle @ volts / (from_middle @ from_middle))


def delay_shift(rate_v_s: float, delay_s: float) -> tuple[float, float]:
    """How far a threshold lies behind the supply at the moment a controller acts, on a supply that keeps moving.

    Parameters
    ----------
    rate_v_s : float
        How fast the supply is turned, negative downwards [V/s]
    delay_s : float
        The longest the controller takes to act [s]

    Returns
    -------
    shift_v, sd_v : float
        To add to what was read, half the way at most, and its standard uncertainty [V]

    Notes
    -----
    It acts between 0 and `delay_s` after the threshold was crossed, all times as likely: the threshold lies up to
    ``rate * delay`` back. Turned down it acts too low, turned up too high.

    References
    ----------
    .. [1] JCGM 100:2008, clause 4.3.8, limits that are not symmetric about what was read.
    """
    return -rate_v_s * delay_s / 2.0, float(from_limits(abs(rate_v_s) * delay_s / 2.0))
