"""From value and standard uncertainty to an estimate with its central 90 % interval."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tracker.domain.results import Estimate
from tracker.physics.uncertainty import COVERAGE_FACTOR_90


def estimate(value: float, sd: float, low: float | None = None, high: float | None = None) -> Estimate:
    """Estimate with its central 90 % interval.

    Parameters
    ----------
    value : float
        Expected value [any unit]
    sd : float
        Standard uncertainty [same unit]
    low, high : float, optional
        What the quantity can be by definition, such as 0 and 1 for a state of charge [same unit]

    Returns
    -------
    Estimate
        Value and interval, cut where the quantity by definition ends [same unit]

    References
    ----------
    .. [1] JCGM 100:2008, Table G.1.
    """
    half = COVERAGE_FACTOR_90 * sd
    bottom, top = value - half, value + half
    # Most lie well inside, and there are very many of them.
    if low is not None and bottom < low:
        value, bottom, top = max(value, low), low, max(top, low)
    if high is not None and top > high:
        value, bottom, top = min(value, high), min(bottom, high), high
    # A value at the end of what can be is no surer for it: the interval keeps its width on the side that is open.
    if low is not None and top <= low:
        top = low + half
    if high is not None and bottom >= high:
        bottom = high - half
    return Estimate(value=value, low=bottom, high=top, sd=sd)


def of_draws(values: NDArray[np.float64]) -> Estimate:
    """Estimate from equally likely draws of a quantity.

    Parameters
    ----------
    values : NDArray
        The draws, shape (N,) [any unit]

    Returns
    -------
    Estimate
        Their mean, and the interval that holds the middle nine tenths and the mean [same unit]

    References
    ----------
    .. [1] JCGM 101:2008, 7.6 and 7.7.
    """
    [found] = of_rows(values[None, :])
    return found


def of_rows(values: NDArray[np.float64]) -> tuple[Estimate, ...]:
    """Estimates from equally likely draws of several quantities.

    Parameters
    ----------
    values : NDArray
        A row of draws for each, shape (quantities, N) [any unit]

    Returns
    -------
    tuple[Estimate, ...]
        Of each as by `of_draws` [same unit]

    References
    ----------
    .. [1] JCGM 101:2008, 7.6 and 7.7.
    """
    # One look at all rows: of a hundred of them, one by one, most of the time would go into the looking.
    low, high = np.quantile(values, [0.05, 0.95], axis=1)
    mean, sd = values.mean(axis=1), values.std(axis=1)
    rows = zip(mean.tolist(), np.minimum(low, mean).tolist(), np.maximum(high, mean).tolist(), sd.tolist(), strict=True)
    return tuple(Estimate(value=value, low=bottom, high=top, sd=apart) for value, bottom, top, apart in rows)
